"""A run's work as a record: the days to make, packed into parcels, and where each parcel's files lie in the work folder.

What has to be made is decided in planning.py; the processes of the workflow read the plan from its file.
"""

import json
import shutil
import sys
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal

from pullbook.book import Book, day_order

Action = Literal["make", "draw"]
OUTCOME = "measure.json"
"""How measuring a day ended, beside what it measured."""
_PARCELS, _MEASURED, _REPORTED = "parcels", "measured", "reported"


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """One day to make (read to report) or only to draw again from its record; ``why`` in the operator's words; ``inputs``: as
    :class:`pullbook.archive.inputs.InputHashes` lists them."""

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
        return self.work / _MEASURED / parcel

    def reported(self, parcel: str) -> Path:
        """How the days of a parcel ended."""
        return self.work / _REPORTED / f"{parcel}.json"

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


def clear_work(plan: Plan, *, whole: bool) -> None:
    """After a run: intermediate files have served, those an earlier run left that was stopped as well; after one that was not
    ``whole``, all but its own, which the next one may go on from."""
    for folder in (plan.work / name for name in (_PARCELS, _MEASURED, _REPORTED)):
        for left in folder.iterdir() if folder.is_dir() else ():
            if whole or left.stem not in plan.parcels:
                left.unlink() if left.is_file() else shutil.rmtree(left, ignore_errors=True)
    if whole:
        shutil.rmtree(plan.pages_made.parent, ignore_errors=True)
        for name in ("log", "metadata"):  # of jobs that no run asks for again; what it knows to be incomplete stays
            shutil.rmtree(plan.work / ".snakemake" / name, ignore_errors=True)
