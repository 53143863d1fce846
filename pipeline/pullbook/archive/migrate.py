"""Write days of an earlier schema version anew, for readers that know nothing of this tool.

Files in the archive are never rewritten: each such day becomes a revision of its own, and what it replaces is kept.
"""

import argparse
import sys
from pathlib import Path

from pullbook.archive.lock import hold_book
from pullbook.archive.schema import SCHEMA_VERSION
from pullbook.archive.store import Store
from pullbook.book import Book, printable
from pullbook.provenance import Provenance


def migrate(store: Store) -> list[tuple[str, str, int]]:
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
            engine, day, tables=store.read_tables(engine, day), record=record, own=seal["own"], again=True,
            made=Provenance(seal["inputs"], seal["made_at"], seal["tool_version"], seal["method"]),
        )  # fmt: skip
        made.append((engine, day, revision))
    store.update_catalog()
    return made


def main() -> int:
    """`python -m pullbook.archive.migrate BOOK`."""
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
