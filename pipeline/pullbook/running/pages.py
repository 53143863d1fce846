"""The pages over all days: every engine and day, newest first, and each engine's tune history.

Built from the short summary in the note beside each day's report, so adding a day opens no other day's record.
"""

import hashlib
import json
from typing import Any

from pullbook.book import Book
from pullbook.running.drawn import DRAWING, DayKey, notes

_STANDING = ".pages.json"


def write_pages(book: Book) -> None:
    """Write the pages that list every day, and note what they list.

    Raises
    ------
    OSError
        The reports folder cannot be written.
    """
    from pullbook.report.engine import render_engine
    from pullbook.report.index import render_index

    known = notes(book)
    listed = [
        {**note["summary"], "logs_here": book.day_folder(*key).is_dir(), "folder": key[0]} for key, note in sorted(known.items())
    ]
    book.reports.mkdir(parents=True, exist_ok=True)
    render_index(book.reports, listed)
    by_engine: dict[str, list[dict[str, Any]]] = {}
    for day in listed:
        by_engine.setdefault(day["folder"], []).append(day)
    for engine, days in by_engine.items():
        render_engine(book.reports, engine, days)
    (book.reports / _STANDING).write_text(json.dumps({"standing": _standing(book, list(known))}), encoding="utf-8")


def pages_stand(book: Book, days: list[DayKey]) -> bool:
    """Whether the pages are there and list ``days`` as they are on the disk: which there are, and whose logs are gone."""
    if not days:
        return True
    try:
        noted = json.loads((book.reports / _STANDING).read_text(encoding="utf-8"))["standing"]
    except (OSError, ValueError, KeyError, TypeError):
        return False
    pages = [book.reports / "index.html", *(book.reports / engine / "index.html" for engine in {e for e, _ in days})]
    return noted == _standing(book, days) and all(page.exists() for page in pages)


def _standing(book: Book, days: list[DayKey]) -> str:
    listed = [[*key, book.day_folder(*key).is_dir()] for key in sorted(days)]
    return hashlib.sha256(json.dumps([DRAWING, listed]).encode()).hexdigest()
