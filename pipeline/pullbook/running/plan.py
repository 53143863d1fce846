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
from typing import Any, Literal

from pullbook import METHOD
from pullbook.book import Book, days, engines
from pullbook.config import Settings, open_book

Action = Literal["make", "draw"]
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
    inputs_hash: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """A run's work. ``parcels``: parcel id -> ids of its days. Everything the jobs need stands in ``file``."""

    id: str
    file: Path
    root: str
    logs: str
    page: str
    days: dict[str, PlannedDay]
    parcels: dict[str, list[str]]
    work: Path
    python: str = sys.executable

    @property
    def book(self) -> Book:
        """The book this plan is for."""
        return Book.at(Path(self.root), logs=self.logs)

    def needed_before(self, parcel: str) -> list[str]:
        """Parcels that must be measured before ``parcel`` can be reported: its own, and those with an earlier day."""
        mine = [self.days[d] for d in self.parcels[parcel] if self.days[d].action == "make"]
        if not mine:
            return []
        last = max(d.day for d in mine)
        return [
            p for p, ids in self.parcels.items() if any(self.days[d].action == "make" and self.days[d].day <= last for d in ids)
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
    book, settings = open_book(root)
    file = book.work / "plan.json"
    if make or not file.exists():
        from pullbook.archive.lock import hold_book
        from pullbook.archive.store import Store

        # Held until this process ends, so that a `pullbook run` of the same book waits.
        _HELD.append(hold_book(book.work))
        store = Store(book.archive)
        store.complete_unfinished()
        make_plan(book, settings, store).write()
    return Plan.read(file)


_HELD: list[Any] = []


def make_plan(book: Book, settings: Settings, store: Any, only: list[tuple[str, str | None]] | None = None) -> Plan:
    """Compare every day's inputs with its record and plan what differs.

    Parameters
    ----------
    book, settings, store
        The book, its settings and its archive (:class:`pullbook.archive.store.Store`).
    only
        Engines, or engine and day, to look at; all where None.
    """
    from pullbook.archive.inputs import InputHashes, inputs_digest
    from pullbook.running.drawn import drawn_as_recorded

    hashes = InputHashes(book)
    planned: dict[str, PlannedDay] = {}
    current = store.current_all()
    for engine in engines(book):
        for day in days(book, engine)[0]:
            if only is not None and not any(e == engine and d in (None, day) for e, d in only):
                continue
            inputs = hashes.of_day(engine, day)
            digest = inputs_digest(inputs)
            now = current.get((engine, day))
            why = _why_make(now, digest)
            action: Action = "make"
            if why is None:
                action = "draw"
                why = drawn_as_recorded(book, engine, day, now["revision"], settings.page) if now else None
            if why is not None:
                ident = hashlib.sha256(json.dumps([engine, day, digest, METHOD]).encode()).hexdigest()[:16]
                planned[ident] = PlannedDay(ident, engine, day, action, why, inputs, digest)
    hashes.keep()
    for (engine, day), now in current.items():  # records whose logs are gone still have their reports
        if only is None and not book.day_folder(engine, day).is_dir():
            why = drawn_as_recorded(book, engine, day, now["revision"], settings.page)
            if why is not None:
                ident = hashlib.sha256(json.dumps([engine, day, now["revision"]]).encode()).hexdigest()[:16]
                planned[ident] = PlannedDay(ident, engine, day, "draw", why)
    return _packed(book, settings, planned)


def _why_make(now: dict[str, Any] | None, digest: str) -> str | None:
    if now is None:
        return "new day"
    if now.get("method") != METHOD:
        return f"method {METHOD} in place of {now.get('method')}"
    if now.get("inputs_hash") != digest:
        return "new or changed inputs"
    return None


def _packed(book: Book, settings: Settings, planned: dict[str, PlannedDay]) -> Plan:
    """Parcels: one day each while there are few (so that cores share them), several where start-up would dominate."""
    cores = os.cpu_count() or 1
    order = sorted(planned.values(), key=lambda d: (d.day, d.engine))
    size = max(1, min(settings.days_per_job, len(order) // (2 * cores)))
    parcels: dict[str, list[str]] = {}
    for start in range(0, len(order), size):
        ids = [d.id for d in order[start : start + size]]
        name = hashlib.sha256(json.dumps([ids, [planned[i].action for i in ids]]).encode()).hexdigest()[:16]
        parcels[name] = ids
    ident = hashlib.sha256(json.dumps(sorted(parcels)).encode()).hexdigest()[:16]
    return Plan(ident, book.work / "plan.json", str(book.root), settings.logs, settings.page, planned, parcels, book.work)


def clear_markers(plan: Plan) -> None:
    """Remove what earlier runs left of this plan's parcels: planned work is by definition not done.

    Measured parcels are kept: they are named by the content they came from, so an interrupted run goes on from them.
    """
    for parcel in plan.parcels:
        (plan.work / _PARCELS / f"{parcel}.reported").unlink(missing_ok=True)
    (plan.work / "index" / f"{plan.id}.done").unlink(missing_ok=True)


def clear_work(plan: Plan) -> None:
    """After a whole run: its intermediate files have served."""
    for parcel in plan.parcels:
        for ending in ("json", "measured", "reported"):
            (plan.work / _PARCELS / f"{parcel}.{ending}").unlink(missing_ok=True)
    for ident in plan.days:
        shutil.rmtree(plan.work / "days" / ident, ignore_errors=True)
