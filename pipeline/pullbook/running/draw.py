"""Put a day's report folder on the disk as a whole."""

import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pullbook.book import Book
from pullbook.running.drawn import write_note
from pullbook.running.pages import outdate_pages
from pullbook.running.plan import Plan, PlannedDay

if TYPE_CHECKING:
    import polars as pl


def draw(plan: Plan, day: PlannedDay, record: dict[str, Any], tables: "dict[str, pl.DataFrame]", revision: int) -> Path:
    """Write the day's report folder as a whole: made beside it, then put in its place.

    Parameters
    ----------
    plan, day
        The run's plan and the day.
    record, tables
        The day's record and the tables behind it.
    revision
        Of the archive that it was drawn from; 0: of none.

    Returns
    -------
    Path
        Its report.html.

    Raises
    ------
    OSError
        The reports folder cannot be written; what stood there stands.
    """
    from pullbook.report.day import render_day
    from pullbook.report.day_row import summary

    place = plan.book.reports / day.engine / day.day
    making = plan.book.reports / f".making-{day.id}"
    shutil.rmtree(making, ignore_errors=True)
    making.mkdir(parents=True)
    logs = plan.book.day_folder(day.engine, day.day)
    render_day(record, tables, making, pictures_from=logs if logs.is_dir() else None, page=plan.page)
    text = json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1)
    (making / "day.json").write_text(text, encoding="utf-8", errors="backslashreplace")
    files = [p.relative_to(making).as_posix() for p in making.rglob("*") if p.is_file()]
    write_note(making, (day.engine, day.day), revision=revision, page=plan.page, files=files, summary=summary(record))
    outdate_pages(plan.book)
    place.parent.mkdir(parents=True, exist_ok=True)
    if place.exists():
        old = plan.book.reports / f".old-{day.id}"
        shutil.rmtree(old, ignore_errors=True)
        place.rename(old)
        making.rename(place)
        shutil.rmtree(old, ignore_errors=True)
    else:
        making.rename(place)
    return place / "report.html"


def clear_half_drawn(book: Book) -> None:
    """Remove what a run that was stopped left beside the reports."""
    for pattern in (".making-*", ".old-*"):
        for left in book.reports.glob(pattern):
            if left.is_dir():
                shutil.rmtree(left, ignore_errors=True)
            else:
                left.unlink(missing_ok=True)
