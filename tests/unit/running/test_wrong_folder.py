"""A person in the wrong folder is offered the book meant, and told what to type."""

from pathlib import Path

import pytest

from pullbook import cli
from pullbook.book import Book, book_nearby


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = Book.at(tmp_path / "shop")
    made.day_folder("blue", "2031-04-05").mkdir(parents=True)
    return made


@pytest.mark.parametrize("place", ["logs", "logs/blue", "logs/blue/2031-04-05", ".."])
def test_the_book_meant_is_offered(
    book: Book, place: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    here = (book.root / place).resolve()
    assert book_nearby(here, "logs") == book.root
    monkeypatch.chdir(here)
    assert cli.main(["check"]) == 2
    said = capsys.readouterr().err
    offered = said.split("--book ")[1].strip()
    assert (here / offered).resolve() == book.root


def test_no_book_is_made_up(tmp_path: Path) -> None:
    assert book_nearby(tmp_path, "logs") is None
    for name in ("a", "b"):
        (tmp_path / name / "logs").mkdir(parents=True)
    assert book_nearby(tmp_path, "logs") is None, "two below: nobody knows which"


def test_new_says_where_it_lies_and_what_to_type(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.main(["new", "blue eight", "2031-04-05", "--book", "my shop"]) == 0
    said = capsys.readouterr().out
    assert "All of it lies in my shop" in said
    assert "`pullbook run --book 'my shop'`" in said
    assert (tmp_path / "my shop" / "logs" / "blue eight" / "2031-04-05" / "pulls.csv").exists()
