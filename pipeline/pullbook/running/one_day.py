"""A day through the stages: the edge where their tables meet files. The two halves are two processes where several days are new."""

import dataclasses
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl

from pullbook import METHOD, __version__
from pullbook.provenance import Provenance
from pullbook.running.draw import draw
from pullbook.running.earlier import Earlier
from pullbook.running.measured import Measured
from pullbook.running.plan import Plan, PlannedDay
from pullbook.running.progress import note


def measure(plan: Plan, day: PlannedDay) -> Measured:
    """Read -> align -> delivered, and the day's own figures under the default prior: what can be known without any other day."""
    from pullbook.hill.prior import default
    from pullbook.reading.day import read_day
    from pullbook.stages.align import align_day
    from pullbook.stages.best import best_advance
    from pullbook.stages.delivered import delivered_advance
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
    figures = {**own.own, "engine": day.engine, "day": day.day, "dyno": reading.facts.dyno.name}
    return Measured(reading, aligned, delivered, own, figures, outline(reading, aligned, delivered))


def report(plan: Plan, day: PlannedDay, measured: Measured | None, folders: dict[str, Path]) -> dict[str, Any]:
    """Best with what earlier days taught -> archive -> report; or the report alone, from the record.

    Parameters
    ----------
    plan, day
        The run's plan and the day.
    measured
        What the first half found; None where the report is only drawn again.
    folders
        What was measured of the run's earlier days, by the day's id.

    Returns
    -------
    dict
        ``sentence``, ``report`` (path inside the book), ``revision``; ``unwritable`` where the archive could not be written.

    Raises
    ------
    LookupError
        There is no record to draw again from.
    ValueError
        The record does not conform to its schema: a fault of ours.
    OSError
        The reports folder cannot be written.
    """
    from pullbook.archive.disk import ArchiveUnwritable
    from pullbook.archive.store import Store

    store = Store(plan.book.archive)
    outcome: dict[str, Any] = {}
    if measured is None:
        record, tables = store.read_record(day.engine, day.day), store.read_tables(day.engine, day.day)
        current = store.current(day.engine, day.day)
        if record is None or current is None:
            raise LookupError("the record to draw from is not in the archive")
        revision = int(current["revision"])
    else:
        record, tables = _made(plan, day, store, measured, folders)
        _step(plan, day, "best")
        try:
            revision = store.write_day(
                day.engine, day.day, tables=tables, record=record, made=_by_this_version(day, record["made_at"]), own=record["own"]
            )
        except ArchiveUnwritable as refused:
            outcome["unwritable"] = str(refused)
            revision = 0  # never a revision of the archive: the next run makes and archives the day again
        _step(plan, day, "archive")
    place = draw(plan, day, record, tables, revision)
    _step(plan, day, "report", weight=6 if measured is None else 1)
    return outcome | {"sentence": record["advice"]["sentence"], "report": plan.book.shown(place), "revision": revision}


def _by_this_version(day: PlannedDay, made_at: str) -> Provenance:
    return Provenance(day.inputs, made_at, __version__, METHOD)


def _made(
    plan: Plan, day: PlannedDay, store: Any, measured: Measured, folders: dict[str, Path]
) -> tuple[dict[str, Any], dict[str, pl.DataFrame]]:
    from pullbook.archive.inputs import gone_since
    from pullbook.archive.settings import settings_table
    from pullbook.comparison.changes import changes
    from pullbook.findings.set_aside import mark_abnormal
    from pullbook.findings.surface import surface
    from pullbook.hill.prior import pool
    from pullbook.running.conforms import check_record
    from pullbook.stages.advise import advise
    from pullbook.stages.best import best_advance
    from pullbook.stages.record import day_record

    reading, aligned, delivered, own = measured.reading, measured.aligned, measured.delivered, measured.best
    earlier = Earlier(plan, day, folders)
    prior = pool(reading.facts, reading.engine, earlier.own_figures(reading.facts.dyno.name, store))
    # The day's own figures stay those made before pooling: a later day must not learn from itself by way of this one.
    best = own if prior == own.prior else dataclasses.replace(best_advance(reading, aligned, delivered, prior), own=own.own)
    aligned = mark_abnormal(aligned, best.abnormal)
    advice = advise(reading, aligned, delivered, best)
    record = day_record(
        reading,
        aligned,
        delivered,
        best,
        advice,
        changes=changes(measured.outline, earlier.outline_before(store)),
        made=_by_this_version(day, datetime.now(UTC).isoformat(timespec="seconds")),
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


def _step(plan: Plan, day: PlannedDay, step: str, weight: int = 1) -> None:
    note(plan.progress, engine=day.engine, day=day.day, step=step, weight=weight)
