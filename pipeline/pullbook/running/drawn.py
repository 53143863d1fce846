"""What a day's report folder was drawn from: a small hidden note beside the report, so that what is missing is seen and redrawn."""

import json
from pathlib import Path
from typing import Any

from pullbook.book import Book

NOTE = ".drawn.json"
DRAWING = 1
"""Version of the drawing. Raised when a report of the same record would look different; reports are then drawn again."""


def write_note(folder: Path, *, revision: int, page: str, files: list[str]) -> None:
    """Write down what ``folder`` holds and from which revision of the record."""
    note = {"drawing": DRAWING, "revision": revision, "page": page, "files": sorted(files)}
    (folder / NOTE).write_text(json.dumps(note), encoding="utf-8")


def drawn_as_recorded(book: Book, engine: str, day: str, revision: int, page: str) -> str | None:
    """Why the day's report has to be drawn again, or None where it stands as recorded."""
    folder = book.reports / engine / day
    try:
        note: dict[str, Any] = json.loads((folder / NOTE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return "its report is not there"
    if note.get("revision") != revision:
        return "its report is of another revision"
    if note.get("page") != page:
        return f"paper is now {page}"
    if note.get("drawing") != DRAWING:
        return "reports are drawn anew by this version"
    if any(not (folder / name).exists() for name in note.get("files", [])):
        return "part of its report is not there"
    return None
