"""Rows that lack in the middle of a pull, named where the log is looked at; what was not logged is never filled in."""

from dataclasses import replace

import numpy as np
import polars as pl

from pullbook.handover import LogReading
from pullbook.pulls.motion import high_torque, usual_step
from pullbook.wording import counted

LEAST_S = 0.3
STEPS = 4.0
"""A gap is longer than this many of the log's usual steps."""
_USED = ("pull", "aborted", "hold")
_ROWS = 5
_LOADED = 0.5


def with_gaps_named(log: LogReading) -> LogReading:
    """``log`` with a warning where its clock leaps on while the engine pulls: within a pull or hold, or loaded on both sides."""
    if not {"time_s", "recording"}.issubset(log.samples.columns):
        return log
    time = log.samples["time_s"].cast(pl.Float64).to_numpy()
    recording = log.samples["recording"].to_numpy()
    most = max(LEAST_S, STEPS * usual_step(time[np.isfinite(time)]))
    with np.errstate(invalid="ignore"):
        gaps = np.flatnonzero((np.diff(time) > most) & (recording[1:] == recording[:-1])) + 1
    inside = [int(g) for g in gaps if _pulls_on(log, int(g))]
    if not inside:
        return log
    first = inside[0]
    text = (
        f"{log.file.rsplit('/', 1)[-1]}: {counted(len(inside), 'gap')} while the engine pulls: no row for "
        f"{time[first] - time[first - 1]:.3g} s before line {log.samples['line'][first]}; nothing is put in its place"
    )
    return replace(log, warnings=(*log.warnings, text))


def _pulls_on(log: LogReading, row: int) -> bool:
    """Whether ``row`` lies within a pull or a hold, or torque is high on both sides of it."""
    if any(s.kind in _USED and s.first < row < s.stop for s in log.segments):
        return True
    top = high_torque(log.samples)
    if top is None or top <= 0.0:
        return False
    torque = log.samples["torque_nm"].cast(pl.Float64)
    sides = (torque.slice(max(row - _ROWS, 0), min(row, _ROWS)).median(), torque.slice(row, _ROWS).median())
    return all(isinstance(side, float) and side > _LOADED * top for side in sides)
