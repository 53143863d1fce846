"""The pages over all days: what changed is written again, nothing else, and a run that is stopped leaves no old page standing."""

from pathlib import Path

import pytest

from pullbook.book import Book
from pullbook.running.draw import clear_half_drawn
from pullbook.running.drawn import write_note
from pullbook.running.pages import outdate_pages, pages_stand, write_pages

HERE = [("blue", "2031-04-05"), ("red", "2031-04-05"), ("red", "2031-04-06")]


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """Three drawn days of two engines, and their pages."""
    book = Book.at(tmp_path)
    for engine, day in HERE:
        (book.logs / engine / day).mkdir(parents=True)
        drawn(book, engine, day, "Set 32° total.")
    write_pages(book)
    return book


def drawn(book: Book, engine: str, day: str, sentence: str) -> None:
    folder = book.reports / engine / day
    folder.mkdir(parents=True, exist_ok=True)
    row = {"engine": engine, "day": day, "sentence": sentence}
    write_note(folder, (engine, day), revision=1, page="A4", files=[], summary=row)


def engine_page(book: Book, engine: str) -> Path:
    return book.reports / engine / "index.html"


def test_a_changed_day_writes_its_engine_and_the_list_and_no_other_engine(book: Book) -> None:
    untouched = engine_page(book, "blue").stat().st_mtime_ns
    drawn(book, "red", "2031-04-06", "Set 34° total.")
    write_pages(book)
    assert engine_page(book, "blue").stat().st_mtime_ns == untouched
    for page in (engine_page(book, "red"), book.reports / "index.html"):
        text = page.read_text(encoding="utf-8")
        assert "Set 34° total." in text
        assert "Set 32° total." in text


def test_a_page_taken_away_comes_back(book: Book) -> None:
    engine_page(book, "blue").unlink()
    assert not pages_stand(book, HERE, set())
    write_pages(book)
    assert "Set 32° total." in engine_page(book, "blue").read_text(encoding="utf-8")
    assert pages_stand(book, HERE, set())


def test_a_day_whose_logs_went_is_said_on_its_engines_page(book: Book) -> None:
    before = engine_page(book, "blue").read_text(encoding="utf-8")
    (book.logs / "blue" / "2031-04-05").rmdir()
    assert not pages_stand(book, HERE[1:], {HERE[0]})
    write_pages(book)
    assert pages_stand(book, HERE[1:], {HERE[0]})
    assert engine_page(book, "blue").read_text(encoding="utf-8") != before


def test_pages_do_not_stand_once_a_report_is_about_to_change(book: Book) -> None:
    """A run that is stopped after the day's report and before the pages is seen by the next run, though the same days are there."""
    outdate_pages(book)
    assert not pages_stand(book, HERE, set())
    drawn(book, "red", "2031-04-06", "Set 34° total.")
    write_pages(book)
    assert pages_stand(book, HERE, set())
    assert "Set 34° total." in engine_page(book, "red").read_text(encoding="utf-8")


@pytest.mark.parametrize("damage", ["{", "[]", '{"standing": "x"}', '{"engines": 3}'])
def test_a_broken_note_has_all_pages_written_again(book: Book, damage: str) -> None:
    (book.reports / ".pages.json").write_text(damage)
    assert not pages_stand(book, HERE, set())
    engine_page(book, "blue").write_text("old")
    outdate_pages(book)
    write_pages(book)
    assert "Set 32° total." in engine_page(book, "blue").read_text(encoding="utf-8")


def test_nothing_half_made_stays_beside_the_reports(book: Book) -> None:
    (book.reports / ".making-pages-1").write_text("half")
    (book.reports / ".making-x" / "figures").mkdir(parents=True)
    clear_half_drawn(book)
    assert sorted(p.name for p in book.reports.iterdir()) == [".pages.json", "blue", "index.html", "red"]
