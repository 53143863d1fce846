"""One pull written to two logs (another export, other units, fewer decimals or rows): the same noise, row for row, tells it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array
from pullbook.pulls.matching import Match
from pullbook.units import KW_TO_NM_RPM

_LEAST_ROWS = 12
_MET = 0.8  # of the rows of the shorter: one export may be thinned out
_TICK_S = 0.01
_RPM = 2.0  # two roundings to whole revolutions, and what a filter's last digit adds
_SHARE = 0.0005  # of torque, beside what the digits written leave open
_OPEN_SHARE = 0.0025  # digits coarser than this cannot tell two pulls apart
_FACTOR = 1.25  # the most that a correction to standard air does
_ADVANCE_DEG = 0.3


@dataclass(frozen=True, slots=True)
class _Trace:
    """A pull's rows (n,) by ``tick``: hundredths of a second of its log, without a clock its row. NaN where absent."""

    tick: Array
    rpm: Array
    torque: Array
    advance: Array
    corrected: bool

    def at(self, k: npt.NDArray[np.intp]) -> "_Trace":
        """Those rows alone."""
        return _Trace(self.tick[k], self.rpm[k], self.torque[k], self.advance[k], self.corrected)


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
        with advance, then the one whose torque is as measured, then the one with more rows, then the first. What the sheet
        calls two recorders of one pull is left alone.
    """
    traces = [(m, _trace(m)) for m in pulls]
    traces.sort(key=lambda pair: _standing(*pair))
    out: dict[int, Match] = {}
    for i, (m, mine) in enumerate(traces):
        for other, its in traces[:i]:
            paired = m.other is other.log or other.other is m.log
            if other.name != m.name and not paired and id(other) not in out and _same(mine, its):
                out[id(m)] = other
                break
    return out


def _standing(m: Match, trace: _Trace) -> tuple[bool, bool, bool, int]:
    return m.row is None, not np.isfinite(trace.advance).any(), trace.corrected, -len(trace.tick)


def _trace(m: Match) -> _Trace:
    part = m.samples()

    def channel(name: str) -> Array:
        return part[name].cast(pl.Float64).to_numpy() if name in part.columns else np.full(part.height, np.nan)

    rpm, torque, time = channel("rpm"), channel("torque_nm"), channel("time_s")
    if not np.isfinite(torque).any():
        torque = channel("power_kw") * KW_TO_NM_RPM / np.where(rpm > 50.0, rpm, np.nan)
    tick = np.round(time / _TICK_S) if np.isfinite(time).all() else np.arange(float(part.height))
    once = np.unique(tick, return_index=True)[1]
    corrected = any(c.corrected is not False for c in m.log.columns if c.channel in ("torque_nm", "power_kw"))
    return _Trace(tick, rpm, torque, channel("advance_deg"), corrected).at(once)


def _same(one: _Trace, other: _Trace) -> bool:
    """Whether two stretches are one recording."""
    short, long = (one, other) if len(one.tick) <= len(other.tick) else (other, one)
    if len(short.tick) < _LEAST_ROWS:
        return False
    few = np.linspace(0, len(short.tick) - 1, _LEAST_ROWS).astype(np.intp)
    if np.mean(_rpm_apart(*_met(short.at(few), long)) <= _RPM) < 0.5:
        return False  # most pairs are told by a dozen rows
    a, b = _met(short, long)
    if len(a.tick) < max(_LEAST_ROWS, _MET * len(short.tick)) or np.quantile(_rpm_apart(a, b), 0.95) > _RPM:
        return False
    gap = np.abs(a.advance - b.advance)
    if np.isfinite(gap).any() and np.nanmedian(gap) > _ADVANCE_DEG:
        return False
    known = np.isfinite(a.torque) & np.isfinite(b.torque) & (b.torque != 0.0)
    if np.count_nonzero(known) < _LEAST_ROWS:
        return False
    x, y = a.torque[known], b.torque[known]
    left_open = _SHARE + (_digit(x) + _digit(y)) / 2.0 / float(np.median(np.abs(y)))
    factor = float(np.median(x / y))
    near = abs(factor - 1.0) <= left_open or (a.corrected != b.corrected and 1.0 / _FACTOR < factor < _FACTOR)
    return bool(left_open <= _OPEN_SHARE and near and np.quantile(np.abs(x / y / factor - 1.0), 0.95) <= left_open)


def _met(short: _Trace, long: _Trace) -> tuple[_Trace, _Trace]:
    """The rows of both at the same ticks."""
    at = np.minimum(np.searchsorted(long.tick, short.tick), len(long.tick) - 1)
    met = long.tick[at] == short.tick
    return short.at(np.flatnonzero(met)), long.at(at[met])


def _rpm_apart(one: _Trace, other: _Trace) -> Array:
    """How far the speeds stand apart, rpm (n,); one that stands infinitely far where no row met."""
    apart = np.abs(one.rpm - other.rpm)
    apart = apart[np.isfinite(apart)]
    return np.asarray(apart) if len(apart) else np.array([np.inf])


def _digit(values: Array) -> float:
    """The step in which values are written: the smallest gap between two of them."""
    gaps = np.diff(np.unique(values.round(6)))
    return float(gaps.min()) if len(gaps) else float("inf")
