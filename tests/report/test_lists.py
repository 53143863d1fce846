"""The index of every day and an engine's history: complete, newest first, found without a script, hostile names escaped."""

import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import html5lib
import pytest

from pullbook.report.day_row import advised, best_band, summary
from pullbook.report.engine import render_engine
from pullbook.report.figures import history
from pullbook.report.index import render_index
from tests.report.fixture import invented_day

XHTML = "{http://www.w3.org/1999/xhtml}"
NAMES = ["Blue 8", "Blue 10", 'Red <b>twin</b> & "son"', "Grüner Käfer"]


def days() -> list[dict[str, Any]]:
    one = summary(invented_day().record)
    return [
        {**one, "engine": e, "folder": e, "day": d, "logs_here": (e, d) != (NAMES[0], "2030-02-03"), "notes": f"note of {d}"}
        for e in NAMES
        for d in ("2031-04-05", "2030-02-03", "2031-04-05-evening")
    ]


def parsed(path: Path) -> ET.Element:
    tree: ET.Element = html5lib.HTMLParser(strict=True).parse(path.read_text("utf-8"))
    return tree


def entries(page: ET.Element) -> list[str]:
    return ["".join(li.itertext()) for ul in page.iter(XHTML + "ul") if ul.get("class") == "days" for li in ul]


def test_summary_is_plain_and_names_what_matters() -> None:
    s = summary(invented_day().record)
    assert s["advised"] == "34° total, 14° initial, all in by 3100 rpm"
    assert s["sentence"].startswith("Set 34° total")
    assert (s["pull_sd_pct"], s["questions"], s["fuel"], s["dyno"]) == (0.37, 1, "95 pump petrol", "north cell")
    assert s["href"] == "Blue%20pump%20barge%20V8/2031-04-05/report.html"
    assert s["settings"] == ["base 32", "long 37", "stop 18", "stop 24"]


def test_band_common_to_all_rpm_or_the_middle_one() -> None:
    def row(rpm: int, lo: float, hi: float) -> dict[str, Any]:
        return {"rpm": rpm, "state": "inside", "band_lo_deg": lo, "band_hi_deg": hi}

    assert best_band({"best": [row(3000, 28, 35), row(5000, 31, 38)]}) == "31 to 35° over 3000 to 5000 rpm"
    assert best_band({"best": [row(3000, 20, 25), row(4000, 25, 30), row(5000, 31, 38)]}) == "25 to 30° at 4000 rpm, moves with rpm"
    assert best_band({"best": [{"rpm": 3000, "state": "above_tested"}]}) == "above what was run"
    assert best_band({"best": []}) == "not placed"


def test_advised_table_and_none() -> None:
    record = {"advice": {"table": [{"rpm": 3000, "delivered_deg": 20.0}, {"rpm": 6000, "delivered_deg": 26.5}]}}
    assert advised(record) == "table of 2 points, 26.5° at 6000 rpm"
    assert advised({}) == "none"


def test_index_lists_every_day_newest_first(tmp_path: Path) -> None:
    page = parsed(render_index(tmp_path, days()))
    listed = entries(page)
    assert len(listed) == 12
    stamps = [re.search(r"\d{4}-\d\d-\d\d(-evening)?", t)[0] for t in listed]  # type: ignore[index]
    assert stamps == sorted(stamps, reverse=True)
    assert [bool(re.search("logs not here", t)) for t in listed].count(True) == 1
    assert all("Set 34° total" in t and "note of" in t and "base 32" in t for t in listed)
    links = [a.get("href") for a in page.iter(XHTML + "a") if (a.get("href") or "").endswith("report.html")]
    assert "Red%20%3Cb%3Etwin%3C%2Fb%3E%20%26%20%22son%22/2030-02-03/report.html" in links
    assert len(set(links)) == 12


@pytest.mark.parametrize(
    ("band", "said"),
    [
        ("31 to 33° over 2700 to 5600 rpm", "Costs next to nothing: 31 to 33°"),
        ("", "Best: not placed"),
        ("above what was run", "Best: above"),
    ],
)
def test_a_band_is_not_called_the_best(tmp_path: Path, band: str, said: str) -> None:
    page = render_index(tmp_path, [days()[0] | {"best_band": band}])
    assert said in page.read_text("utf-8")


def test_engines_stand_in_natural_order(tmp_path: Path) -> None:
    page = parsed(render_index(tmp_path, days()))
    names = ["".join(a.itertext()) for a in page.iter(XHTML + "a") if (a.get("href") or "").endswith("/index.html")]
    assert names.index("Blue 8") < names.index("Blue 10")
    assert set(names) == set(NAMES)


def test_pages_are_whole_without_script_and_fetch_nothing(tmp_path: Path) -> None:
    for path in (render_index(tmp_path, days()), render_engine(tmp_path, NAMES[2], [d for d in days() if d["engine"] == NAMES[2]])):
        text = path.read_text("utf-8")
        assert not re.findall(r'(?:src|action)="', text)
        assert all(not re.match(r"\w+:|//", u) for u in re.findall(r'href="(?!data:)([^"]*)"', text))
        assert "<b>" not in text
        assert ".find{display:none" in text, "the search box shows itself only where its script runs"


def test_history_of_an_engine(tmp_path: Path) -> None:
    path = render_engine(tmp_path, NAMES[3], [d for d in days() if d["engine"] == NAMES[3]])
    assert path == tmp_path / NAMES[3] / "index.html"
    page = parsed(path)
    assert len(entries(page)) == 3
    (figure,) = page.iter(XHTML + "figure")
    assert figure.get("id") == "figure-history"
    table = next(t for t in page.iter(XHTML + "table") if "All days of" in "".join(t[0].itertext())).find(XHTML + "tbody")
    assert table is not None
    assert ["".join(row[0].itertext()) for row in table] == ["2031-04-05-evening", "2031-04-05", "2030-02-03"]
    links = [a.get("href") for a in page.iter(XHTML + "a") if (a.get("href") or "").endswith("report.html")]
    assert links == [f"{d}/report.html" for d in ("2031-04-05-evening", "2031-04-05", "2030-02-03")]


def test_history_picture_needs_two_days_and_says_what_was_found() -> None:
    one = summary(invented_day().record)
    assert history.picture([one]) is None
    later = {**one, "day": "2031-06-01", "placed": {**one["placed"], "best_deg": one["placed"]["best_deg"] + 3}}
    picture = history.picture([one, later, {**one, "day": "2031-07-01", "placed": None, "total_deg": None, "pull_sd_pct": None}])
    assert picture is not None
    low = round(one["placed"]["best_deg"])
    assert picture.title == f"Best advance lay between {low}° and {low + 3}° on 2 days"
    assert [row[0] for row in picture.table.rows] == ["2031-06-01", "2031-04-05"]
    assert picture.table.rows[0][2] == f"{later['placed']['best_deg']:.1f}"


def test_empty_book_says_what_to_do(tmp_path: Path) -> None:
    page = parsed(render_index(tmp_path, []))
    assert "No day has been reported yet" in "".join(page.itertext())


@pytest.mark.parametrize("name", ["x" * 200, "a/b", "..", "%41"])
def test_folder_names_become_one_part_of_an_address(name: str) -> None:
    href = summary({"engine": name, "day": "2031-01-01"})["href"]
    assert href.count("/") == 2
    assert name == "x" * 200 or name == ".." or name not in href
