"""What has to be made: days whose inputs, method or paper changed, packed into parcels for the workflow.

Decided by content (hashes of every input against the record in the archive), never by file dates: a touched but unchanged file
makes nothing, a replaced file carrying an old date does.
"""

import hashlib
import json
import os
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from pullbook import METHOD
from pullbook.book import Book, day_order, printable
from pullbook.config import Settings, open_book
from pullbook.running.drawn import DayKey, read_note, why_draw
from pullbook.running.pages import pages_stand
from pullbook.running.plan import Action, Plan, PlannedDay

if TYPE_CHECKING:
    from pullbook.archive.heads import Heads
    from pullbook.running.settled import Settled

MOST_PARCELS = 250
"""A report waits for all parcels with an earlier day, so what the workflow has to keep in mind grows with their square."""

Asked = tuple[str, str | None]
"""An engine, or one day of it, that a run is to look at."""


def open_plan(root: Path, handed: str | None, *, make: bool) -> Plan:
    """The plan for a Snakemake process: the one ``pullbook run`` handed over, else one made here (main process only).

    Raises
    ------
    pullbook.config.ConfigError
        The book's config.yaml cannot be used.
    """
    if handed:
        return Plan.read(Path(handed).resolve())
    here = Path("plan.json")
    if not make and here.exists():  # a job on another machine starts inside the work folder
        return Plan.read(here.resolve())
    book, settings = open_book(root)
    file = book.work / "plan.json"
    if make or not file.exists():
        from pullbook.archive.heads import Heads
        from pullbook.archive.lock import hold_book

        # Held until this process ends, so that a `pullbook run` of the same book waits.
        _HELD.append(hold_book(book.work))
        heads = Heads(book.archive, book.work)
        if heads.to_complete():
            from pullbook.archive.store import Store

            Store(book.archive, book.work).complete_unfinished()
        make_plan(book, settings, heads).plan.write()
    return Plan.read(file)


_HELD: list[Any] = []


class PlanMade(NamedTuple):
    """What looking over the book found. ``settled``: the short cut to remember days by once they are in order; ``fine``: the days
    that were in order already; ``here``: every day that has a folder; ``astray``: what lies where it is not read."""

    plan: Plan
    settled: "Settled"
    fine: set[DayKey]
    here: list[DayKey]
    astray: list[str]


def make_plan(book: Book, settings: Settings, heads: "Heads", only: list[Asked] | None = None) -> PlanMade:
    """Compare every day's inputs with its record and plan what differs.

    Parameters
    ----------
    book, settings, heads
        The book, its settings and its archive.
    only
        Engines, or engine and day, to look at; all where None.

    Returns
    -------
    PlanMade
        The plan, and what was seen on the way.
    """
    from pullbook.archive.inputs import InputHashes, inputs_digest
    from pullbook.reading.astray import days_and_astray
    from pullbook.running.settled import Settled

    hashes = InputHashes(book)
    settled = Settled(book, settings.page)
    planned: list[PlannedDay] = []
    asked = None if only is None else set(only)
    here, astray = days_and_astray(book)
    gone = _gone(heads, here)
    fine: set[DayKey] = set()
    for engine, day in [*here, *sorted(gone)]:
        if asked is not None and not {(engine, None), (engine, day)} & asked:
            continue
        if settled.holds(engine, day):
            fine.add((engine, day))
            continue
        now = heads.current(engine, day)
        inputs = hashes.of_day(engine, day) if (engine, day) not in gone else []
        digest = inputs_digest(inputs)
        why = _why_make(now, inputs, digest) if (engine, day) not in gone else None
        action: Action = "make"
        if why is None and now is not None:
            action, why = "draw", why_draw(book, (engine, day), read_note(book, (engine, day)), int(now["revision"]), settings.page)
        if why is not None:
            planned.append(PlannedDay(_ident(engine, day, digest, action), engine, day, action, why, inputs))
        else:
            fine.add((engine, day))
    hashes.keep()
    pages = bool(planned) or not pages_stand(book, here, gone)
    return PlanMade(_packed(book, settings, planned, pages=pages), settled, fine, here, astray)


def _gone(heads: "Heads", here: list[DayKey]) -> set[DayKey]:
    """Days of the archive whose folder is not here: their record and report stay. Names as the catalogue prints them."""
    present = {(printable(engine), printable(day)) for engine, day in here}
    return {listed[:2] for listed in heads.listed()} - present


def _ident(*parts: str) -> str:
    """A file-safe name that stands for exactly this content."""
    return hashlib.sha256(json.dumps([*parts, METHOD]).encode()).hexdigest()[:16]


def _why_make(now: dict[str, Any] | None, inputs: list[dict[str, Any]], digest: str) -> str | None:
    from pullbook.archive.inputs import why_changed

    if now is None:
        return "new day"
    if not now["complete"]:
        return "part of its record is missing or damaged"
    if now.get("method") != METHOD:
        return f"method {METHOD} in place of {now.get('method')}"
    if now.get("inputs_hash") != digest:
        return why_changed(now["inputs"], inputs)
    return None


def _packed(book: Book, settings: Settings, planned: list[PlannedDay], *, pages: bool) -> Plan:
    """Parcels: one day each while there are few (so that cores share them), several where start-up would dominate."""
    cores = os.cpu_count() or 1
    order = sorted(planned, key=lambda d: (day_order(d.day), d.engine))
    by_id = {d.id: d for d in order}
    size = max(1, min(settings.days_per_job, len(order) // (2 * cores)), ceil(len(order) / MOST_PARCELS))
    parcels: dict[str, list[str]] = {}
    for start in range(0, len(order), size):
        ids = [d.id for d in order[start : start + size]]
        name = _ident(*ids, *(by_id[i].action for i in ids))
        parcels[name] = ids
    file = book.work / "plan.json"
    return Plan(_ident(*parcels), file, str(book.root), settings.logs, settings.page, by_id, parcels, pages, book.work)
