"""A day through the stages: the edge where their tables meet files. The two halves are the two processes of the workflow."""

import dataclasses
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
from natsort import natsort_keygen

from pullbook import METHOD, __version__
from pullbook.handover import AlignedDay, BestDay, DayReading, DeliveredDay
from pullbook.running import handover_files
from pullbook.running.plan import Plan, PlannedDay
from pullbook.running.progress import note

_natural = natsort_keygen()


def measure(plan: Plan, day: PlannedDay) -> dict[str, Any]:
    """Read -> align -> delivered, and the day's own figures under the default prior, kept for the second half.

    Returns
    -------
    dict
        ``errors``: the contract's error objects; ``warnings``, ``questions``: counts.
    """
    if day.action == "draw":
        return {}
    from pullbook.reading.day import read_day
    from pullbook.stages.align import align_day
    from pullbook.stages.best import best_advance
    from pullbook.stages.delivered import delivered_advance
    from pullbook.stages.prior import default
    from pullbook.stages.record import outline

    reading = read_day(plan.book, day.engine, day.day)
    _step(plan, day, "read")
    aligned = align_day(reading)
    _step(plan, day, "align")
    delivered = delivered_advance(reading, aligned)
    _step(plan, day, "delivered")
    own = best_advance(reading, aligned, delivered, default(reading.facts))
    reading = dataclasses.replace(
        reading, logs=tuple(dataclasses.replace(log, samples=log.samples.clear()) for log in reading.logs)
    )
    folder = plan.work / "days" / day.id
    handover_files.save(folder / "stages", {"reading": reading, "aligned": aligned, "delivered": delivered, "best": own})
    handover_files.save(
        folder / "own",
        {
            "own": {**own.own, "engine": day.engine, "day": day.day, "dyno": reading.facts.dyno.name},
            "outline": outline(reading, aligned, delivered),
        },
    )
    return {"errors": [dataclasses.asdict(e) for e in reading.errors]}


def report(plan: Plan, day: PlannedDay) -> dict[str, Any]:
    """Best with what earlier days taught -> archive -> report; or the report alone, from the record.

    Returns
    -------
    dict
        ``sentence``, ``report`` (path inside the book), ``revision``; ``unwritable`` where the archive could not be written.
    """
    from pullbook.archive.disk import ArchiveUnwritable
    from pullbook.archive.store import Store

    store = Store(plan.book.archive)
    outcome: dict[str, Any] = {}
    if day.action == "draw":
        record, tables = store.read_record(day.engine, day.day), store.read_tables(day.engine, day.day)
        current = store.current(day.engine, day.day)
        if record is None or current is None:
            raise LookupError("the record to draw from is not in the archive")
        revision = int(current["revision"])
    else:
        record, tables = _made(plan, day, store)
        _step(plan, day, "best")
        try:
            revision = store.write_day(
                day.engine,
                day.day,
                tables=tables,
                record=record,
                inputs=day.inputs,
                made_at=record["made_at"],
                tool_version=__version__,
                method=METHOD,
                own=record["own"],
            )
        except ArchiveUnwritable as refused:
            outcome["unwritable"] = str(refused)
            revision = 0  # never a revision of the archive: the next run makes and archives the day again
        _step(plan, day, "archive")
    place = draw(plan, day, record, tables, revision)
    _step(plan, day, "report", weight=6 if day.action == "draw" else 1)
    return outcome | {"sentence": record["advice"]["sentence"], "report": plan.book.shown(place), "revision": revision}


def draw(plan: Plan, day: PlannedDay, record: dict[str, Any], tables: dict[str, pl.DataFrame], revision: int) -> Path:
    """Write the day's report folder as a whole: made beside it, then put in its place."""
    import json

    from pullbook.report.day import render_day
    from pullbook.report.model import summary
    from pullbook.running.drawn import write_note

    place = plan.book.reports / day.engine / day.day
    making = plan.book.reports / f".making-{day.id}"
    shutil.rmtree(making, ignore_errors=True)
    making.mkdir(parents=True)
    logs = plan.book.day_folder(day.engine, day.day)
    render_day(record, tables, making, pictures_from=logs if logs.is_dir() else None, page=plan.page)
    text = json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1)
    (making / "day.json").write_text(text, encoding="utf-8", errors="backslashreplace")
    files = [p.relative_to(making).as_posix() for p in making.rglob("*") if p.is_file()]
    write_note(making, (day.engine, day.day), revision=revision, page=plan.page, files=files, summary=summary(record))
    place.parent.mkdir(parents=True, exist_ok=True)
    if place.exists():
        old = plan.book.reports / f".old-{day.id}"
        shutil.rmtree(old, ignore_errors=True)
        place.rename(old)
        making.rename(place)
        shutil.rmtree(old, ignore_errors=True)
    else:
        making.rename(place)
    return place / "report.html"


def _made(plan: Plan, day: PlannedDay, store: Any) -> tuple[dict[str, Any], dict[str, pl.DataFrame]]:
    from pullbook.archive.changes import changes
    from pullbook.archive.inputs import gone_since
    from pullbook.archive.settings import settings_table
    from pullbook.stages.advise import advise
    from pullbook.stages.best import best_advance
    from pullbook.stages.prior import pool
    from pullbook.stages.record import check_record, day_record, outline
    from pullbook.stages.surface import surface

    stages = handover_files.load(plan.work / "days" / day.id / "stages")
    reading: DayReading = stages["reading"]
    aligned: AlignedDay = stages["aligned"]
    delivered: DeliveredDay = stages["delivered"]
    own: BestDay = stages["best"]
    prior = pool(reading.facts, reading.engine, _earlier(plan, day, reading, store))
    # The day's own figures stay those made before pooling: a later day must not learn from itself by way of this one.
    best = own if prior == own.prior else dataclasses.replace(best_advance(reading, aligned, delivered, prior), own=own.own)
    advice = advise(reading, aligned, delivered, best)
    record = day_record(
        reading,
        aligned,
        delivered,
        best,
        advice,
        changes=changes(outline(reading, aligned, delivered), _previous(plan, day, store)),
        inputs=day.inputs,
        tool_version=__version__,
        method=METHOD,
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
    )
    before = store.current(day.engine, day.day)
    if before is not None:
        record["warnings"] += gone_since(before["inputs"], day.inputs)
    wrong = check_record(record)
    if wrong:
        raise ValueError(f"day.json does not conform: {wrong[0]}")
    tables = {
        "samples": reading.samples,
        "pulls": aligned.pulls,
        "rows": aligned.rows,
        "delivered": delivered.delivered,
        "shapes": delivered.shapes,
        "evidence": delivered.evidence,
        "best": best.best,
        "effects": best.effects,
        "knock": best.knock,
        "ceiling": best.ceiling,
        "residuals": best.residuals,
        "offsets": best.offsets,
        "setting_curves": best.setting_curves,
        "pull_advance": delivered.pull_advance,
        "surface": surface(best.posterior),
        "settings": settings_table(plan.book, day.engine, day.day, day.inputs),
    }
    return record, tables


def _earlier(plan: Plan, day: PlannedDay, reading: DayReading, store: Any) -> list[dict[str, Any]]:
    """Own figures of earlier days of this engine or dyno: of this run's days from the work folder, else from the archive."""
    dyno = reading.facts.dyno.name
    known = {(h["engine"], h["day"]): h for h in store.own_history(day.engine, dyno, day.day)}
    for other in _before(plan, day):
        figures = handover_files.load(plan.work / "days" / other.id / "own")["own"]
        known.pop((other.engine, other.day), None)
        if other.engine == day.engine or (dyno is not None and figures["dyno"] == dyno and other.day[:10] < day.day[:10]):
            known[other.engine, other.day] = figures
    return [known[key] for key in sorted(known, key=lambda k: (k[1], k[0]))]


def _before(plan: Plan, day: PlannedDay) -> list[PlannedDay]:
    """This run's days before ``day`` that have been measured, oldest first (two visits on one date in natural order)."""
    found = [
        other
        for other in plan.days.values()
        if other.action == "make"
        and _natural(other.day) < _natural(day.day)
        and (plan.work / "days" / other.id / "own" / "records.json").exists()
    ]
    return sorted(found, key=lambda d: _natural(d.day))


def _previous(plan: Plan, day: PlannedDay, store: Any) -> dict[str, Any] | None:
    """Outline of this engine's last day before this one, whether it is of this run or of the archive."""
    archived: dict[str, Any] | None = store.previous_record(day.engine, day.day)
    mine = [d for d in _before(plan, day) if d.engine == day.engine]
    if mine and (archived is None or _natural(archived["day"]) <= _natural(mine[-1].day)):
        known: dict[str, Any] = handover_files.load(plan.work / "days" / mine[-1].id / "own")["outline"]
        return known
    return archived


def _step(plan: Plan, day: PlannedDay, step: str, weight: int = 1) -> None:
    note(plan.work / "progress.jsonl", engine=day.engine, day=day.day, step=step, weight=weight)
