"""One pull written to two logs (another export, other units, fewer decimals): the same noise, row for row, tells it."""

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.pulls.matching import Match

_LEAST_ROWS = 12
_RPM = 2.0  # two roundings to whole revolutions, and what a filter's last digit adds
_SHARE = 0.0005  # of torque, beside what the digits written leave open
_OPEN_SHARE = 0.0025  # digits coarser than this cannot tell two pulls apart
_FACTOR = 1.25  # the most that a correction to standard air does
_ADVANCE_DEG = 0.3


def recorded_twice(pulls: list[Match]) -> dict[int, Match]:
    """Pulls that stand in a second log as well.

    Parameters
    ----------
    pulls
        Of one day, in any order. Times count from each log's own first row.

    Returns
    -------
    dict
        By ``id`` of the pull to pass over: the one that counts. Of two the one with a row in the sheet counts, then the one
        with advance, then the one whose torque is as measured, then the first.
    """
    heads = [(m, m.samples()) for m in sorted(pulls, key=_standing)]
    out: dict[int, Match] = {}
    for i, (m, part) in enumerate(heads):
        for other, its in heads[:i]:
            if other.name != m.name and id(other) not in out and _same(part, its, corrected=_corrected(m) != _corrected(other)):
                out[id(m)] = other
                break
    return out


def _standing(m: Match) -> tuple[bool, bool, bool]:
    part = m.samples()
    return m.row is None, "advance_deg" not in part.columns or part["advance_deg"].null_count() == part.height, _corrected(m)


def _corrected(m: Match) -> bool:
    return any(c.corrected is not False for c in m.log.columns if c.channel in ("torque_nm", "power_kw"))


def _same(one: pl.DataFrame, other: pl.DataFrame, *, corrected: bool) -> bool:
    """Whether two stretches are one recording; ``corrected``: one holds its torque in standard air."""
    shared = [c for c in ("torque_nm", "power_kw") if c in one.columns and c in other.columns]
    if not shared or abs(one.height - other.height) > 2:
        return False
    tops = [np.nanmax(t["rpm"].cast(pl.Float64).to_numpy(), initial=0.0) for t in (one, other)]
    if abs(tops[0] - tops[1]) > _RPM:
        return False
    a, b = _met(one, other)
    rpm, torque, advance = (_pairs(a, b, c) for c in ("rpm", shared[0], "advance_deg"))
    if min(len(rpm), len(torque)) < _LEAST_ROWS or np.quantile(np.abs(np.diff(rpm)), 0.95) > _RPM:
        return False
    if len(advance) and np.median(np.abs(np.diff(advance))) > _ADVANCE_DEG:
        return False
    x, y = torque.T
    left_open = _SHARE + (_digit(x) + _digit(y)) / 2.0 / float(np.median(np.abs(y)))
    factor = float(np.median(x / y))
    near = abs(factor - 1.0) <= left_open or (corrected and 1.0 / _FACTOR < factor < _FACTOR)
    return bool(left_open <= _OPEN_SHARE and near and np.quantile(np.abs(x / y / factor - 1.0), 0.95) <= left_open)


def _pairs(one: pl.DataFrame, other: pl.DataFrame, channel: str) -> Array:
    """What both say on a channel, (n, 2), where both say something."""
    if channel not in one.columns or channel not in other.columns:
        return np.zeros((0, 2))
    both = np.column_stack([t[channel].cast(pl.Float64).to_numpy() for t in (one, other)])
    return np.asarray(both[np.isfinite(both).all(axis=1) & (both[:, 1] != 0.0)])


def _met(one: pl.DataFrame, other: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows of both at the same times of their logs, to 10 ms; without a clock, row by row."""
    if all("time_s" in t.columns and t["time_s"].null_count() == 0 for t in (one, other)):
        a, b = (
            t.with_columns(tick=(pl.col("time_s") * 100.0).round().cast(pl.Int64)).unique("tick", keep="first").sort("tick")
            for t in (one, other)
        )
        return a.join(b.select("tick"), on="tick", how="semi"), b.join(a.select("tick"), on="tick", how="semi")
    n = min(one.height, other.height)
    return one.head(n), other.head(n)


def _digit(values: Array) -> float:
    """The step in which values are written: the smallest gap between two of them."""
    gaps = np.diff(np.unique(values.round(6)))
    return float(gaps.min()) if len(gaps) else float("inf")
