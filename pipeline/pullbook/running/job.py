"""One process of the workflow: a parcel of days through some of the stages. Started by Snakemake's rules, runs without it too.

python -m pullbook.running.job measure --plan plan.json --parcel ID --done FILE     read -> align -> delivered -> own figures
python -m pullbook.running.job report  --plan plan.json --parcel ID --done FILE     best -> archive -> report
python -m pullbook.running.job index   --plan plan.json --done FILE                 pages that list every engine and day
"""

import argparse
import json
import os
import sys
import traceback
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from pullbook.running.plan import Plan, PlannedDay
from pullbook.running.progress import note

for _pool in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ.setdefault(_pool, "1")  # the workflow shares the cores among days; threads inside a job would fight over them


def main(arguments: list[str] | None = None) -> int:
    """Do the parcel; every day gets a status file, and one that fails never stops the next."""
    parser = argparse.ArgumentParser(prog="python -m pullbook.running.job", description=__doc__)
    parser.add_argument("part", choices=("measure", "report", "index"))
    parser.add_argument("--plan", required=True, type=Path)
    parser.add_argument("--parcel")
    parser.add_argument("--done", required=True, type=Path)
    given = parser.parse_args(arguments)
    plan = Plan.read(given.plan.resolve())
    if given.part == "index":
        from pullbook.archive.disk import ArchiveUnwritable
        from pullbook.archive.store import Store
        from pullbook.running.pages import write_pages

        with suppress(ArchiveUnwritable):  # every day has said so already; the pages are made all the same
            Store(plan.book.archive).update_catalog()
        write_pages(plan.book)
    else:
        from pullbook.running import one_day

        work: Callable[[Plan, PlannedDay], dict[str, Any]] = getattr(one_day, given.part)
        for ident in plan.parcels[given.parcel]:
            _isolated(work, plan, plan.days[ident], given.part)
    given.done.parent.mkdir(parents=True, exist_ok=True)
    given.done.touch()
    return 0


def outcome_file(plan: Plan, ident: str, part: str) -> Path:
    """Where the outcome of one part of a day is noted; a note of an earlier run is written over."""
    return plan.work / "days" / ident / f"{part}.json"


def _isolated(work: Callable[[Plan, PlannedDay], dict[str, Any]], plan: Plan, day: PlannedDay, part: str) -> None:
    place = outcome_file(plan, day.id, part)
    place.parent.mkdir(parents=True, exist_ok=True)
    measured = outcome_file(plan, day.id, "measure")
    if part == "report" and day.action == "make" and "fault" in json.loads(measured.read_text(encoding="utf-8")):
        return
    try:
        outcome = work(plan, day)
    except OSError as full:  # no room, no right: the operator's to mend, not a fault of ours
        outcome = {"unwritable": f"{full.strerror or full}: {full.filename or ''}".rstrip(": ")}
    except Exception as fault:
        log = plan.work / "faults" / f"{day.id}-{part}.log"
        log.parent.mkdir(parents=True, exist_ok=True)
        log.write_text(f"{day.engine}/{day.day}\n{traceback.format_exc()}", encoding="utf-8", errors="backslashreplace")
        outcome = {"fault": f"{type(fault).__name__}: {str(fault).splitlines()[0] if str(fault) else ''}"[:200], "log": log.name}
    place.write_text(json.dumps(outcome, ensure_ascii=True), encoding="utf-8")
    if part == "report" or "fault" in outcome:
        note(plan.work / "progress.jsonl", engine=day.engine, day=day.day, finished=True)


if __name__ == "__main__":
    sys.exit(main())
