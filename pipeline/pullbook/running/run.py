"""`pullbook run`: hold the book, plan, let Snakemake do it, say what came out."""

import json
import os
import subprocess
import sys
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pullbook.book import Book, all_days, day_order
from pullbook.config import Settings
from pullbook.place import carried
from pullbook.running.draw import clear_half_drawn
from pullbook.running.plan import Plan, clear_outcomes, clear_work
from pullbook.running.planning import Asked, make_plan
from pullbook.running.progress import Display
from pullbook.running.stop import Stop, Stopped, end_family, end_left_behind, forget_family, note_family

_POLL_S = 0.1
_ROOM_BYTES = 300_000
"""With less room than this a run cannot be expected to end well."""


@dataclass(slots=True)
class Outcome:
    """What a run did. ``days``: one status a day made or drawn; ``notices``: one line each for the operator.

    ``astray``: one line for each thing that lies where it is not read. ``unwritable``: why the archive could not be written, one
    line for standard error.
    """

    days: list[dict[str, Any]] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    astray: list[str] = field(default_factory=list)
    status: int = 0
    unwritable: str | None = None


def run(
    book: Book,
    settings: Settings,
    only: list[Asked] | None,
    *,
    quiet: bool = False,
    wait_s: float = 0.0,
    profile: Path | None = None,
) -> Outcome:
    """Make everything that is new or changed.

    Parameters
    ----------
    book, settings
        The book and its settings.
    only
        Engines, or engine and day, to look at; all where None.
    quiet
        No progress on standard error.
    wait_s
        How long to wait for another run that holds the book, in seconds.
    profile
        Folder of the workflow profile that says where jobs run (None: this machine).

    Raises
    ------
    pullbook.archive.lock.BookHeld
        Another run holds the book.
    Stopped
        SIGINT or SIGTERM came; no process is left behind.
    OSError
        No room or no right to write.
    """
    from pullbook.archive.heads import Heads
    from pullbook.archive.listing import out_of_step
    from pullbook.archive.lock import hold_book

    with hold_book(book.work, wait_s=wait_s, say=_tell):
        if end_left_behind(book.work):
            _tell("an earlier run was killed and its jobs were still at work: they were ended")
        heads, outcome = Heads(book.archive, book.work), Outcome()
        if heads.to_complete():
            _complete(book, outcome)
        clear_half_drawn(book)
        plan, settled, fine, here, astray = make_plan(book, settings, heads, only)
        outcome.astray = astray if only is None else []
        if plan.parcels or plan.pages:
            _work(plan, profile, quiet)
            _collect(plan, outcome)
            here = all_days(book)
        if out_of_step(heads.listed(), here):
            _note_missing(book, here, outcome)
        if only is None:
            settled.remember(fine | {(d["engine"], d["day"]) for d in outcome.days if not (d.get("fault") or d.get("unwritable"))})
        return outcome


def _complete(book: Book, outcome: Outcome) -> None:
    """Finish what a crash left in the archive."""
    from pullbook.archive.disk import ArchiveUnwritable
    from pullbook.archive.store import Store

    try:
        for left in Store(book.archive, book.work).complete_unfinished():
            outcome.notices.append(f"{left['engine']} / {left['day']}: an interrupted run was completed")
    except ArchiveUnwritable as refused:
        outcome.unwritable, outcome.status = str(refused), 1


def _note_missing(book: Book, here: list[tuple[str, str]], outcome: Outcome) -> None:
    """Mark in the catalogue the days whose logs are gone, where the workflow's last job did not come to it."""
    from pullbook.archive.disk import ArchiveUnwritable
    from pullbook.archive.store import Store

    try:
        Store(book.archive, book.work).note_missing_logs(here)
    except ArchiveUnwritable as refused:
        outcome.unwritable, outcome.status = str(refused), outcome.status or 1


def _work(plan: Plan, profile: Path | None, quiet: bool) -> None:
    """Hand the plan to Snakemake and show progress until it ends; on a signal end the whole family of processes."""
    plan.work.mkdir(parents=True, exist_ok=True)
    clear_outcomes(plan)
    plan.write()
    events = plan.progress
    events.unlink(missing_ok=True)
    display = None if quiet else Display(len(plan.days))
    home = carried("workflow")
    command = [sys.executable, str(home / "start.py"), "--snakefile", str(home / "Snakefile"), "--directory", str(plan.work)]
    command += ["--workflow-profile", str(profile or home / "profiles" / "default"), "--quiet", "all", "--nolock"]
    if profile is None and "SNAKEMAKE_PROFILE" not in os.environ:
        command += ["--executor", "local"]  # no executor of a cluster is loaded for it
    command += ["--config", f"plan={plan.file.name}"]
    stop = Stop()
    with (plan.work / "workflow.log").open("wb") as log, stop:
        family = subprocess.Popen(command, cwd=plan.work, stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True)
        note_family(plan.work, family.pid)
        try:
            while family.poll() is None and stop.status() is None:
                if display:
                    display.follow(events)
                with suppress(subprocess.TimeoutExpired):
                    family.wait(_POLL_S)
        finally:
            if display:
                display.follow(events)
                display.close()
            if family.poll() is None:
                end_family(family.pid)
                family.wait()
            forget_family(plan.work)
    ended = stop.status()
    if ended is not None:
        raise Stopped(ended)


def _tell(text: str) -> None:
    print(f"pullbook: {text}", file=sys.stderr, flush=True)


def _collect(plan: Plan, outcome: Outcome) -> None:
    """Read every day's status; a day without one never got its turn, which is a fault of ours unless the disk took nothing more."""
    full = _refusal(plan.work)
    outcomes: dict[str, dict[str, Any]] = {}
    for parcel in plan.parcels:
        try:
            outcomes |= json.loads(plan.reported(parcel).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
    for ident, day in plan.days.items():
        status = {"engine": day.engine, "day": day.day}
        status |= outcomes.get(ident, {"fault": "its job ended early", "log": "workflow.log"})
        if "fault" in status and full:
            status["unwritable"] = full
            del status["fault"], status["log"]
        status["why"] = day.why
        outcome.unwritable = status.get("unwritable") or outcome.unwritable
        if status.get("fault"):
            outcome.status = 3
        elif (status.get("errors") or status.get("unwritable")) and outcome.status == 0:
            outcome.status = 1
        outcome.days.append(status)
    outcome.days.sort(key=lambda d: (day_order(d["day"]), d["engine"]))
    finished = plan.pages_made.exists()
    if not finished and full:
        outcome.unwritable, outcome.status = outcome.unwritable or full, outcome.status or 1
    elif not finished and outcome.status == 0:
        outcome.status = 3
        outcome.notices.append(f"the index pages were not made; see {plan.work / 'workflow.log'}")
    clear_work(plan, whole=outcome.status != 3)


def _refusal(folder: Path) -> str | None:
    """Why nothing can be written into ``folder`` (no room, no right), or None where it can."""
    probe = folder / ".room"
    try:
        probe.write_bytes(bytes(_ROOM_BYTES))
    except OSError as refused:
        return f"the book could not be written: {refused.strerror}; what was complete stands"
    finally:
        with suppress(OSError):
            probe.unlink(missing_ok=True)
    return None


def reports_page(book: Book) -> Path:
    """The page that lists every engine and day."""
    return book.reports / "index.html"
