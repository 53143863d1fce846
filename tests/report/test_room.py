"""Where there is little room: what matters most is never what is left out, and no word stands on another."""

import copy
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from pullbook.report import compare
from pullbook.report.card import card_pdf
from pullbook.report.content import content
from pullbook.report.figures import repeatability, timing
from pullbook.report.letters import cut_to, measure
from pullbook.report.paper import LEAST_ROWS, rows_on_sheets
from pullbook.report.pdf import report_pdf
from pullbook.report.placing import freest
from pullbook.report.to_set import what_it_is_worth
from pullbook.report.view import view
from pullbook.report.words import told_apart
from tests.report.fixture import InventedDay, invented_day


@pytest.fixture(scope="module")
def day() -> InventedDay:
    return invented_day()


def test_the_card_never_loses_the_limit(day: InventedDay, tmp_path: Path) -> None:
    record = copy.deepcopy(day.record)
    record["tested_limit"] = "Do not exceed 23° to 30° true advance " + "and so on for many words " * 12 + "until here."
    record["timing_scale"] |= {"verified": True, "zero_mark_error_deg": 1.5}
    record["advice"]["mechanical"]["springs_note"] = "springs of a name that goes on and on, " * 4
    shown = view(record, day.tables)
    (tmp_path / "card.pdf").write_bytes(card_pdf(shown, content(shown)))
    text = " ".join(PdfReader(tmp_path / "card.pdf").pages[0].extract_text().split())
    assert record["tested_limit"] in text


def test_a_long_name_at_the_foot_leaves_room_for_the_number_of_the_sheet(day: InventedDay, tmp_path: Path) -> None:
    record = day.record | {"engine": "an engine with a name that its owner went on writing until the line was full " * 2}
    (tmp_path / "report.pdf").write_bytes(report_pdf(content(view(record, day.tables)), []))
    foot = PdfReader(tmp_path / "report.pdf").pages[0].extract_text()
    assert "…, " + day.record["day"] in foot
    assert measure(cut_to("word " * 100, 7, 3.0), 7) <= 3.0


@given(
    heights=st.lists(st.floats(0.1, 1.0), max_size=60),
    here=st.floats(-1.0, 9.0),
    fresh=st.floats(6.0, 9.0),
)
def test_no_sheet_holds_less_than_three_rows_of_a_table(heights: list[float], here: float, fresh: float) -> None:
    first = fresh - 0.2
    parts = rows_on_sheets(heights, min(here, first), fresh, first)
    assert sum(parts) == len(heights)
    rooms = [min(here, first), first if parts[0] == 0 else fresh] + [fresh] * len(parts)
    done = 0
    for count, room in zip(parts, rooms, strict=False):
        assert not count or sum(heights[done : done + count]) <= room + 1e-3
        done += count
    assert all(count >= min(LEAST_ROWS, len(heights)) for count in parts if count)


def test_nothing_repeated_is_no_finding_of_the_day(day: InventedDay) -> None:
    assert repeatability.picture(view(day.record, day.tables)) is not None
    assumed = day.record | {"repeatability": {"pull_sd_pct": 0.6, "source": "default", "pulls": 1}}
    assert repeatability.picture(view(assumed, day.tables)) is None


def test_a_log_that_reads_true_is_called_true(day: InventedDay) -> None:
    none = {
        "log_minus_true_deg": -0.0002,
        "lo_deg": -0.006,
        "hi_deg": 0.005,
        "delay_us": -0.001,
        "delay_lo_us": -0.2,
        "delay_hi_us": 0.2,
    }
    true = view(day.record | {"timing_scale": day.record["timing_scale"] | none}, day.tables)
    assert timing.finding(true) == "The log reads true: no offset and no delay"
    assert timing.worked(true) == ""
    unsure = view(day.record | {"timing_scale": day.record["timing_scale"] | none | {"hi_deg": 0.3}}, day.tables)
    assert timing.finding(unsure).startswith("The log reads 0.0° ")


def test_names_cut_short_stay_apart() -> None:
    names = [f"Distributor of the day {n} total" for n in (8, 16, 18)]
    cut = told_apart(names, 18)
    assert len(set(cut.values())) == 3
    assert all(len(c) <= 18 for c in cut.values())


def test_a_word_goes_where_least_is_drawn() -> None:
    bars = [(1.0, 0.0, 2.0), (2.0, 0.0, 9.0), (6.0, 0.0, 2.0)]
    assert freest([(1.0, 2.1, 3.0), (6.0, 2.1, 3.0)], 1.2, bars, (0.0, 9.0)) == 1
    assert freest([(1.0, 2.1, 3.0), (6.0, 8.8, 9.7)], 0.5, bars, (0.0, 9.0)) == 0, "not outside the frame"


def test_a_pull_left_out_in_part_is_told_once_on_page_one(day: InventedDay) -> None:
    record = copy.deepcopy(day.record)
    pull, why = record["pulls"][0], "torque drops more than timing can explain"
    pull |= {"status": "part", "reasons": [f"4000 to 5100 rpm left out: {why}"]}
    other = f"pull 99 (other.csv), 4000–5100 rpm is left out: {why}"
    record["warnings"] = [f"pull {pull['order']} ({pull['file']}), 4000–5100 rpm is left out: {why}", other]
    said = content(view(record, day.tables))
    assert [line for line in said.doubts_first if why in line] == [*(d for d in said.doubts if why in d), other]
    assert len(said.warnings) == 2, "the second page has them all"


def test_a_total_that_the_sheet_writes_otherwise_is_said_to_be_the_same_setting(day: InventedDay) -> None:
    record = copy.deepcopy(day.record)
    home = next(p["setting"] for p in record["pulls"] if p["baseline"])
    ran = next(s for s in record["shapes"] if s["setting"] == home)
    for pull in record["pulls"]:
        pull["total_deg"] = 22.0
    record["advice"]["mechanical"]["total_deg"] = ran["total_deg"] = 21.5
    said = " ".join(what_it_is_worth(view(record, day.tables)))
    assert "The sheet has this total as 22°" in said
    ran["total_deg"] = 28.0
    assert "The sheet has" not in " ".join(what_it_is_worth(view(record, day.tables)))


def test_two_days_whose_best_is_not_found_are_told_what_can_be_compared() -> None:
    nothing = {"torque": "allowed", "change_pct": None, "a": {"setting": None}, "b": {"setting": None}}
    level = nothing | {"change_pct": -0.04, "lo_pct": -0.4, "hi_pct": 0.3, "torque_rows": [{"rpm": 2800}, {"rpm": 3300}]}
    assert compare._sentence(level).startswith("A and B make the same torque over 2800 to 3300 rpm")
    assert "name a setting of each" in compare._sentence(nothing)
    assert "name a setting" not in compare._sentence(nothing | {"a": {"setting": "x"}, "b": {"setting": "y"}})
