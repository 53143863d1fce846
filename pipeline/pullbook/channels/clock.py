"""Time in seconds made to run: units by plausibility, restarts of the recorder, midnight, counter wraps and swapped rows."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array, Mask
from pullbook.units import DAY_S
from pullbook.wording import counted

SLOWEST, QUICK = 5.0, 5000.0
"""rpm a second that nearly all of a log's speed changes by, at least and at most; where it is slower, the clock may be another."""
_SINCE_1970_S = 1e8
"""Seconds of a calendar date are more, those of a recorder's own clock less."""
WRAPS = (2.0**8, 2.0**15, 2.0**16, 2.0**31, 2.0**32, 1e4, 1e5, 1e6)


@dataclass(frozen=True, slots=True)
class RunningTime:
    """``time_s`` from the first row, shape (rows,); ``recording`` 0, 1, … counts restarts;
    both in the order of the file; ``order``: the rows in order of time (None: as they stand)."""

    time_s: Array
    recording: npt.NDArray[np.int64]
    order: npt.NDArray[np.int64] | None
    remarks: tuple[str, ...]


def scale_of_bare_numbers(values: Array, rpm: Array | None) -> tuple[float, str | None]:
    """Factor to seconds for time numbers without a unit, and why (None: plain seconds).

    Notes
    -----
    A spreadsheet's day fraction steps by a hundred-thousandth or less; otherwise the speed of the sweep tells: no engine on a
    brake sweeps faster than 5000 or slower than 5 rpm a second for a whole log.
    """
    values, rpm = values[:40_000], rpm[:40_000] if rpm is not None else None
    known = values[np.isfinite(values)]
    steps = np.diff(known)
    steps = steps[steps > 0]
    if not len(steps):
        return 1.0, None
    step = float(np.median(steps))
    if step < 2e-4 and np.median(known) < 1.0 and _in_minutes(values, rpm):
        return 60.0, "minutes"
    if step < 2e-4 and (np.median(known) < 1.0 or 20_000 < np.median(known) < 80_000):
        return DAY_S, "day fractions of a spreadsheet"
    if step < 2e-4 and 1.0 <= np.median(known) <= 24.0:
        return 3600.0, "hours"
    if np.median(known) > 1e12:
        return 1e-3, "milliseconds since 1970"
    if rpm is not None and np.isfinite(rpm).sum() > 5:
        sweep = sweep_of(values, rpm)
        if sweep and sweep < SLOWEST and 1000 * sweep >= SLOWEST:
            return 1e-3, "milliseconds"
        if sweep and sweep > QUICK >= sweep / 60 and (sweep_of(values, rpm, rows=len(values) // 20) or 0.0) > QUICK:
            return 60.0, "minutes"
    elif step >= 5 and np.all(known == np.round(known)):
        return 1e-3, "milliseconds"
    return 1.0, None


def _in_minutes(values: Array, rpm: Array | None) -> bool:
    """Whether small steps are of minutes, as a quick recorder writes them: as parts of a day no sweep would be that slow."""
    sweep = sweep_of(values, rpm) if rpm is not None else None
    return bool(sweep) and sweep / DAY_S < SLOWEST and SLOWEST <= sweep / 60.0 <= QUICK  # type: ignore[operator]


def sweep_of(time: Array, rpm: Array, share: float = 0.9, rows: int = 10) -> float | None:
    """Speed of change that a share of the rows stays below, rpm per unit of ``time``, over the first 40,000 rows at most.

    Parameters
    ----------
    time, rpm
        Shape (n,), NaN where missing; time in any unit.
    share
        Of the steps.
    rows
        Over so many the change is taken: over more, what noise adds is less.
    """
    time, rpm = time[:40_000], rpm[:40_000]
    good = np.isfinite(time) & np.isfinite(rpm)
    t, n = time[good], rpm[good]
    lag = max(1, min(rows, len(t) // 4))
    dt, dn = t[lag:] - t[:-lag], np.abs(n[lag:] - n[:-lag])
    ok = dt > 0
    return float(np.quantile(dn[ok] / dt[ok], share)) if ok.any() else None


def run_time(
    seconds: Array,
    *,
    clock_face: bool,
    twelve_hour: bool = False,
    unit_scale: float = 1.0,
    blocks: npt.NDArray[np.int64] | None = None,
    rpm: Array | None = None,
) -> RunningTime:
    """Put seconds on one running scale from the first row.

    Parameters
    ----------
    seconds
        Shape (n,), NaN where unknown.
    clock_face
        Times of day without a date: going back by about a day is midnight.
    unit_scale
        Seconds one counted unit is worth (a wrap of the counter is looked for in those units).
    blocks
        Shape (n,): headers above each row; a restart under a new header needs no more proof.
    rpm
        Shape (n,), 1/min, where known: it runs on where a counter wraps, and leaps where a recording begins.
    """
    if len(seconds) > 1 and bool((seconds[1:] > seconds[:-1]).all()) and not _may_be_put_on(seconds, clock_face):
        from_first = seconds if seconds[0] == 0.0 else seconds - seconds[0]  # the parser's own column, not a copy of it
        return RunningTime(from_first, np.zeros(len(seconds), np.int64), None, ())
    t = seconds.astype(float).copy()
    remarks: list[str] = []
    n = len(t)
    known = np.isfinite(t)
    if not known.any():
        return RunningTime(np.full(n, np.nan), np.zeros(n, np.int64), None, ())
    if not known.all():
        t = np.interp(np.arange(n), np.flatnonzero(known), t[known])
        remarks.append(f"{int((~known).sum())} rows without a readable time were given one between their neighbours")
    recording = np.zeros(n, np.int64)
    steps = np.diff(t)
    if rpm is not None and (clock_face or t[0] > _SINCE_1970_S):
        steps = np.diff(t := _without_hours(t, rpm, remarks))
    if (steps >= 0).all():
        t = _spread_repeats(t, recording, remarks)
        return RunningTime(t - t[0], recording, None, tuple(remarks))
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0
    t = _mend_single(t, usual, remarks)
    swapped: list[int] = []
    back = np.flatnonzero(np.diff(t) < 0) + 1
    if len(back) > 0.2 * n and len(back) > 20:
        remarks.append("time goes back again and again; the rows were kept in the order of the file")
        return RunningTime(t - t[0], recording, None, tuple(remarks))
    leap, began = np.zeros(n), np.zeros(n, np.int64)
    for i in back.tolist():
        fall = t[i] - t[i - 1]
        wrap = (
            None
            if rpm is not None and not clock_face and _leaps(rpm, i)
            else _wrap(t, i, usual, unit_scale, clock_face, twelve_hour)
        )
        if wrap:
            leap[i] = wrap[0]
            remarks.append(wrap[1])
        elif -fall <= 6.5 * usual and not (blocks is not None and blocks[i] != blocks[i - 1]):
            swapped.append(i)
        else:
            began[i] = 1
    t = t + np.cumsum(leap)
    recording = np.cumsum(began)
    if recording[-1]:
        again = int(recording[-1])
        remarks.append(f"the time starts again{'' if again == 1 else f' {again} times'}: the log holds {again + 1} recordings")
    if swapped:
        order = np.lexsort((np.arange(n), t, recording))
        remarks.append(f"{counted(len(swapped), 'row')} out of order in time: put in order")
        t[order] = _spread_repeats(t[order], recording[order], remarks)
        return RunningTime(t - t[order[0]], recording, order, tuple(remarks))
    t = _spread_repeats(t, recording, remarks)
    return RunningTime(t - t[0], recording, None, tuple(remarks))


def _may_be_put_on(seconds: Array, clock_face: bool) -> bool:
    """Whether a clock that never goes back may have been put on by an hour on its way."""
    return bool((clock_face or seconds[0] > _SINCE_1970_S) and seconds[-1] - seconds[0] >= 3600.0)


def _without_hours(t: Array, rpm: Array, remarks: list[str]) -> Array:
    """A clock put on or back by one hour, to a row, while the speed runs on: summer time began or ended."""
    steps = np.diff(t)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0
    for sign, where in ((1.0, "on"), (-1.0, "back")):
        for i in (np.flatnonzero(np.abs(steps - sign * 3600.0 - usual) <= 1.6 * usual) + 1).tolist():
            if usual < 60.0 and not _leaps(rpm, i):
                t = np.r_[t[:i], t[i:] - sign * 3600.0]
                remarks.append(f"the clock was put {where} by an hour at row {i + 1}; time runs on")
    return t


def _mend_single(t: Array, usual: float, remarks: list[str]) -> Array:
    """A single stamp far ahead of both neighbours is damage, not a restart."""
    n = len(t)
    ahead = np.flatnonzero((np.diff(t)[:-1] > 50 * usual) & (np.diff(t)[1:] < 0)) + 1
    for i in ahead.tolist():
        if 0 <= t[i + 1] - t[i - 1] <= 5 * usual and (i + 2 >= n or t[i + 2] >= t[i + 1]):
            t[i] = 0.5 * (t[i - 1] + t[i + 1])
            remarks.append(f"the time of row {i + 1} stood far ahead of its neighbours and was set between them")
    return t


def _leaps(rpm: Array, i: int) -> bool:
    """Whether speed steps from row ``i - 1`` to ``i`` by far more than between the rows about them."""
    near = np.abs(np.diff(rpm[max(i - 6, 0) : i + 6]))
    near = np.delete(near, min(i - 1, 5))
    near = near[np.isfinite(near)]
    return len(near) > 3 and bool(abs(rpm[i] - rpm[i - 1]) > max(300.0, 5.0 * float(near.max())))


def _wrap(t: Array, i: int, usual: float, unit: float, clock_face: bool, twelve_hour: bool) -> tuple[float, str] | None:
    fall = t[i] - t[i - 1]
    if clock_face:
        for period, what in ((DAY_S, "midnight"), (DAY_S / 2, "the clock's noon or midnight"), (3600.0, "the full hour")):
            if -period <= fall <= -period + max(60 * usual, 5.0) and not (twelve_hour and period == 3600.0):
                return period, f"the clock passed {what}; time runs on"
        return None
    for size in WRAPS:
        period = size * unit
        if abs(fall + period - usual) <= 1.6 * usual and t[i] < t[0] + period and t[i - 1] - t[i] > 20 * usual:
            return period, f"the time counter wrapped at {size:.0f}; time runs on"
    return None


def _spread_repeats(t: Array, recording: npt.NDArray[np.int64], remarks: list[str]) -> Array:
    """Rows that share a coarse stamp (whole seconds, say) are spread evenly over it."""
    new = np.r_[True, (np.diff(t) != 0) | (np.diff(recording) != 0)]
    if new.sum() > 0.7 * len(t) or len(t) < 4:
        return _spread_stuck(t, new, remarks)
    starts = np.flatnonzero(new)
    counts = np.diff(np.r_[starts, len(t)])
    per = int(np.median(counts[1:-1])) if len(counts) > 2 else int(counts.max())
    step = float(np.median(np.diff(t[starts]))) if len(starts) > 1 else 0.0
    if per < 2 or step <= 0:
        return t
    within = np.arange(len(t)) - np.repeat(starts, counts)
    size = np.repeat(np.maximum(counts, per), counts)
    late = np.where(np.arange(len(t)) < counts[0], per - min(counts[0], per), 0)  # the first stamp may have begun before the log
    remarks.append(f"about {per} rows share each time stamp of {step:g} s; they were spread evenly over it")
    return np.asarray(t + (within + late) * step / size, float)


def _spread_stuck(t: Array, new: Mask, remarks: list[str]) -> Array:
    """A clock that stood for some rows and then made up for them in one step: the rows are spread over that step."""
    starts = np.flatnonzero(new)
    counts = np.diff(np.r_[starts, len(t)])
    steps = np.diff(t[starts])
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    stood = np.flatnonzero(counts[:-1] >= 3)
    if usual <= 0.0 or not len(stood) or len(stood) > 0.1 * len(starts):
        return t
    out = t.copy()
    for k in stood.tolist():
        first, rows, step = int(starts[k]), int(counts[k]), float(steps[k])
        made_up = 0.6 * rows * usual <= step <= 1.6 * (rows + 1) * usual
        if made_up:
            out[first : first + rows] += np.arange(rows) * step / rows
        what = "spread over the time it then made up for" if made_up else "left at one time: the clock did not make up for them"
        remarks.append(f"the clock stood still for {rows} rows from row {first + 1} on; they were {what}")
    return out
