"""The short cut for settled days: whatever is done to a file of a day, the day is looked at again; left alone, it is not."""

import os
import shutil
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from pullbook.archive.names import partition_text
from pullbook.book import Book
from pullbook.running import settled
from pullbook.running.settled import Settled

DAY = ("blue", "2031-04-05")
OTHER = ("blue", "2031-04-06")
LOG, SHEET, FACTS = "logs/blue/2031-04-05/a.csv", "logs/blue/2031-04-05/pulls.csv", "logs/blue/engine.yaml"
TABLE = f"archive/best/{partition_text(*DAY)}/best.parquet"
SEAL = f"archive/_days/{partition_text(*DAY)}/seal.json"
REPORT, FIGURE = "reports/blue/2031-04-05/report.html", "reports/blue/2031-04-05/figures/a.svg"
LONG_AGO = 1_900_000_000


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Book:
    """Two days of an engine, made long ago by the clock that is looked at."""
    for engine, day in (DAY, OTHER):
        place = partition_text(engine, day)
        for name in (f"logs/{engine}/{day}/a.csv", f"logs/{engine}/{day}/pulls.csv", f"archive/_days/{place}/seal.json",
                     f"archive/best/{place}/best.parquet", f"archive/pulls/{place}/pulls.parquet",
                     f"reports/{engine}/{day}/report.html", f"reports/{engine}/{day}/figures/a.svg"):  # fmt: skip
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name).write_text("as it was")
    (tmp_path / FACTS).write_text("name: blue")
    later = time.time_ns() + 60_000_000_000
    monkeypatch.setattr(settled.time, "time_ns", lambda: later)
    return Book.at(tmp_path)


def looked_over(book: Book) -> tuple[Settled, dict[tuple[str, str], bool]]:
    now = Settled(book, "A4")
    return now, {key: now.holds(*key) for key in (DAY, OTHER)}


def remembered(book: Book) -> None:
    now, held = looked_over(book)
    assert not any(held.values())
    now.remember({DAY, OTHER})
    assert all(looked_over(book)[1].values())


def edited(path: Path) -> None:
    path.write_text("as it is now")


def touched(path: Path) -> None:
    os.utime(path, (LONG_AGO, LONG_AGO))


def replaced_with_its_date(path: Path) -> None:
    """As `cp -p` to another name and `mv` over it do."""
    shutil.copy2(path, path.with_name(".half"))
    path.with_name(".half").replace(path)


def edited_with_its_date(path: Path) -> None:
    """As a program does that puts the old date back: same size, same date, same inode."""
    was = path.stat()
    path.write_bytes(path.read_bytes()[::-1])
    os.utime(path, ns=(was.st_atime_ns, was.st_mtime_ns))


def added_beside(path: Path) -> None:
    path.with_name("another").write_text("new")


def renamed(path: Path) -> None:
    path.rename(path.with_name("another name.csv"))


OF_A_LOG = (edited, touched, replaced_with_its_date, Path.unlink, added_beside, renamed)
OF_A_TABLE = (edited, touched, replaced_with_its_date, Path.unlink)
OF_A_REPORT = (replaced_with_its_date, Path.unlink, added_beside)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        *[(name, change) for name in (LOG, SHEET) for change in OF_A_LOG],
        *[(name, change) for name in (TABLE, SEAL) for change in OF_A_TABLE],
        *[(name, change) for name in (REPORT, FIGURE) for change in OF_A_REPORT],
    ],
)
def test_a_change_to_a_file_of_a_day_is_seen_and_its_neighbour_left_alone(
    book: Book, name: str, change: Callable[[Path], None]
) -> None:
    remembered(book)
    change(book.root / name)
    assert looked_over(book)[1] == {DAY: False, OTHER: True}


@pytest.mark.skipif(os.name == "nt", reason="there a file's second date is when it was made")
@pytest.mark.parametrize("name", [LOG, SHEET])
def test_an_input_changed_under_its_old_date_is_seen(book: Book, name: str) -> None:
    remembered(book)
    edited_with_its_date(book.root / name)
    assert looked_over(book)[1] == {DAY: False, OTHER: True}


@pytest.mark.parametrize("change", [edited, touched, replaced_with_its_date, Path.unlink])
def test_a_change_to_engine_yaml_is_seen_by_all_its_days(book: Book, change: Callable[[Path], None]) -> None:
    remembered(book)
    change(book.root / FACTS)
    assert looked_over(book)[1] == {DAY: False, OTHER: False}


@pytest.mark.parametrize(
    "folder", [Path(LOG).parent, Path(TABLE).parent, Path(SEAL).parent, Path(REPORT).parent, Path(FIGURE).parent]
)
def test_a_folder_taken_away_is_seen(book: Book, folder: Path) -> None:
    remembered(book)
    shutil.rmtree(book.root / folder)
    assert looked_over(book)[1] == {DAY: False, OTHER: True}


def test_another_paper_or_a_table_more_is_looked_into(book: Book) -> None:
    remembered(book)
    assert not Settled(book, "Letter").holds(*DAY)
    (book.archive / "worked out later").mkdir()
    assert looked_over(book)[1] == {DAY: False, OTHER: False}


def test_a_file_of_this_moment_is_looked_at_again(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()  # the clock: the files were made just now, and may change again under the same date
    now, _ = looked_over(book)
    now.remember({DAY, OTHER})
    assert not any(looked_over(book)[1].values())


def test_what_changes_while_a_run_makes_the_day_is_seen_by_the_next(book: Book) -> None:
    now, _ = looked_over(book)
    edited(book.root / LOG)
    now.remember({DAY, OTHER})
    assert looked_over(book)[1] == {DAY: False, OTHER: True}


def test_a_day_that_failed_is_not_remembered_and_one_no_longer_asked_for_is_forgotten(book: Book) -> None:
    now, _ = looked_over(book)
    now.remember({DAY})
    again, held = looked_over(book)
    assert held == {DAY: True, OTHER: False}
    again.remember({OTHER})
    assert looked_over(book)[1] == {DAY: False, OTHER: True}


def test_a_broken_note_only_costs_time(book: Book) -> None:
    remembered(book)
    (book.work / "settled.json").write_text('{"version": ')
    assert not any(looked_over(book)[1].values())
