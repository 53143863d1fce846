"""Day folders, sheets and clocks made to fill the screen or the hours: some lines, some seconds, and the good log is used."""

import time
from pathlib import Path

import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log
from tests.unit.reading.made_pull import read

from pullbook.book import Book
from pullbook.handover import DayReading, Fault
from pullbook.reading import limits
from pullbook.reading.day import read_day
from pullbook.reading.once import MOST_ALIKE, once_faults

DAY = "2031-05-01"


def day_with(tmp_path: Path, files: dict[str, str]) -> DayReading:
    """A day of one good log and further files."""
    folder = tmp_path / "logs" / "test" / DAY
    folder.mkdir(parents=True)
    write_log(folder / "good.csv", drive(SWEEP), advance=30.0)
    for name, text in files.items():
        (folder / name).write_text(text)
    began = time.process_time()
    day = read_day(Book.at(tmp_path), "test", DAY)
    assert time.process_time() - began < 10
    assert day.pulls["file"].to_list() == ["good.csv"]
    return day


def test_a_clock_that_breaks_off_at_every_row_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "MOST_STRETCHES", 200)
    rows = "".join(f"{k // 2 * 500 + k % 2 * 0.1:.1f},{1500 + k},{180 + k % 7}\n" for k in range(1_000))
    day = day_with(tmp_path, {"torn.csv": f"Time [s],Engine speed [rpm],Torque [Nm]\n{rows}"})
    assert [(e.file, e.line, e.found) for e in day.errors] == [
        (f"logs/test/{DAY}/torn.csv", 1, "a clock that breaks off or goes back 499 times")
    ]


def test_dates_of_a_thousand_days_are_no_clock(tmp_path: Path) -> None:
    """Each different date was looked up among all of them again for every slab of rows."""
    rows = "".join(
        f"{1 + k % 28}.{1 + k // 28 % 12}.{1950 + k // 336} 12:00:{k % 60:02},{1500 + k % 4000},180\n" for k in range(6_000)
    )
    log = read(tmp_path, f"Time,Engine speed [rpm],Torque [Nm]\n{rows}")
    assert log.error is None
    assert "time_s" not in log.samples.columns
    assert any("'Time' holds no time that can be read" in text for text in log.warnings)


def test_the_names_of_a_table_too_wide_are_not_all_understood(tmp_path: Path) -> None:
    text = "\n".join([",".join(f"c{k}" for k in range(30_000)), *[",".join(["1.5"] * 30_000)] * 20, ""])
    began = time.process_time()
    log = read(tmp_path, text)
    assert time.process_time() - began < 6
    assert log.error is not None
    assert log.error.found == "30000 columns"


def test_thousands_of_entries_that_are_no_logs_are_counted(tmp_path: Path) -> None:
    day = day_with(tmp_path, {f"{k}.bin": "" for k in range(300)})
    told = [text for text in day.warnings if "not read" in text]
    assert len(told) == MOST_ALIKE + 1
    assert any(f"logs/test/{DAY}: {300 - MOST_ALIKE} entries more are" in text for text in told)


def test_hundreds_of_patterns_that_fit_nothing_are_counted(tmp_path: Path) -> None:
    day = day_with(tmp_path, {"columns.yaml": "".join(f"'*{k}.csv': {{a: {{channel: rpm}}}}\n" for k in range(300))})
    told = [text for text in day.warnings if text.startswith("columns.yaml: ")]
    assert len(told) == MOST_ALIKE + 1
    assert f"columns.yaml: {300 - MOST_ALIKE} patterns more fit no log of this day" in told


def test_hundreds_of_copies_of_the_pull_sheet_are_not_all_read(tmp_path: Path) -> None:
    day = day_with(tmp_path, {f"pulls ({k}).csv": f"file,setting\ngood.csv,S{k}\n" for k in range(60)})
    assert any("are all pull sheets: none is used" in text for text in day.questions)
    assert any("one copy of the pull sheet too many" in str(x) for x in (*day.warnings, *day.errors))


def test_findings_of_one_kind_are_one_fault_where_they_are_many() -> None:
    many = [Fault("pulls.csv", k, "file", f"'../{k}'", "a plain file name", "write the name") for k in range(2, 102)]
    few = [Fault("pulls.csv", k, "knock", f"'maybe {k}'", "a word", "write it") for k in (2, 3)]
    told = once_faults([*many, *few])
    assert [fault.found for fault in told] == ["'../2' (and on 99 more lines)", "'maybe 2'", "'maybe 3'"]
    assert [fault.line for fault in told] == [2, 2, 3]
