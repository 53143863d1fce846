"""What has to be made: days whose inputs, method or paper changed, packed into parcels for the workflow.

Decided by content (hashes of every input against the record in the archive), never by file dates: a touched but unchanged file
makes nothing, a replaced file carrying an old date does.
"""

import hashlib
import json
import os
import shutil
import sys
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from pullbook import METHOD
from pullbook.book import Book, day_order, printable
from pullbook.config import Settings, open_book
from pullbook.running.drawn import DayKey, read_note, why_draw
from pullbook.running.pages import pages_stand

if TYPE_CHECKING:
    from pullbook.archive.heads import Heads
    from pullbook.running.settled import Settled

Action = Literal["make", "draw"]
Asked = tuple[str, str | None]
"""An engine, or one day of it, that a run is to look at."""
OUTCOME = "measure.json"
"""How measuring a day ended, beside what it measured."""
_PARCELS = "parcels"


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """One day to make (read to report) or only to draw again from its record; ``why`` in the operator's words."""

    id: str
    engine: str
    day: str
    action: Action
    why: str
    inputs: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Plan:
    """A run's work. ``parcels``: parcel id -> ids of its days; ``pages``: whether the pages over all days have to be
    written. Everything the jobs need stands in ``file``."""

    id: str
    file: Path
    root: str
    logs: str
    page: str
    days: dict[str, PlannedDay]
    parcels: dict[str, list[str]]
    pages: bool
    work: Path
    python: str = sys.executable

    @property
    def book(self) -> Book:
        """The book this plan is for."""
        return Book.at(Path(self.root), logs=self.logs)

    @property
    def progress(self) -> Path:
        """Where jobs say how far they are."""
        return self.work / "progress.jsonl"

    @property
    def pages_made(self) -> Path:
        """What stands once the pages over all days are made."""
        return self.work / "index" / f"{self.id}.done"

    def measured(self, parcel: str) -> Path:
        """Folder of what was measured of a parcel."""
        return self.work / "measured" / parcel

    def reported(self, parcel: str) -> Path:
        """How the days of a parcel ended."""
        return self.work / "reported" / f"{parcel}.json"

    @property
    def at_once(self) -> bool:
        """Whether one process does all there is, from the logs to the pages: a single day, the commonest run of all."""
        return len(self.days) == 1

    def needed_before(self, parcel: str) -> list[str]:
        """Parcels that must be measured before ``parcel`` can be reported: its own, and those with an earlier day."""
        mine = [self.days[d] for d in self.parcels[parcel] if self.days[d].action == "make"]
        if not mine:
            return []
        last = max(day_order(d.day) for d in mine)
        return [
            p
            for p, ids in self.parcels.items()
            if any(self.days[d].action == "make" and day_order(self.days[d].day) <= last for d in ids)
        ]

    def write(self) -> None:
        """Put the plan and a small file a parcel into the work folder."""
        plain = {**asdict(self), "file": self.file.name, "work": None}
        (self.work / _PARCELS).mkdir(parents=True, exist_ok=True)
        for parcel, ids in self.parcels.items():
            (self.work / _PARCELS / f"{parcel}.json").write_text(json.dumps(ids), encoding="utf-8")
        self.file.write_text(json.dumps(plain, ensure_ascii=True), encoding="utf-8")

    @classmethod
    def read(cls, file: Path) -> "Plan":
        """The plan that :meth:`write` wrote."""
        plain = json.loads(file.read_text(encoding="utf-8"))
        plain["days"] = {k: PlannedDay(**v) for k, v in plain["days"].items()}
        plain |= {"file": file, "work": file.parent}
        return cls(**plain)


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


class Look(NamedTuple):
    """What looking over the book found. ``settled``: the short cut to remember days by once they are in order; ``fine``: the days
    that were in order already; ``here``: every day that has a folder; ``astray``: what lies where it is not read."""

    plan: Plan
    settled: "Settled"
    fine: set[DayKey]
    here: list[DayKey]
    astray: list[str]


def make_plan(book: Book, settings: Settings, heads: "Heads", only: list[Asked] | None = None) -> Look:
    """Compare every day's inputs with its record and plan what differs.

    Parameters
    ----------
    book, settings, heads
        The book, its settings and its archive.
    only
        Engines, or engine and day, to look at; all where None.

    Returns
    -------
    Look
        The plan, and what was seen on the way.
    """
    from pullbook.archive.inputs import InputHashes, inputs_digest
    from pullbook.reading.astray import days_and_astray
    from pullbook.running.settled import Settled

    hashes = InputHashes(book)
    settled = Settled(book, settings.page)
    planned: list[PlannedDay] = []
    here, astray = days_and_astray(book)
    gone = _gone(heads, here)
    fine: set[DayKey] = set()
    for engine, day in [*here, *sorted(gone)]:
        if only is not None and not any(e == engine and d in (None, day) for e, d in only):
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
    return Look(_packed(book, settings, planned, pages=pages), settled, fine, here, astray)


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
    size = max(1, min(settings.days_per_job, len(order) // (2 * cores)))
    parcels: dict[str, list[str]] = {}
    for start in range(0, len(order), size):
        ids = [d.id for d in order[start : start + size]]
        name = _ident(*ids, *(by_id[i].action for i in ids))
        parcels[name] = ids
    file = book.work / "plan.json"
    return Plan(_ident(*parcels), file, str(book.root), settings.logs, settings.page, by_id, parcels, pages, book.work)


def clear_outcomes(plan: Plan) -> None:
    """Remove what earlier runs left of this plan's parcels: planned work is by definition not done.

    Parcels measured whole and without a fault are kept: they are named by the content they came from, so an interrupted run goes
    on from them.
    """
    for parcel, ids in plan.parcels.items():
        plan.reported(parcel).unlink(missing_ok=True)
        measured = plan.measured(parcel)
        if measured.exists() and not all(_whole(measured / ident) for ident in ids):
            shutil.rmtree(measured, ignore_errors=True)
    plan.pages_made.unlink(missing_ok=True)


def _whole(folder: Path) -> bool:
    try:
        return not {"fault", "unwritable"} & json.loads((folder / OUTCOME).read_text(encoding="utf-8")).keys()
    except (OSError, ValueError):
        return False


def clear_work(plan: Plan) -> None:
    """After a whole run: its intermediate files have served."""
    for parcel in plan.parcels:
        (plan.work / _PARCELS / f"{parcel}.json").unlink(missing_ok=True)
        plan.reported(parcel).unlink(missing_ok=True)
        shutil.rmtree(plan.measured(parcel), ignore_errors=True)
