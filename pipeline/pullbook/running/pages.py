"""The pages over all days: every engine and day, newest first, and each engine's tune history.

Built from the short summary in the note beside each day's report, so adding a day opens no other day's record.
"""

import hashlib
import json
import os
from typing import Any

from pullbook.book import Book, all_days
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
    here = set(all_days(book))
    listed = [{**note["summary"], "logs_here": key in here, "folder": key[0]} for key, note in sorted(known.items())]
    book.reports.mkdir(parents=True, exist_ok=True)
    render_index(book.reports, listed)
    by_engine: dict[str, list[dict[str, Any]]] = {}
    for day in listed:
        by_engine.setdefault(day["folder"], []).append(day)
    for engine, days in by_engine.items():
        render_engine(book.reports, engine, days)
    (book.reports / _STANDING).write_text(
        json.dumps({"standing": _standing({key: key in here for key in known})}), encoding="utf-8"
    )


def pages_stand(book: Book, here: list[DayKey], gone: set[DayKey]) -> bool:
    """Whether the pages are there and list the days as they are on the disk: those ``here``, and those whose logs are ``gone``."""
    if not here and not gone:
        return True
    try:
        noted = json.loads((book.reports / _STANDING).read_text(encoding="utf-8"))["standing"]
    except (OSError, ValueError, KeyError, TypeError):
        return False
    if noted != _standing({**dict.fromkeys(gone, False), **dict.fromkeys(here, True)}):
        return False
    reports = os.fspath(book.reports)  # text: there may be thousands
    pages = [f"{reports}/index.html", *(f"{reports}/{engine}/index.html" for engine in {e for e, _ in (*here, *gone)})]
    return all(map(os.path.exists, pages))


def _standing(logs_here: dict[DayKey, bool]) -> str:
    listed = [[*key, logs_here[key]] for key in sorted(logs_here)]
    return hashlib.sha256(json.dumps([DRAWING, listed]).encode()).hexdigest()
