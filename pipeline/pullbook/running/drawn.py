"""What a day's report folder was drawn from: a small hidden note beside the report, so that what is missing is seen and redrawn."""

import json
from pathlib import Path
from typing import Any

from pullbook.book import Book

NOTE = ".drawn.json"
DRAWING = 7
"""Version of the drawing. Raised when a report of the same record would look different; reports are then drawn again."""

DayKey = tuple[str, str]
Note = dict[str, Any]


def write_note(folder: Path, key: DayKey, *, revision: int, page: str, files: list[str], summary: dict[str, Any]) -> None:
    """Write down what ``folder`` holds, from which revision of the record, and its row for the pages over all days."""
    note = {"engine": key[0], "day": key[1], "drawing": DRAWING, "revision": revision, "page": page, "files": sorted(files)}
    (folder / NOTE).write_text(json.dumps(note | {"summary": summary}, ensure_ascii=True), encoding="utf-8")


def read_note(book: Book, key: DayKey) -> Note | None:
    """The note of one day's report folder, None where there is none or it is broken."""
    return _read(book.reports / key[0] / key[1] / NOTE)


def notes(book: Book) -> dict[DayKey, Note]:
    """The notes of every report folder of the book, by (engine, day)."""
    found = (_read(path) for path in book.reports.glob(f"*/*/{NOTE}")) if book.reports.is_dir() else ()
    return {(str(note["engine"]), str(note["day"])): note for note in found if note is not None}


def _read(path: Path) -> Note | None:
    try:
        note: Note = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return note if isinstance(note, dict) and {"engine", "day", "summary"} <= note.keys() else None


def why_draw(book: Book, key: DayKey, note: Note | None, revision: int, page: str) -> str | None:
    """Why the day's report has to be drawn again, or None where it stands as recorded.

    Parameters
    ----------
    book, key
        The book, and the day's engine and name.
    note
        What was noted when it was last drawn, None where nothing was.
    revision
        Current revision of its record.
    page
        Paper that reports are for.
    """
    if note is None:
        return "its report is not there"
    if note.get("revision") != revision:
        return "its report is of another revision"
    if note.get("page") != page:
        return f"paper is now {page}"
    if note.get("drawing") != DRAWING:
        return "reports are drawn anew by this version"
    folder = book.reports / key[0] / key[1]
    if any(not (folder / name).exists() for name in note.get("files", [])):
        return "part of its report is not there"
    return None
