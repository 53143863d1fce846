"""The pages over all days: every engine and day, newest first, and each engine's tune history.

Built from the short summary in the note beside each day's report, so adding a day opens no other day's record, and writes no other
engine's page.
"""

import hashlib
import json
import os
from contextlib import suppress
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
    by_engine: dict[str, list[dict[str, Any]]] = {}
    for day in listed:
        by_engine.setdefault(day["folder"], []).append(day)
    before, now = _noted(book).get("engines", {}), {engine: _digest(days) for engine, days in by_engine.items()}
    book.reports.mkdir(parents=True, exist_ok=True)
    render_index(book.reports, listed)
    for engine, days in by_engine.items():
        if before.get(engine) != now[engine] or not (book.reports / engine / "index.html").exists():
            render_engine(book.reports, engine, days)
    _note(book, {"standing": _standing({key: key in here for key in known}), "engines": now})


def outdate_pages(book: Book) -> None:
    """Note that a report is about to change: the pages are then written again even if the run is stopped before it comes to them.

    Raises
    ------
    OSError
        The reports folder cannot be written.
    """
    noted = _noted(book)
    if noted.get("standing") is not None:
        _note(book, {**noted, "standing": None})


def pages_stand(book: Book, here: list[DayKey], gone: set[DayKey]) -> bool:
    """Whether the pages are there and list the days as they are on the disk: those ``here``, and those whose logs are ``gone``."""
    if not here and not gone:
        return True
    if _noted(book).get("standing") != _standing({**dict.fromkeys(gone, False), **dict.fromkeys(here, True)}):
        return False
    reports = os.fspath(book.reports)  # text: there may be thousands
    pages = [f"{reports}/index.html", *(f"{reports}/{engine}/index.html" for engine in {e for e, _ in (*here, *gone)})]
    return all(map(os.path.exists, pages))


def _noted(book: Book) -> dict[str, Any]:
    """What was noted of the pages: a digest of the days they list (None while some report changes), and one of each engine's."""
    with suppress(OSError, ValueError):
        noted = json.loads((book.reports / _STANDING).read_text(encoding="utf-8"))
        if isinstance(noted, dict) and isinstance(noted.get("engines"), dict):
            return noted
    return {}


def _note(book: Book, noted: dict[str, Any]) -> None:
    half = book.reports / f".making-pages-{os.getpid()}"  # several processes draw at once
    half.write_text(json.dumps(noted, ensure_ascii=True), encoding="utf-8")
    half.replace(book.reports / _STANDING)


def _standing(logs_here: dict[DayKey, bool]) -> str:
    return _digest([[*key, logs_here[key]] for key in sorted(logs_here)])


def _digest(listed: list[Any]) -> str:
    return hashlib.sha256(json.dumps([DRAWING, listed]).encode()).hexdigest()
