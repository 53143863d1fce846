"""A log cut into pulls, aborted pulls, holds, coast-downs, blips and idle running (contract 6)."""

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from typing import Literal, cast

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.columns import holds
from pullbook.handover import Segment
from pullbook.measure.runs import runs
from pullbook.measure.spikes import local_median, without_spikes
from pullbook.pulls.holds import Stretch
from pullbook.pulls.motion import despiked, high_torque, leaps, motion_of, usual_step
from pullbook.pulls.sweeps import PULL_SPAN_RPM, parts_of

Kind = Literal["pull", "aborted", "hold", "coast_down", "blip", "idle"]

_GAP_S = 1.0
_GAP_STEPS = 8.0
_RISE_S = 8.0
"""How long the longest rise of a trace without a clock is taken to be."""


def find_segments(
    samples: pl.DataFrame, *, day_top_rpm: float | None = None, full_load_nm: float | None = None
) -> tuple[Segment, ...]:
    """Cut a log into segments that tile it, numbered from 1.

    Parameters
    ----------
    samples
        One row a data row in the order logged: ``rpm`` (1/min); ``recording`` (counts restarts), ``time_s`` (s),
        ``torque_nm`` (N·m), ``power_kw`` (kW), ``throttle_pct`` (%) and ``advance_deg`` (degrees) where the log has them.
    day_top_rpm
        The day's median top speed of a pull (:func:`day_top`), 1/min; without it the log's own pulls are the measure.

    full_load_nm
        The torque the day's logs reach (:func:`day_load`), N·m; without it the log's own is the measure of full load.

    Returns
    -------
    tuple of Segment
        Empty where no speed was logged. Times are null in a log without a clock. Nothing is joined across a restart or a gap.
    """
    if "rpm" not in samples.columns or samples.height == 0 or samples["rpm"].drop_nulls().drop_nans().is_empty():
        return ()
    found: list[tuple[Stretch, bool]] = []
    time = _numbers(samples, "time_s") if "time_s" in samples.columns else np.full(samples.height, np.nan)
    for first, stop, timed in stretches(samples, time):
        part = samples.slice(first, stop - first)
        pieces = _timed(part, samples, full_load_nm) if timed else _untimed(part, samples, full_load_nm)
        found += [(replace(p, first=first + p.first, stop=first + p.stop), timed) for p in pieces if p.stop > p.first]
    rpm = despiked(_numbers(samples, "rpm"))
    segments = tuple(_segment(k, part, time if timed else None, rpm) for k, (part, timed) in enumerate(found, start=1))
    return mark_aborted(segments, day_top_rpm if day_top_rpm is not None else day_top([segments]))


def day_top(segments: Iterable[Iterable[Segment]]) -> float | None:
    """Median top speed of the day's sweeps, 1/min, over the segments of every log; None without any."""
    tops = [s.rpm_max for log in segments for s in log if s.kind in ("pull", "aborted") and s.rpm_max is not None]
    return float(np.median(tops)) if tops else None


def day_load(logs: Iterable[pl.DataFrame]) -> float | None:
    """The torque three in four of the day's logs with torque stay below at their strongest, N·m; None without any."""
    tops = [top for samples in logs if (top := high_torque(samples)) is not None]
    return float(np.percentile(tops, 75)) if tops else None


def mark_aborted(segments: tuple[Segment, ...], top_rpm: float | None) -> tuple[Segment, ...]:
    """Call a sweep aborted that ends below 80 % of ``top_rpm`` and more than 500 rpm under it, every other one a pull."""
    if top_rpm is None:
        return segments

    def named(s: Segment) -> Segment:
        if s.kind not in ("pull", "aborted") or s.rpm_max is None:
            return s
        return replace(s, kind="aborted" if s.rpm_max < 0.8 * top_rpm and s.rpm_max < top_rpm - 500.0 else "pull")

    return tuple(named(s) for s in segments)


def _numbers(samples: pl.DataFrame, name: str) -> Array:
    return samples[name].cast(pl.Float64).to_numpy()


def _segment(number: int, part: Stretch, time: Array | None, rpm: Array) -> Segment:
    """A segment of rows; ``time`` None where there is no clock, ``rpm`` without spikes."""
    first, stop = part.first, part.stop
    speeds = rpm[first:stop][np.isfinite(rpm[first:stop])]
    start = end = None
    if time is not None:
        times = time[first:stop][np.isfinite(time[first:stop])]
        start, end = (float(times[0]), float(times[-1])) if len(times) else (None, None)
    lo, hi = (float(speeds.min()), float(speeds.max())) if len(speeds) else (None, None)
    return Segment(number, cast(Kind, part.kind), start, end, lo, hi, first, stop, lead=part.lead, tail=part.tail)


def stretches(samples: pl.DataFrame, time: Array) -> list[tuple[int, int, bool]]:
    """Rows that run on without a restart or a gap, as (first, stop, whether they carry a clock); ``time``: s, shape (rows,)."""
    n = samples.height
    cuts = {0, n}
    if "recording" in samples.columns:
        recording = samples["recording"].to_numpy()
        cuts |= {int(i) + 1 for i in np.flatnonzero(recording[1:] != recording[:-1])}
    finite = np.isfinite(time)
    known = time if finite.all() else time[finite]
    if len(known) > 2:
        broken = leaps(known, max(_GAP_S, _GAP_STEPS * usual_step(known)))
        cuts |= {int(i) + 1 for i in (broken if known is time else np.flatnonzero(finite)[broken + 1] - 1)}
    edges = sorted(cuts)
    return [(a, b, int(np.count_nonzero(finite[a:b])) > 1) for a, b in pairwise(edges)]


def _timed(stretch: pl.DataFrame, whole: pl.DataFrame, full_load_nm: float | None) -> list[Stretch]:
    """Pieces of a stretch with a clock, counted in its rows."""
    motion = motion_of(stretch, whole, full_load_nm)
    if motion is None:
        return [Stretch("idle", 0, stretch.height)]
    clock = stretch["time_s"].cast(pl.Float64)
    time = (clock.interpolate().forward_fill().backward_fill() if clock.null_count() else clock).to_numpy()
    parts = parts_of(motion)

    def row(step: int) -> int:
        return int(np.searchsorted(time, motion.start_s + (step - 0.5 + 1e-6) * motion.step_s))

    rows = [0, *(row(p.first) for p in parts[1:]), stretch.height]
    return [
        Stretch(p.kind, a, b, row(p.first + p.lead) - a if p.lead else 0, b - row(p.stop - p.tail) if p.tail else 0)
        for p, a, b in zip(parts, rows[:-1], rows[1:], strict=True)
    ]


def _untimed(stretch: pl.DataFrame, whole: pl.DataFrame, full_load_nm: float | None) -> list[Stretch]:
    """Pieces of a stretch without a clock: a print-out by rpm is one pull; a trace is cut as if its longest rise took 8 s."""
    rpm = without_spikes(stretch["rpm"].cast(pl.Float64).to_numpy().astype(float))
    known = np.flatnonzero(np.isfinite(rpm))
    if len(known) < 2:
        return [Stretch("idle", 0, stretch.height)]
    level = local_median(rpm[known], 2 if len(known) > 50 else 0)
    span = float(level.max() - level.min())
    one_way = max(level[-1] - level[0], level[0] - level[-1]) >= 0.9 * span
    reverse = max(float((np.maximum.accumulate(level) - level).max()) if level[-1] >= level[0] else
                  float((level - np.minimum.accumulate(level)).max()), 0.0)  # fmt: skip
    loaded = _mostly_loaded(stretch, full_load_nm)
    if one_way and reverse < 0.2 * span and loaded:
        return [Stretch("pull" if span >= PULL_SPAN_RPM else "idle", 0, stretch.height)]
    longest = max((b - a for a, b in runs(np.concatenate((np.diff(level) > 0, [False])))), default=0)
    if len(known) <= 400 and longest <= 60 and loaded and _only_rises(level):
        return _printouts(rpm, stretch.height)
    step = _RISE_S / max(_rows_that_rise(level), 40)
    clocked = stretch.with_columns(time_s=pl.int_range(stretch.height) * step)
    return _timed(clocked, whole, full_load_nm)


def _mostly_loaded(stretch: pl.DataFrame, full_load_nm: float | None) -> bool:
    """Whether nothing but a sweep at full load stands here, as far as torque tells: a print-out never idles, a trace does."""
    if not holds(stretch, "torque_nm"):
        return True
    torque = stretch["torque_nm"].cast(pl.Float64).fill_nan(None).drop_nulls().to_numpy()
    top = max(float(np.quantile(torque, 0.95)), full_load_nm or 0.0)
    return top <= 0.0 or float(np.mean(torque < 0.35 * top)) < 0.1


def _only_rises(level: Array) -> bool:
    """Whether speed falls only where one print-out ends and the next begins: a trace comes down as it went up, row by row."""
    steps = np.diff(level)
    falls = steps[(steps < 0) & (steps >= -PULL_SPAN_RPM)]
    return -float(falls.sum()) < 0.2 * float(steps[steps > 0].sum())


def _rows_that_rise(level: Array) -> int:
    """Rows over which a trace without a clock makes nine tenths of its largest rise; steady speed between steps is not counted."""
    some = level[:: max(1, len(level) // 4000)]
    low = best_from = best_to = 0
    top = float(some[0])
    for i, speed in enumerate(some.tolist()):  # the rise starts anew where speed came down by a fifth of the rise so far
        top = max(top, speed)
        if speed < some[low] or top - speed > 0.2 * (top - some[low]) + 50.0:
            low, top = i, speed
        elif speed - some[low] > some[best_to] - some[best_from]:
            best_from, best_to = low, i
    rise = level[best_from * (len(level) // len(some)) : (best_to + 1) * (len(level) // len(some))]
    blocks = np.array_split(rise, min(100, max(len(rise) // 3, 1)))
    middles = np.array([float(np.median(b)) for b in blocks])
    gains = np.sort(np.diff(middles))[::-1]
    if not len(gains) or gains[0] <= 0.0:
        return len(rise)
    carried = int(np.searchsorted(np.cumsum(gains), 0.9 * (middles[-1] - middles[0]))) + 1
    return round(len(rise) / len(blocks) * carried / 0.9)


def _printouts(rpm: Array, rows: int) -> list[Stretch]:
    """Several print-outs by rpm one below the other: each run of rising speed is a pull."""
    filled = pl.Series(rpm).fill_nan(None).interpolate().forward_fill().backward_fill().to_numpy()
    cuts = [0, *(int(i) + 1 for i in np.flatnonzero(np.diff(filled) < -PULL_SPAN_RPM)), rows]
    return [Stretch("pull" if np.ptp(filled[a:b]) >= PULL_SPAN_RPM else "idle", a, b) for a, b in pairwise(cuts)]
