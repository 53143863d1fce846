"""The page: whole, offline, valid, honest about what is not known, and deaf to markup in names and notes."""

import copy
import re
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import polars as pl
import pytest

from pullbook.report.content import PAGE_ONE, PAGE_THREE, PAGE_TWO, content
from pullbook.report.day import day_page, render_day
from pullbook.report.view import view
from pullbook.report.words import number
from tests.report.fixture import InventedDay, invented_day
from tests.report.parsed_page import XHTML, parsed, text_of

FIGURES = [m.__name__.rsplit(".", 1)[-1] for m in (*PAGE_ONE, *PAGE_TWO, *PAGE_THREE)]


@pytest.fixture(scope="module")
def day() -> InventedDay:
    return invented_day()


@pytest.fixture(scope="module")
def folder(day: InventedDay, tmp_path_factory: pytest.TempPathFactory) -> Path:
    where = tmp_path_factory.mktemp("report")
    render_day(day.record, day.tables, where)
    return where


def page_without_drawings(record: dict[str, Any], tables: dict[str, pl.DataFrame]) -> ET.Element:
    """The page with its tables and words, each drawing an empty one."""
    said = content(view(record, tables))
    return parsed(day_page(said, dict.fromkeys(said.pictures, ("<svg></svg>", "<svg></svg>")), []))


@pytest.fixture(scope="module")
def page(folder: Path) -> ET.Element:
    return parsed((folder / "report.html").read_text("utf-8"))


def section(page: ET.Element, name: str) -> ET.Element:
    return next(s for s in page.iter(XHTML + "section") if s.get("id") == name)


def table_under(page: ET.Element, caption: str) -> list[list[str]]:
    for t in page.iter(XHTML + "table"):
        if text_of(t.find(XHTML + "caption")).strip().startswith(caption):  # type: ignore[arg-type]
            return [[text_of(c).strip() for c in row] for row in t.find(XHTML + "tbody")]  # type: ignore[union-attr]
    raise AssertionError(f"no table {caption}")


def test_parses_without_one_error_and_has_its_three_pages(page: ET.Element) -> None:
    assert [s.get("id") for s in page.iter(XHTML + "section") if s.get("id")] == ["page-1", "page-2", "page-3"]
    assert page.get("lang") == "en"


def test_ids_are_unique_and_every_reference_meets_one(folder: Path) -> None:
    text = (folder / "report.html").read_text("utf-8")
    ids = re.findall(r'\sid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r"url\(#([^)]+)\)", text)) | set(re.findall(r'href="#([^"]+)"', text)) <= set(ids)


def test_no_address_outside_the_file_is_fetched(folder: Path) -> None:
    text = (folder / "report.html").read_text("utf-8")
    assert not re.findall(r'(?:src|srcset|data|poster|action)\s*=\s*"(?!data:)[^"]*"', text)
    assert not re.findall(r"@import|url\(\s*['\"]?(?!#|data:)", text)
    assert all(u.startswith(("#", "../", "data:")) for u in re.findall(r'href="([^"]*)"', text))
    assert "<script" not in text
    assert len(text.encode()) < 2_000_000


def test_one_h1_and_no_heading_skips_a_level(page: ET.Element) -> None:
    levels = [int(e.tag[-1]) for e in page.iter() if re.fullmatch(XHTML + "h[1-6]", str(e.tag))]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))


def test_every_figure_states_its_finding_and_holds_its_numbers(page: ET.Element) -> None:
    figures = [f for f in page.iter(XHTML + "figure") if (f.get("id") or "").startswith("figure-")]
    assert [f.get("id") for f in figures] == [f"figure-{name}" for name in FIGURES]
    for f in figures:
        drawings = [d for d in f.iter(XHTML + "div") if d.get("role") == "img"]
        assert len(drawings) == 2, "one for the desk, one for the phone"
        assert all(len(d.get("aria-label") or "") > 40 for d in drawings)
        assert len(text_of(f.find(XHTML + "figcaption"))) > 15  # type: ignore[arg-type]
        assert f.find(f"{XHTML}details//{XHTML}table") is not None


def test_every_table_has_a_caption_and_heads_with_scope(page: ET.Element) -> None:
    tables = list(page.iter(XHTML + "table"))
    assert len(tables) > 10
    for t in tables:
        assert text_of(t.find(XHTML + "caption")).strip()  # type: ignore[arg-type]
        assert all(h.get("scope") in ("col", "row") for h in t.iter(XHTML + "th"))
        assert all(row[0].tag == XHTML + "th" for row in t.find(XHTML + "tbody"))  # type: ignore[union-attr]


def test_cells_say_what_the_record_says(page: ET.Element, day: InventedDay) -> None:
    best = {row[0]: row for row in table_under(page, "Best advance and the curve to set")}
    for r in day.record["best"]:
        shown = best[number(r["rpm"])]
        assert shown[1] == ("not known" if r["best_deg"] is None else f"{r['best_deg']:.1f}")
    pulls = table_under(page, "Pulls in the order run")
    assert [row[3] for row in pulls] == [f"{p['mean_torque_nm']:.1f}" for p in day.record["pulls"]]
    assert [row[6] for row in pulls] == [f"{p['air_factor']:.4f}" for p in day.record["pulls"]]
    effects = table_under(page, "Change of torque against base 32")
    assert len(effects) == len(day.record["effects"])


def test_page_one_answers_before_it_draws(page: ET.Element, day: InventedDay) -> None:
    one = text_of(section(page, "page-1"))
    words = [
        day.record["advice"]["sentence"],
        day.record["tested_limit"],
        "Knock: heard on long 37",
        "Total",
        "How far to trust it",
        "no rpm",
        "plug lead came off",
        "Best advance goes",
    ]
    places = [one.index(w) for w in words]
    assert places == sorted(places)
    for caution in day.record["cautions"]:
        assert caution in one
    assert one.count("Knock: heard") == 1
    assert "not checked with a stop" in one


def test_page_one_has_no_jargon(page: ET.Element) -> None:
    one = text_of(section(page, "page-1")).lower()
    for word in (
        "posterior",
        "prior",
        "standard deviation",
        "variance",
        "residual",
        "quantile",
        "percentile",
        "credible",
        "bayes",
        "sigma",
    ):
        assert word not in one, word


def test_page_two_holds_what_it_must(page: ET.Element, day: InventedDay) -> None:
    two = text_of(section(page, "page-2"))
    for name in ("changes", "not_established", "not_tested", "questions", "warnings"):
        for line in day.record[name]:
            assert line in two
    assert "inside" in two


def test_what_is_not_known_is_said_never_zero() -> None:
    day = invented_day()
    record = copy.deepcopy(day.record)
    record["advice"]["mechanical"]["initial_deg"] = None
    record["timing_scale"] = dict.fromkeys(record["timing_scale"])
    record["repeatability"] = dict.fromkeys(record["repeatability"])
    record["correction"] |= {"factor_min": None, "factor_max": None}
    blank = dict.fromkeys(("best_deg", "lo_deg", "hi_deg", "band_lo_deg", "band_hi_deg"))
    record["best"] = [{**r, **blank, "state": "flat"} for r in record["best"]]
    page = page_without_drawings(record, day.tables)
    one = text_of(section(page, "page-1"))
    assert "Initialnot known" in one
    assert "no pull was repeated" in one
    assert "pressure or temperature is missing" in one
    assert "cannot place the best advance" in one
    assert all(row[1] == "not known" for row in table_under(page, "Best advance and the curve to set"))


def test_what_nobody_wrote_is_not_said_to_be_written() -> None:
    day = invented_day()
    record = copy.deepcopy(day.record)
    record["facts"]["day"] = {"correction": "SAE J1349", "limits": {"tolerance_pct": 0.5, "max_step_deg": 3.0}, "fuel": "98"}
    said = {row[0]: row[2] for row in table_under(page_without_drawings(record, day.tables), "Engine and day as taken")}
    assert said["limits max step, °"] == "day.yaml"
    assert said["fuel"] == "day.yaml"
    assert "not written" in said["correction"]
    assert "not written" in said["limits tolerance, %"]


def test_a_log_that_nothing_was_held_against_has_no_finding_of_its_own() -> None:
    day = invented_day()
    alone = day.tables | {"evidence": day.tables["evidence"].filter(pl.col("source") == "log")}
    checked = text_of(page_without_drawings(day.record, day.tables))
    assert "The log reads" in checked
    assert "32 µs is" in checked
    shown = text_of(page_without_drawings(day.record, alone))
    assert "The log reads" not in shown
    assert "Nothing to hold the log against" in shown
    assert "32 µs is" not in shown, "a delay presumed is no sum"


def test_a_setting_as_run_and_the_curve_to_set_are_not_taken_for_one_another() -> None:
    day = invented_day()
    first = text_of(section(page_without_drawings(day.record, day.tables), "page-1"))
    assert "This curve against the baseline" in first
    assert "as run gains" in first or "setting run" in first


def test_where_the_weights_start_is_said_of_the_weights_even_where_the_initial_is_not_known() -> None:
    day = invented_day()
    day.record["advice"]["mechanical"] |= {"initial_deg": None, "stop_deg": None}
    first = text_of(section(page_without_drawings(day.record, day.tables), "page-1"))
    assert "Weights move from" in first


def test_an_empty_day_still_gives_every_file(tmp_path: Path) -> None:
    record = {"engine": "bare", "day": "2031-01-01", "advice": {"sentence": "Nothing could be read."}, "pulls": []}
    files = render_day(record, {}, tmp_path)
    assert {f.name for f in files} >= {"report.html", "report.pdf", "tune_card.pdf"}
    one = text_of(section(parsed((tmp_path / "report.html").read_text("utf-8")), "page-1"))
    assert "Nothing could be read." in one
    assert "no pull of this day could be used" in one
    assert "no pull to listen to" in one


def test_the_same_record_gives_the_same_files_and_stale_ones_go(day: InventedDay, folder: Path, tmp_path: Path) -> None:
    (tmp_path / "figures").mkdir()
    (tmp_path / "figures" / "old.svg").write_text("<svg/>")
    for path in render_day(day.record, day.tables, tmp_path):
        assert path.read_bytes() == (folder / path.relative_to(tmp_path)).read_bytes(), path.name
    assert not (tmp_path / "figures" / "old.svg").exists()


def test_a_mapped_engine_is_given_its_table() -> None:
    day = invented_day()
    page = page_without_drawings(day.record | {"conditions": {"ignition": "mapped"}}, day.tables)
    rows = table_under(page, "What to put in the table")
    assert rows == [["1000", "14°", "15.3°"], ["2000", "24°", "25.3°"], ["3000", "31°", "32.3°"], ["5000", "32.5°", "33.8°"]]
    assert "Weights move from" not in text_of(section(page, "page-1"))
