"""A log or a day of far more pulls, logs or lines than any dyno day: one line says so, and what is within the limits is used."""

from pathlib import Path

import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log

from pullbook.book import Book
from pullbook.reading import limits
from pullbook.reading.day import read_day
from pullbook.reading.log import read_log
from pullbook.text import strict
from pullbook.text import text as text_of

DAY = "2031-05-01"


def day_of(tmp_path: Path, *sweeps: int) -> Book:
    """A book with one day, whose logs ``0.csv``, ``1.csv``, … hold so many sweeps each."""
    folder = tmp_path / "logs" / "test" / DAY
    folder.mkdir(parents=True)
    for number, count in enumerate(sweeps):
        write_log(folder / f"{number}.csv", drive(SWEEP * count, number=number), advance=30.0)
    return Book.at(tmp_path)


def test_a_log_of_too_many_pulls_is_refused_and_the_others_are_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "MOST_PULLS", 3)
    day = read_day(day_of(tmp_path, 2, 4, 1), "test", DAY)
    assert [(e.file, e.found) for e in day.errors] == [(f"logs/test/{DAY}/1.csv", "4 pulls")]
    assert "at most 3 pulls" in day.errors[0].expected
    assert day.pulls["file"].to_list() == ["0.csv", "0.csv", "2.csv"]


def test_the_logs_that_are_too_many_together_are_left_out_and_said_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "MOST_PULLS", 3)
    day = read_day(day_of(tmp_path, 2, 1, 1, 1), "test", DAY)
    assert [(e.file, e.line, e.found) for e in day.errors] == [(f"logs/test/{DAY}", None, "3 pulls and more")]
    assert "2 logs of it not used" in day.errors[0].expected
    assert day.pulls["file"].to_list() == ["0.csv", "0.csv", "1.csv"]


def test_no_more_logs_are_read_than_a_day_has(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "MOST_LOGS", 2)
    day = read_day(day_of(tmp_path, 1, 1, 1), "test", DAY)
    assert [(e.file, e.found) for e in day.errors] == [(f"logs/test/{DAY}", "3 logs")]
    assert [log.file.rsplit("/", 1)[-1] for log in day.logs] == ["0.csv", "1.csv"]


@pytest.mark.parametrize("end", ["\n", "\r", "\r\n"])
def test_a_log_of_too_many_lines_is_told_so_whatever_it_weighs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end: str) -> None:
    rows = [f"{0.01 * k:.2f},{1500 + k % 4000},180.5" for k in range(9_000)]
    path = tmp_path / "long.csv"
    path.write_bytes(end.join(["t [s],n [rpm],Md [Nm]", *rows, ""]).encode())
    assert read_log(path, shown="long.csv").error is None
    for module in (text_of, strict):
        monkeypatch.setattr(module, "MOST_LINES", 8_000)
    error = read_log(path, shown="long.csv").error
    assert error is not None
    assert "million lines" in error.found
