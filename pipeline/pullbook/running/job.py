"""One process of the workflow: a parcel of days through some of the stages. Started by Snakemake's rules, runs without it too.

python -m pullbook.running.job whole   --plan plan.json --parcel ID --reported FILE --out FILE       a single day, logs to pages
python -m pullbook.running.job measure --plan plan.json --parcel ID --out DIR                        read -> align -> delivered
python -m pullbook.running.job report  --plan plan.json --parcel ID --measured DIR... --out FILE     best -> archive -> report
python -m pullbook.running.job index   --plan plan.json --out FILE                                   pages that list every day
"""

import argparse
import gc
import json
import os
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pullbook.running.plan import OUTCOME, Plan, PlannedDay
from pullbook.running.progress import note

if TYPE_CHECKING:
    from pullbook.running.measured import Measured

for _pool in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ.setdefault(_pool, "1")  # the workflow shares the cores among days; threads inside a job would fight over them


def main(arguments: list[str] | None = None) -> int:
    """Do the parcel; every day gets an outcome, and one that fails never stops the next."""
    parser = argparse.ArgumentParser(prog="python -m pullbook.running.job", description=__doc__)
    parser.add_argument("part", choices=("whole", "measure", "report", "index"))
    parser.add_argument("--plan", required=True, type=Path)
    parser.add_argument("--parcel", default="")
    parser.add_argument("--measured", nargs="*", default=[], type=Path)
    parser.add_argument("--reported", type=Path)
    parser.add_argument("--out", required=True, type=Path)
    given = parser.parse_args(arguments)
    gc.disable()  # looking for cycles in memory, a last time at the end, took a tenth of a job: _days looks between two days
    plan = Plan.read(given.plan.resolve())
    if given.part == "measure":
        _measure(plan, given.parcel, given.out)
    elif given.part == "report":
        _report(plan, given.parcel, given.measured, given.out)
    elif given.part == "whole":
        _whole(plan, given.parcel, given.reported, given.out)
    else:
        _index(plan, given.out)
    return 0


def _days(plan: Plan, parcel: str) -> Iterator[str]:
    """The parcel's days, what one left in memory cleared away before the next; what all days share is not looked over again."""
    for number, ident in enumerate(plan.parcels[parcel]):
        if number:
            gc.collect()
        if number == 1:
            gc.freeze()
        yield ident


def _measure(plan: Plan, parcel: str, out: Path) -> None:
    for ident in _days(plan, parcel):
        day, folder = plan.days[ident], out / ident
        folder.mkdir(parents=True, exist_ok=True)

        def work(day: PlannedDay = day, folder: Path = folder) -> dict[str, Any]:
            measured = _measured(plan, day)
            if measured is not None:
                measured.keep(folder)
            return _errors(measured)

        outcome = _isolated(plan, day, "measure", work)
        (folder / OUTCOME).write_text(json.dumps(outcome, ensure_ascii=True), encoding="utf-8")


def _report(plan: Plan, parcel: str, measured: list[Path], out: Path) -> None:
    from pullbook.running.measured import Measured
    from pullbook.running.one_day import report

    folders = {folder.name: folder for whole in measured for folder in whole.iterdir() if folder.is_dir()}
    outcomes: dict[str, dict[str, Any]] = {}
    for ident in _days(plan, parcel):
        day = plan.days[ident]
        outcome = json.loads((folders[ident] / OUTCOME).read_text(encoding="utf-8")) if day.action == "make" else {}
        if "fault" not in outcome:

            def work(day: PlannedDay = day) -> dict[str, Any]:
                return report(plan, day, Measured.kept(folders[day.id]) if day.action == "make" else None, folders)

            outcome |= _isolated(plan, day, "report", work)
        outcomes[ident] = outcome
        note(plan.progress, engine=day.engine, day=day.day, finished=True)
    _write_outcomes(out, outcomes)


def _whole(plan: Plan, parcel: str, reported: Path, out: Path) -> None:
    """A parcel that has no earlier day of the run to wait for, from its logs to the pages over all days: imports are paid once."""
    from pullbook.running.measured import Measured
    from pullbook.running.one_day import report

    outcomes: dict[str, dict[str, Any]] = {}
    for ident in _days(plan, parcel):
        day, found = plan.days[ident], dict[str, Measured | None]()

        def first(day: PlannedDay = day, found: dict[str, Measured | None] = found) -> dict[str, Any]:
            found[day.id] = _measured(plan, day)
            return _errors(found[day.id])

        def second(day: PlannedDay = day, found: dict[str, Measured | None] = found) -> dict[str, Any]:
            return report(plan, day, found[day.id], {})

        outcome = _isolated(plan, day, "measure", first)
        if found:
            outcome |= _isolated(plan, day, "report", second)
        outcomes[ident] = outcome
        note(plan.progress, engine=day.engine, day=day.day, finished=True)
    try:
        _index(plan, out)
    except OSError as full:
        for outcome in outcomes.values():
            outcome.setdefault("unwritable", _in_words(full))
    _write_outcomes(reported, outcomes)
    out.parent.mkdir(parents=True, exist_ok=True)
    out.touch()


def _measured(plan: Plan, day: PlannedDay) -> "Measured | None":
    """The day measured alone, or None where only its report is to be drawn again."""
    from pullbook.running.one_day import measure

    return measure(plan, day) if day.action == "make" else None


def _errors(measured: "Measured | None") -> dict[str, Any]:
    """The contract's error objects of a day that was read."""
    if measured is None:
        return {}
    return {"errors": [asdict(error) for error in measured.reading.errors]}


def _write_outcomes(out: Path, outcomes: dict[str, dict[str, Any]]) -> None:
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(json.dumps(outcomes, ensure_ascii=True), encoding="utf-8")


def _index(plan: Plan, out: Path) -> None:
    from pullbook.archive.disk import ArchiveUnwritable
    from pullbook.archive.store import Store
    from pullbook.book import all_days
    from pullbook.running.pages import write_pages

    gc.freeze()
    gc.enable()  # there may be a figure for each of hundreds of engines
    store = Store(plan.book.archive, plan.work)
    with suppress(ArchiveUnwritable):  # every day has said so already; the pages are made all the same
        store.update_catalog()
        store.note_missing_logs(all_days(plan.book))
    write_pages(plan.book)
    out.parent.mkdir(parents=True, exist_ok=True)
    out.touch()


def _isolated(plan: Plan, day: PlannedDay, part: str, work: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """The outcome of one part of a day, whatever happens in it."""
    try:
        return work()
    except OSError as full:  # no room, no right: the operator's to mend, not a fault of ours
        if day.action == "make" and not plan.book.day_folder(day.engine, day.day).is_dir():
            return {"unwritable": "its folder went away while it was being read"}
        return {"unwritable": _in_words(full)}
    except Exception as fault:
        log = plan.work / "faults" / f"{day.id}-{part}.log"
        log.parent.mkdir(parents=True, exist_ok=True)
        log.write_text(f"{day.engine}/{day.day}\n{traceback.format_exc()}", encoding="utf-8", errors="backslashreplace")
        return {"fault": f"{type(fault).__name__}: {str(fault).splitlines()[0] if str(fault) else ''}"[:200], "log": log.name}


def _in_words(full: OSError) -> str:
    return f"{full.strerror or full}: {full.filename or ''}".rstrip(": ")


if __name__ == "__main__":
    sys.exit(main())
