"""Running at part load told from holds and sweeps at full load, by what the day's sweeps make at that speed."""

from dataclasses import replace

import numpy as np
import polars as pl

from pullbook.handover import LogReading, Segment

_BIN_RPM = 250.0
_LEAST_OF_A_SWEEP = 0.6
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
                for n, torque in _by_bin(log, segment).items():
                    into.setdefault(n, []).append(torque)
    full = {n: max(values) for n, values in holds.items()} | {n: float(np.percentile(v, 75)) for n, v in sweeps.items()}

    def named(log: LogReading, segment: Segment) -> Segment:
        if segment.kind != "hold":
            return segment
        share = [torque / full[n] for n, torque in _by_bin(log, segment).items() if full.get(n, 0.0) > 0.0]
        return replace(segment, kind="idle") if share and float(np.median(share)) < _LEAST else segment

    return [replace(log, segments=tuple(named(log, s) for s in log.segments)) for log in logs]


def without_part_load_sweeps(log: LogReading) -> LogReading:
    """``log`` with sweeps called idle, and named, that make well under what another sweep of the same log makes at the same speeds.

    Notes
    -----
    Only within a log: between logs torque may be in another unit, and that is asked about. A spark far too late costs a quarter.
    """
    sweeps = [(k, _by_bin(log, s)) for k, s in enumerate(log.segments) if s.kind in ("pull", "aborted")]
    segments, texts = list(log.segments), []
    for k, torque in sweeps:
        shares = []
        for other in (t for j, t in sweeps if j != k):
            shared = [torque[n] / other[n] for n in torque.keys() & other.keys() if other[n] > 0.0]
            shares += [float(np.median(shared))] if len(shared) >= 2 else []
        if shares and min(shares) < _LEAST_OF_A_SWEEP:
            segments[k] = replace(segments[k], kind="idle")
            line = log.samples["line"][segments[k].first]
            texts.append(
                f"{log.file.rsplit('/', 1)[-1]}: the sweep from line {line} on makes {100 * min(shares):.0f} % of the torque of "
                "another one at the same speeds: no full load, not counted as a pull"
            )
    return replace(log, segments=tuple(segments), warnings=(*log.warnings, *texts))


def _by_bin(log: LogReading, segment: Segment) -> dict[int, float]:
    """Median torque (N·m) of a segment by 250 rpm."""
    if not {"rpm", "torque_nm"} <= set(log.samples.columns):
        return {}
    bins = (
        log.samples.slice(segment.first, segment.rows)
        .select(bin=(pl.col("rpm") / _BIN_RPM).round(), torque=pl.col("torque_nm"))
        .drop_nulls()
        .filter(pl.col("torque").is_finite())
        .group_by("bin")
        .agg(pl.col("torque").median())
    )
    return {int(n): float(torque) for n, torque in bins.iter_rows()}
