"""One pull's rows: engine torque every 100 rpm, moved to the row's centre, with the white noise of its samples."""

from collections.abc import Mapping
from itertools import pairwise
from math import pi

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.columns import ROW_RPM, ROWS, conform
from pullbook.measure.local import centred_means, second_differences

RATE_HALF_WIDTH_S = 0.5
_PRIOR_COUNT = 10.0  # second differences' worth of trust in the whole pull's noise against one row's own
_ONE_SPEED_RPM = 30.0  # holds that stand no further apart than this were meant for one speed
_EDGE_RPM = 35.0  # an end row seen only beyond this from its centre is not a row


def inertia_torque(inertia_kg_m2: float, rpm_per_s: Array) -> Array:
    """Torque that went into speeding up the parts between crank and sensor, N·m: J·(2π/60)·dN/dt.

    Parameters
    ----------
    inertia_kg_m2
        Of everything that turns between the crank and the torque sensor, at crank speed.
    rpm_per_s
        Sweep rate, any shape.

    Examples
    --------
    >>> round(float(inertia_torque(0.30, np.array(300.0))), 8)
    9.42477796
    """
    return np.asarray(inertia_kg_m2 * (2.0 * pi / 60.0) * rpm_per_s)


def rpm_at_torque(time_s: Array, rpm: Array, lag_s: float) -> Array:
    """Engine speed each torque reading belongs to: speed ``lag_s`` before it was read.

    Parameters
    ----------
    time_s, rpm
        Shape (n,), time not falling.
    lag_s
        First-order lag; on a sweep it is a pure shift once settled.
    """
    return np.asarray(np.interp(time_s - lag_s, time_s, rpm)) if lag_s > 0.0 else rpm


def pull_rows(
    pull_id: str,
    *,
    rpm: Array,
    torque_nm: Array,
    torque_rpm: Array,
    rpm_per_s: Array,
    advance: dict[str, Array],
    left_out: Mask,
    noise_known: bool,
) -> pl.DataFrame:
    """Rows of one pull.

    Parameters
    ----------
    pull_id
        Whose rows these are.
    rpm, torque_nm, torque_rpm, rpm_per_s
        Shape (n,): speed; engine torque (NaN where absent), the speed it belongs to, sweep rate (NaN where not known).
    advance
        ``advance_log_deg`` and ``advance_commanded_deg`` where logged, shape (n,), degrees, NaN where absent.
    left_out
        Shape (n,): samples that must not reach a row (slip).
    noise_known
        False for print-outs whose lines are averages: no noise can be told from them.

    Returns
    -------
    polars.DataFrame
        ROWS, sorted by rpm; rows without torque are absent.
    """
    known = np.isfinite(torque_nm) & np.isfinite(torque_rpm) & ~left_out
    if not known.any():
        return conform(pl.DataFrame(), ROWS)
    x, y = torque_rpm[known], torque_nm[known]
    cell, mean, off, n = centred_means(x, y, ROW_RPM)
    keep = np.ones(len(cell), bool)
    for end in (0, -1):
        keep[end] = abs(off[end]) <= _EDGE_RPM or len(cell) == 1
    table = pl.DataFrame(
        {"pull_id": pull_id, "rpm": cell * ROW_RPM, "torque_nm": mean, "n": n, "se_nm": _white_se(x, y, cell, n, noise_known)}
    ).filter(pl.Series(keep))
    for name, values in {**advance, "rpm_per_s": rpm_per_s}.items():
        table = table.join(_row_means(rpm, values, left_out, name), on="rpm", how="left")
    return conform(table.sort("rpm"), ROWS).with_columns(pl.col(pl.Float64).fill_nan(None))


def _row_means(rpm: Array, values: Array, left_out: Mask, name: str) -> pl.DataFrame:
    known = np.isfinite(values) & np.isfinite(rpm) & ~left_out
    if not known.any():
        return pl.DataFrame({"rpm": [], name: []}, schema={"rpm": pl.Int64, name: pl.Float64})
    cell, mean, off, _ = centred_means(rpm[known], values[known], ROW_RPM)
    near = np.abs(off) <= _EDGE_RPM
    return pl.DataFrame({"rpm": cell[near] * ROW_RPM, name: mean[near]})


def _white_se(x: Array, y: Array, cell: npt.NDArray[np.int64], n: npt.NDArray[np.int64], noise_known: bool) -> Array:
    """Standard error of each row's mean from second differences: the row's own, steadied by the whole pull's."""
    d2 = second_differences(y)
    inner = np.isfinite(d2)
    if not noise_known or inner.sum() < 5:
        return np.full(len(cell), np.nan)
    at = np.searchsorted(cell, np.floor(x[inner] / ROW_RPM + 0.5).astype(np.int64))
    count = np.bincount(at, minlength=len(cell)).astype(float)
    total = np.bincount(at, d2[inner], minlength=len(cell))
    pooled = float(d2[inner].mean())
    variance = (total + _PRIOR_COUNT * pooled) / (count + _PRIOR_COUNT)
    return np.asarray(np.sqrt(variance / n))


def rows_of_holds(speeds: Mapping[str, float]) -> dict[str, int]:
    """The 100-rpm row of every hold: holds at one speed share a row, on whichever side of a row's edge each of them came.

    Parameters
    ----------
    speeds
        rpm of every hold by its pull.

    Returns
    -------
    dict
        The same pulls. Speeds that run together over more than a row's width keep each its nearest row.
    """
    order = sorted(speeds, key=lambda p: (speeds[p], p))
    ends = [0, *(i for i in range(1, len(order)) if speeds[order[i]] - speeds[order[i - 1]] > _ONE_SPEED_RPM), len(order)]
    out: dict[str, int] = {}
    for first, stop in pairwise(ends if order else []):
        group = {p: speeds[p] for p in order[first:stop]}
        together = max(group.values()) - min(group.values()) <= ROW_RPM
        out |= {p: _nearest_row(float(np.median(list(group.values()))) if together else own) for p, own in group.items()}
    return out


def _nearest_row(rpm: float) -> int:
    return int(np.floor(rpm / ROW_RPM + 0.5)) * ROW_RPM


def hold_row(
    pull_id: str, row: int, *, rpm: Array, torque_nm: Array, advance: dict[str, Array], slope_nm_per_rpm: float
) -> pl.DataFrame:
    """A hold as one row: medians over its steady part, torque moved to the row's centre.

    Parameters
    ----------
    pull_id, row
        Whose row it is, and its centre, rpm.
    rpm, torque_nm
        Shape (n,), the steady part.
    advance
        As for :func:`pull_rows`.
    slope_nm_per_rpm
        Slope of the day's torque curve there; 0 where the day does not tell.
    """
    known = np.isfinite(torque_nm) & np.isfinite(rpm)
    if not known.any():
        return conform(pl.DataFrame(), ROWS)
    speed, level = float(np.median(rpm[known])), float(np.median(torque_nm[known]))
    d2 = second_differences(torque_nm[known])
    d2 = d2[np.isfinite(d2)]
    # a median of white samples is sqrt(pi/2) wider than their mean
    se = float(np.sqrt(d2.mean() / known.sum() * pi / 2.0)) if len(d2) >= 5 else None
    shown = {k: float(np.nanmedian(v)) for k, v in advance.items() if np.isfinite(v).any()}
    table = pl.DataFrame(
        {
            "pull_id": pull_id,
            "rpm": row,
            "torque_nm": level + slope_nm_per_rpm * (row - speed),
            "se_nm": se,
            "n": int(known.sum()),
            **shown,
        }
    )
    return conform(table, ROWS)
