"""Bring tables of an earlier schema version up to this one.

Files in the archive are never rewritten. A table of an earlier version is brought up whenever it is read (:func:`upgraded`), one
step a version; :func:`migrate` also writes such days anew, as revisions of their own, for readers that know nothing of this tool.

To change a table: change :data:`pullbook.archive.schema.TABLES`, raise ``SCHEMA_VERSION``, add the step from the version before to
``STEPS`` (none is needed where columns were only added: they read as null), and note the new fingerprint in the test that asks.
"""

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from pullbook.archive.schema import SCHEMA_VERSION, conformed

if TYPE_CHECKING:
    from pullbook.archive.store import Store

Step = Callable[[str, pl.DataFrame], pl.DataFrame]

STEPS: dict[int, Step] = {}
"""version -> what turns a table (name, rows) of that version into one of the next."""


def upgraded(name: str, table: pl.DataFrame, version: int) -> pl.DataFrame:
    """A table as the present version has it.

    Parameters
    ----------
    name, table
        The table, as written under ``version``.
    version
        ``schema`` of the day's seal.

    Returns
    -------
    polars.DataFrame
        With the columns of :data:`pullbook.archive.schema.TABLES`; the very same frame where nothing has to be done.
    """
    if version >= SCHEMA_VERSION:
        return table
    for step in range(version, SCHEMA_VERSION):
        if step in STEPS:
            table = STEPS[step](name, table)
    return conformed(name, table)


def migrate(store: "Store") -> list[tuple[str, str, int]]:
    """Write every day of an earlier version anew as a revision in the present one; what it replaces is kept.

    Returns
    -------
    list of (engine, day, revision)
        The new revisions; empty where every day is of the present version.

    Raises
    ------
    ArchiveUnwritable
        No room or no right; days done so far are done, the others stand as they were.
    """
    made = []
    for engine, day in sorted(store.current_all()):
        seal = store.seal(engine, day)
        record = store.read_record(engine, day)
        if seal is None or record is None or seal["schema"] >= SCHEMA_VERSION:
            continue
        revision = store.write_day(
            engine, day, tables=store.read_tables(engine, day), record=record, inputs=seal["inputs"], made_at=seal["made_at"],
            tool_version=seal["tool_version"], method=seal["method"], own=seal["own"], again=True,
        )  # fmt: skip
        made.append((engine, day, revision))
    store.update_catalog()
    return made


def main() -> int:
    """`python -m pullbook.archive.migrate BOOK`."""
    from pullbook.archive.lock import hold_book
    from pullbook.archive.store import Store
    from pullbook.book import Book, printable

    given = argparse.ArgumentParser(prog="python -m pullbook.archive.migrate", description=main.__doc__)
    given.add_argument("book", type=Path, help="the book's folder")
    book = Book.at(given.parse_args().book)
    with hold_book(book.work):
        store = Store(book.archive)
        store.complete_unfinished()
        for engine, day, revision in migrate(store):
            print(f"{printable(engine)} / {printable(day)}: revision {revision}")
    print(f"every day is in schema version {SCHEMA_VERSION}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
