"""Values that are no measurement: what recorders write for "none", speeds read double or half, spikes of speed."""

import numpy as np

from pullbook.arrays import Array, Mask, extremes, thinned
from pullbook.measure.runs import runs
from pullbook.measure.spikes import spikes

PIECE = 16_384
LEAP = 120.0
"""rpm from row to row below which no speed is torn."""
SENTINELS = (
    -999.0, -9999.0, -99999.0, -999.9, -999.25, -99.0, -99.9, 999.0, 999.9, 9999.0, 9999.9, 99999.0, 999999.0, 65535.0, 65534.0,
    6553.5, 655.35, 32767.0, -32768.0, 32768.0, 3276.7, -3276.8, 327.67, -327.68, 2147483647.0, -2147483648.0, 4294967295.0,
    16777215.0, 1e30, -1e30, 1e10,
)  # fmt: skip


def sentinels(
    values: Array, lo: float | None, hi: float | None, *, span: tuple[float, float] | None = None
) -> tuple[Mask, tuple[float, ...]]:
    """Rows whose value is one that recorders write for "none", and those values.

    Parameters
    ----------
    values
        Shape (n,), as logged.
    lo, hi
        Span engines keep the channel in, in the logged unit.

    Notes
    -----
    9999 rpm can be real: a listed value counts only where it stands clear of all the other values of its column.
    """
    out = np.zeros(len(values), bool)
    low, high = span or extremes(values)
    if low not in SENTINELS and high not in SENTINELS:  # a sentinel stands clear, so one of them is an extreme
        return out, ()
    known = values[np.isfinite(values)]
    present = [s for s in SENTINELS if low <= s <= high and bool((known == s).any())]
    if not present:
        return out, ()
    rest = known[~np.isin(known, present)]
    found = []
    for s in present:
        if len(rest):
            low, high = float(rest.min()), float(rest.max())
            clear = 0.25 * max(high - low, abs(high), abs(low), 1e-9)
            stands_off = s > high + clear or s < low - clear
        else:
            stands_off = (lo is not None and s < lo) or (hi is not None and s > hi) or abs(s) >= 9999
        if stands_off or (len(rest) and _breaks_the_run(values, s, present)):
            found.append(s)
            out |= values == s
    return out, tuple(found)


def _breaks_the_run(values: Array, sentinel: float, listed: list[float]) -> bool:
    """Whether a value inside the others' span still jumps by a tenth or more from the value before it, whenever it comes."""
    at = np.flatnonzero(values == sentinel)[:1000]
    real = np.isfinite(values) & ~np.isin(values, listed)
    before = np.maximum.accumulate(np.where(real, np.arange(len(values)), -1))[at]
    before = before[before >= 0]
    if not len(before) or abs(sentinel) < 999:
        return False
    return bool(np.min(np.abs(values[before] - sentinel)) > 0.1 * abs(sentinel))


def doubled(rpm: Array, reference: Array, under: Array | None = None) -> Mask:
    """Rows of stretches (three rows or more) in which rpm reads twice or half what it reads elsewhere against a reference speed.

    Parameters
    ----------
    rpm, reference
        Shape (n,), NaN where missing; the reference is proportional to the true speed (roller speed).
    under
        Where given, the reference is ``reference / under`` (power over torque), looked at only under load.
    """
    out = np.zeros(len(rpm), bool)
    if len(rpm) > 1 and steps_within(rpm, LEAP):
        return out  # speed cannot come to read twice or half without a leap
    third = _ratio(rpm[::3], reference[::3], None if under is None else under[::3])  # a stretch of three rows or more shows in it
    some = thinned(third, 20_000)
    some = some[np.isfinite(some)]
    if len(some) < 20:
        return out
    usual = float(np.median(some))
    low, high = extremes(third)
    if high < 1.9 * usual and low > 0.52 * usual:
        return out
    ratio = _ratio(rpm, reference, under)
    known = np.isfinite(ratio)
    if np.mean(np.abs(ratio[known] / usual - 1) < 0.03) < 0.6:
        return out
    for times in (2.0, 0.5):
        with np.errstate(invalid="ignore"):
            hit = np.abs(ratio / usual / times - 1) < 0.04
        for a, b in runs(hit):
            if b - a >= 3:
                out[a:b] = True
    return out


def _ratio(rpm: Array, reference: Array, under: Array | None) -> Array:
    with np.errstate(invalid="ignore", divide="ignore"):
        if under is None:
            return np.where((rpm > 300) & (reference > 0), rpm / reference, np.nan)
        return np.where((rpm > 300) & (reference > 0) & (under > 5), rpm * under / reference, np.nan)


def speed_spikes(rpm: Array) -> Mask:
    """Single rpm samples or short bursts that no crankshaft could follow; only looked at closely where something stands off.

    Parameters
    ----------
    rpm
        Shape (n,), rpm, NaN where missing (never a spike).
    """
    out = np.zeros(len(rpm), bool)
    if len(rpm) > 1 and steps_within(rpm, LEAP):
        return out
    good = np.flatnonzero(np.isfinite(rpm))
    x = rpm[good]
    if len(x) < 8:
        return out
    jump = np.abs(np.diff(x))
    suspect = np.flatnonzero(jump > np.maximum(LEAP, 0.035 * np.maximum(x[:-1], x[1:])))
    if not len(suspect):
        return out
    near = np.zeros(len(x) + 1, np.int64)
    np.add.at(near, np.maximum(suspect - 40, 0), 1)
    np.add.at(near, np.minimum(suspect + 41, len(x)), -1)
    window = np.flatnonzero(np.cumsum(near)[:-1] > 0)
    for piece in np.split(window, np.flatnonzero(np.diff(window) > 1) + 1):
        out[good[piece[_torn(x[piece], spikes(x[piece]))]]] = True
    return out


def _torn(x: Array, found: Mask) -> Mask:
    """Of the bursts found, those that speed leaps into and back out of.

    The top of a quick blip is reached in steps like those before it, and where one stretch of a recording ends and the next
    begins elsewhere speed does not come back.
    """
    step = np.abs(np.diff(x))
    out = found.copy()
    for a, b in runs(found):
        near = np.r_[step[max(a - 3, 0) : max(a - 1, 0)], step[b : b + 2]]
        leaps = step[[k for k in (a - 1, b - 1) if 0 <= k < len(step)]]
        back = a == 0 or b == len(x) or abs(x[b] - x[a - 1]) < 0.5 * leaps.max()
        out[a:b] = bool(len(near) == 0 or len(leaps) == 0 or (back and leaps.max() > 1.5 * near.max()))
    return out


def steps_within(values: Array, most: float) -> bool:
    """Whether no step from row to row of ``values``, (n,), is larger than ``most``, in their unit; with a NaN it is not so."""
    for at in range(0, len(values) - 1, PIECE):  # pieces that stay in the cache
        steps = np.diff(values[at : at + PIECE + 1])
        if not (steps.min() >= -most and steps.max() <= most):
            return False
    return True
