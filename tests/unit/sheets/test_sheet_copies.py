"""`pulls (1).csv` and its like: the sheet where nothing else is, a question where there are two, a log where it holds one."""

from pathlib import Path

import openpyxl
import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log

from pullbook.book import Book
from pullbook.handover import DayReading
from pullbook.reading.check import meant
from pullbook.reading.day import read_day
from pullbook.running.new_sheet import new_day

DAY = "2031-04-05"
SHEET = "file,setting,total\nrun1.csv,bravo,30\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "logs" / "blue" / DAY
    made.mkdir(parents=True)
    write_log(made / "run1.csv", drive(SWEEP), 30.0)
    return made


def reading(folder: Path) -> DayReading:
    return read_day(Book.at(folder.parents[2]), "blue", DAY)


@pytest.mark.parametrize(
    "name",
    ["pulls (1).csv", "pulls - Copy.csv", "pulls - Kopie (2).csv", "Kopie von pulls.csv", "pulls_2.csv", "PULLS copy 3.CSV",
     "pulls(1).csv", "pulls (conflicted copy 2031-04-05).csv"],
)  # fmt: skip
def test_a_lone_copy_is_the_sheet_and_it_is_said(folder: Path, name: str) -> None:
    (folder / name).write_text(SHEET)
    day = reading(folder)
    assert day.pulls["setting"].to_list() == ["bravo"]
    assert [w for w in day.warnings if name in w] == [f"logs/blue/{DAY}/{name} is read as the pull sheet; name it pulls.csv"]
    assert not day.errors
    assert [log.file for log in day.logs] == [f"logs/blue/{DAY}/run1.csv"]


def test_a_copy_saved_by_a_spreadsheet(folder: Path) -> None:
    book = openpyxl.Workbook()
    for row in (("file", "setting"), ("run1.csv", "bravo")):
        book.active.append(row)
    book.save(folder / "pulls (2).xlsx")
    day = reading(folder)
    assert day.pulls["setting"].to_list() == ["bravo"]
    assert any("name it pulls.xlsx" in w for w in day.warnings)
    path = folder / "pulls (2).xlsx"
    assert meant(path, Book.at(folder.parents[2])) == path


def test_beside_the_plain_one_a_copy_is_asked_about_and_not_read(folder: Path) -> None:
    (folder / "Pulls.CSV").write_text(SHEET)
    (folder / "pulls (1).csv").write_text(SHEET.replace("bravo", "alpha"))
    day = reading(folder)
    assert day.pulls["setting"].to_list() == ["bravo"]
    assert "Both Pulls.CSV and pulls (1).csv are here: Pulls.CSV is used. Which one is right? Take the other away" in day.questions
    assert not day.errors


def test_of_two_copies_without_a_plain_one_none_is_guessed(folder: Path) -> None:
    (folder / "pulls (1).csv").write_text(SHEET)
    (folder / "pulls (2).csv").write_text(SHEET.replace("bravo", "alpha"))
    day = reading(folder)
    assert day.pulls["setting"].to_list() not in (["bravo"], ["alpha"])
    assert any("pulls (1).csv" in q and "pulls (2).csv" in q and "none is used" in q for q in day.questions)
    (folder / "pulls (2).csv").write_text(SHEET)
    assert reading(folder).pulls["setting"].to_list() == ["bravo"], "the same bytes twice are no doubt"


def test_a_log_of_such_a_name_is_a_log(folder: Path) -> None:
    (folder / "run1.csv").rename(folder / "pulls_2.csv")
    day = reading(folder)
    assert day.pulls["file"].to_list() == ["pulls_2.csv"]
    assert not day.errors


def test_new_keeps_the_copy_as_the_sheet_and_writes_no_other(folder: Path) -> None:
    (folder / "pulls (1).csv").write_text(SHEET)
    made = new_day(Book.at(folder.parents[2]), "blue", DAY)
    assert f"logs/blue/{DAY}/pulls (1).csv" in made["kept"]
    assert not (folder / "pulls.csv").exists()
