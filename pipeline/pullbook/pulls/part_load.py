"""Steady running at part load told from holds at full load, by what the day's sweeps make at that speed."""

from dataclasses import replace

import numpy as np
import polars as pl

from pullbook.handover import LogReading, Segment

_ROW_RPM = 250.0
_LEAST = 0.75
"""A hold makes at least this share of the day's full-load torque at its speed; retarding the spark alone costs less."""


def without_part_load(logs: list[LogReading]) -> list[LogReading]:
    """``logs`` with holds that make too little torque for full load called idle.

    Notes
    -----
    Full load at a speed is what three in four of the day's sweeps stay below within ±125 rpm of it; where no sweep came by,
    what the strongest hold at that speed makes. Without a throttle channel a load cell cannot otherwise tell half throttle.
    """
    sweeps: dict[int, list[float]] = {}
    holds: dict[int, list[float]] = {}
    for log in logs:
        for segment in log.segments:
            if segment.kind in ("pull", "hold") and log.unusable is None:
                into = sweeps if segment.kind == "pull" else holds
                for row, torque in _by_row(log, segment).items():
                    into.setdefault(row, []).append(torque)
    full = {row: max(values) for row, values in holds.items()} | {row: float(np.percentile(v, 75)) for row, v in sweeps.items()}

    def named(log: LogReading, segment: Segment) -> Segment:
        if segment.kind != "hold":
            return segment
        share = [torque / full[row] for row, torque in _by_row(log, segment).items() if full.get(row, 0.0) > 0.0]
        return replace(segment, kind="idle") if share and float(np.median(share)) < _LEAST else segment

    return [replace(log, segments=tuple(named(log, s) for s in log.segments)) for log in logs]


def _by_row(log: LogReading, segment: Segment) -> dict[int, float]:
    """Median torque (N·m) of a segment by rows of 250 rpm."""
    if not {"rpm", "torque_nm"} <= set(log.samples.columns):
        return {}
    rows = (
        log.samples.slice(segment.first, segment.rows)
        .select(row=(pl.col("rpm") / _ROW_RPM).round(), torque=pl.col("torque_nm"))
        .drop_nulls()
        .filter(pl.col("torque").is_finite())
        .group_by("row")
        .agg(pl.col("torque").median())
    )
    return {int(row): float(torque) for row, torque in rows.iter_rows()}
