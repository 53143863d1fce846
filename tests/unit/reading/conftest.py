"""Books that several tests of this room begin with."""

from pathlib import Path

import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log
from tests.unit.reading.shop import Shop

from pullbook.book import Book


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """A book with one day and nothing in it yet."""
    return Shop(tmp_path / "book")


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A day of two logs, one of them with two pulls, and a file that is no log."""
    made = Book.at(tmp_path / "book")
    folder = made.logs / "blue" / "2031-04-05"
    folder.mkdir(parents=True)
    write_log(folder / "run 1.csv", drive(SWEEP, number=1), advance=30.0)
    write_log(folder / "run 2.csv", drive([*SWEEP, (5, 900, 0.1), *SWEEP], number=2), advance=32.0)
    (folder / "bad.csv").write_text("K1,K2,K3\n71,15,66\n90,11,62\n58,87,51\n75,96,2\n")
    return made
