"""One process of the workflow: a parcel of days through some of the stages. Started by Snakemake's rules, runs without it too.

python -m pullbook.running.job measure --plan plan.json --parcel ID --out DIR                        read -> align -> delivered
python -m pullbook.running.job report  --plan plan.json --parcel ID --measured DIR... --out FILE     best -> archive -> report
python -m pullbook.running.job index   --plan plan.json --out FILE                                   pages that list every day
"""

import argparse
import json
import os
import sys
import traceback
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

from pullbook.running.plan import Plan, PlannedDay
from pullbook.running.progress import note

OUTCOME = "measure.json"
"""How measuring a day ended, beside what it measured."""

for _pool in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ.setdefault(_pool, "1")  # the workflow shares the cores among days; threads inside a job would fight over them


def main(arguments: list[str] | None = None) -> int:
    """Do the parcel; every day gets an outcome, and one that fails never stops the next."""
    parser = argparse.ArgumentParser(prog="python -m pullbook.running.job", description=__doc__)
    parser.add_argument("part", choices=("measure", "report", "index"))
    parser.add_argument("--plan", required=True, type=Path)
    parser.add_argument("--parcel", default="")
    parser.add_argument("--measured", nargs="*", default=[], type=Path)
    parser.add_argument("--out", required=True, type=Path)
    given = parser.parse_args(arguments)
    plan = Plan.read(given.plan.resolve())
    if given.part == "measure":
        _measure(plan, given.parcel, given.out)
    elif given.part == "report":
        _report(plan, given.parcel, given.measured, given.out)
    else:
        _index(plan, given.out)
    return 0


def _measure(plan: Plan, parcel: str, out: Path) -> None:
    from pullbook.running.one_day import measure

    for ident in plan.parcels[parcel]:
        day, folder = plan.days[ident], out / ident
        folder.mkdir(parents=True, exist_ok=True)
        outcome = _isolated(plan, day, "measure", partial(measure, plan, day, folder))
        (folder / OUTCOME).write_text(json.dumps(outcome, ensure_ascii=True), encoding="utf-8")


def _report(plan: Plan, parcel: str, measured: list[Path], out: Path) -> None:
    from pullbook.running.one_day import report

    folders = {folder.name: folder for whole in measured for folder in whole.iterdir() if folder.is_dir()}
    outcomes: dict[str, dict[str, Any]] = {}
    for ident in plan.parcels[parcel]:
        day = plan.days[ident]
        outcome = json.loads((folders[ident] / OUTCOME).read_text(encoding="utf-8")) if day.action == "make" else {}
        if "fault" not in outcome:
            outcome |= _isolated(plan, day, "report", partial(report, plan, day, folders))
        outcomes[ident] = outcome
        note(plan.work / "progress.jsonl", engine=day.engine, day=day.day, finished=True)
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(json.dumps(outcomes, ensure_ascii=True), encoding="utf-8")


def _index(plan: Plan, out: Path) -> None:
    from pullbook.archive.disk import ArchiveUnwritable
    from pullbook.archive.store import Store
    from pullbook.running.pages import write_pages

    with suppress(ArchiveUnwritable):  # every day has said so already; the pages are made all the same
        Store(plan.book.archive).update_catalog()
    write_pages(plan.book)
    out.parent.mkdir(parents=True, exist_ok=True)
    out.touch()


def _isolated(plan: Plan, day: PlannedDay, part: str, work: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """The outcome of one part of a day, whatever happens in it."""
    try:
        return work()
    except OSError as full:  # no room, no right: the operator's to mend, not a fault of ours
        return {"unwritable": f"{full.strerror or full}: {full.filename or ''}".rstrip(": ")}
    except Exception as fault:
        log = plan.work / "faults" / f"{day.id}-{part}.log"
        log.parent.mkdir(parents=True, exist_ok=True)
        log.write_text(f"{day.engine}/{day.day}\n{traceback.format_exc()}", encoding="utf-8", errors="backslashreplace")
        return {"fault": f"{type(fault).__name__}: {str(fault).splitlines()[0] if str(fault) else ''}"[:200], "log": log.name}


if __name__ == "__main__":
    sys.exit(main())
