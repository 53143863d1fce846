"""Two recorders of one pull, each with its own clock, brought together on the speed that both saw.

Offset alone is not enough: clocks also run at different rates, and 0.3 % is half a second by the end of three minutes.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.columns import CHANNELS, holds
from pullbook.handover import Clock
from pullbook.measure.normal import MAD_TO_SD
from pullbook.measure.spikes import without_spikes

_STEP_S = 0.1
_MOST_RATE = 0.01
_RATE_SD = 0.004
_GAP_S = 2.0
_PLACES, _APART_S = 6, 3.0
_TWIN = 1.6  # another place whose residual is not this much larger fits about as well


@dataclass(frozen=True, slots=True)
class Trace:
    """Speed over time of one recorder, spikes and blanks taken out: time s, rpm 1/min, both (n,), time rising."""

    time: Array
    rpm: Array


@dataclass(frozen=True, slots=True)
class ClockFit:
    """``t_first = offset_s + rate * t_other``; ``residual_rpm`` is the root mean square left; ``overlap_s`` what both saw."""

    offset_s: float
    rate: float
    residual_rpm: float
    overlap_s: float


def trace_of(samples: pl.DataFrame) -> Trace | None:
    """The speed trace of one recording (``time_s`` s, ``rpm`` 1/min), None where it has no clock or too little speed."""
    if not {"time_s", "rpm"} <= set(samples.columns):
        return None
    known = samples.select(pl.col("time_s", "rpm").cast(pl.Float64)).drop_nulls().drop_nans()
    time, rpm = known["time_s"].to_numpy(), without_spikes(known["rpm"].to_numpy())
    keep = np.isfinite(rpm)
    keep[1:] &= np.diff(time) > 0
    time, rpm = time[keep], rpm[keep]
    return Trace(time, rpm) if len(time) >= 8 and np.ptp(rpm) > 200.0 else None


def align_recorders(first: Trace, other: Trace, *, near_s: float | None = None) -> ClockFit | str:
    """The other recorder's clock on the first one's.

    Parameters
    ----------
    first, other
        Speed traces of the two recorders.
    near_s
        Where the offset is expected (s) when several pulls of the other trace look alike; searched within ± 6 s.

    Returns
    -------
    ClockFit or str
        Why no clock could be found, in words.

    Notes
    -----
    The coarse place is where the mean squared difference of speed is least, over all shifts and rates within ± 1 %
    (fast Fourier transform); the fine one a robust least squares in offset and rate together (Gauss-Newton, Huber weights),
    the rate held by 1 ± 0.4 % so that a short overlap cannot run away with it.
    """
    fits = [f for offset, rate in _coarse(first, other, near_s) if (f := _fine(first, other, offset, rate)) is not None]
    fits.sort(key=lambda f: f.residual_rpm)
    if not fits:
        return "the two records never overlap long enough to be compared"
    alike = [f for f in fits if f.residual_rpm <= _TWIN * max(fits[0].residual_rpm, 1.0)]
    fit = max(alike, key=lambda f: f.overlap_s)  # regular pulls fit shifted by one as well, but then one has no partner
    seen = first.rpm[
        (first.time - fit.offset_s >= other.time[0] * fit.rate) & (first.time - fit.offset_s <= other.time[-1] * fit.rate)
    ]
    if fit.residual_rpm > max(40.0, 0.04 * float(np.ptp(seen))):
        return f"their speeds differ by {fit.residual_rpm:.0f} rpm wherever they are laid over each other"
    if any(abs(f.offset_s - fit.offset_s) > _APART_S and f.overlap_s > 0.97 * fit.overlap_s for f in alike):
        return "the speed of one fits the other at more than one place"
    return fit


def _grid(trace: Trace, scale: float = 1.0) -> tuple[Array, Array, float]:
    """Speed on an even clock, where it is known, and the start; ``scale`` stretches time."""
    time = trace.time * scale
    grid = np.arange(time[0], time[-1], _STEP_S)
    rpm = np.interp(grid, time, trace.rpm)
    after = np.minimum(np.searchsorted(time, grid), len(time) - 1)
    known = (time[after] - time[np.maximum(after - 1, 0)] <= _GAP_S).astype(float)
    return rpm, known, float(time[0])


def _coarse(first: Trace, other: Trace, near_s: float | None) -> list[tuple[float, float]]:
    """Offsets and rates of the least mean squared differences, the best first, each at a place of its own."""
    x, mx, x0 = _grid(first)
    span = max(float(np.ptp(other.time)), 10.0)
    steps = min(int(np.ceil(_MOST_RATE * span / 1.0)), 40)
    mean = float(np.mean(x))
    places: list[tuple[float, float, float]] = []
    for rate in 1.0 + np.linspace(-_MOST_RATE, _MOST_RATE, 2 * steps + 1):
        y, my, y0 = _grid(other, float(rate))
        apart, n, lag = _difference(x - mean, mx, y - mean, my)
        shift = lag * _STEP_S + x0 - y0
        enough = n >= max(30.0, 0.6 * min(mx.sum(), my.sum()))
        if near_s is not None:
            enough &= np.abs(shift - near_s) <= 6.0
        apart = np.where(enough, np.maximum(apart, 1.0), np.inf)
        for _ in range(_PLACES):
            at = int(np.argmin(apart))
            if not np.isfinite(apart[at]):
                break
            places.append((float(apart[at]), float(shift[at]), float(rate)))
            apart[np.abs(shift - shift[at]) <= _APART_S] = np.inf
    best: list[tuple[float, float]] = []
    for _, offset, rate in sorted(places):
        if len(best) < _PLACES and all(abs(offset - known) > _APART_S for known, _ in best):
            best.append((offset, rate))
    return best


def _difference(x: Array, mx: Array, y: Array, my: Array) -> tuple[Array, Array, Array]:
    """Mean squared difference of two masked series at every lag, how many steps it rests on, and the lags (whole steps)."""
    size = 1 << int(np.ceil(np.log2(len(x) + len(y))))

    def correlate(a: Array, b: Array) -> Array:
        return np.asarray(np.fft.irfft(np.fft.rfft(a, size) * np.conj(np.fft.rfft(b, size)), size))

    n = correlate(mx, my)
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = (correlate(mx * x**2, my) - 2.0 * correlate(mx * x, my * y) + correlate(mx, my * y**2)) / n
    lag = np.arange(size, dtype=np.float64)
    return np.where(np.isfinite(apart), apart, np.inf), n, np.where(lag >= len(x), lag - size, lag)


def _fine(first: Trace, other: Trace, offset: float, rate: float) -> ClockFit | None:
    """Offset and rate by robust least squares on the differences of speed, from a coarse start."""
    slope = np.gradient(other.rpm, other.time)
    fit = None
    for _ in range(30):
        when = (first.time - offset) / rate
        inside = (when > other.time[0]) & (when < other.time[-1])
        after = np.minimum(np.searchsorted(other.time, when), len(other.time) - 1)
        inside &= other.time[after] - other.time[np.maximum(after - 1, 0)] <= _GAP_S
        if inside.sum() < 8:
            return fit
        w = when[inside]
        left = first.rpm[inside] - np.interp(w, other.time, other.rpm)
        pace = np.interp(w, other.time, slope)
        scale = max(MAD_TO_SD * float(np.median(np.abs(left))), 1.0)
        weight = np.minimum(1.0, 1.345 * scale / np.maximum(np.abs(left), 1e-9))
        middle = float(np.average(w, weights=weight))
        # d(left)/d(offset at the middle) = pace/rate, d(left)/d(rate) = pace * (w - middle)/rate
        design = np.column_stack((pace, pace * (w - middle))) / rate
        normal = (design * weight[:, None]).T @ design + np.diag([1e-9, (scale / _RATE_SD) ** 2])
        pull = -(design * weight[:, None]).T @ left + np.array([0.0, (scale / _RATE_SD) ** 2 * (1.0 - rate)])
        try:
            move, turn = np.linalg.solve(normal, pull)
        except np.linalg.LinAlgError:
            return fit
        move, turn = float(np.clip(move, -2.0, 2.0)), float(np.clip(turn, -0.005, 0.005))
        near = np.abs(left) <= 6.0 * scale
        fit = ClockFit(float(offset), float(rate), float(np.sqrt(np.mean(left[near] ** 2))), float(np.ptp(first.time[inside])))
        if abs(move) < 1e-6 and abs(turn) < 1e-8:
            break
        offset, rate = offset + move - turn * middle, rate + turn
    return fit


def residual_rpm(first: Trace, other: Trace, fit: ClockFit, start_s: float, end_s: float) -> float | None:
    """Root mean square difference of speed within one segment of the first trace, 1/min.

    Parameters
    ----------
    first, other
        Speed traces of the two recorders.
    fit
        The other's clock on the first one's.
    start_s, end_s
        Of the segment, on the first clock.

    Returns
    -------
    float or None
        Over what both saw; None where the other recorder saw none of the segment.
    """
    when = (first.time - fit.offset_s) / fit.rate
    inside = (first.time >= start_s) & (first.time <= end_s) & (when >= other.time[0]) & (when <= other.time[-1])
    if not inside.any():
        return None
    left = first.rpm[inside] - np.interp(when[inside], other.time, other.rpm)
    scale = max(MAD_TO_SD * float(np.median(np.abs(left))), 1.0)
    return float(np.sqrt(np.mean(left[np.abs(left) <= 6.0 * scale] ** 2)))


def merge_channels(part: pl.DataFrame, other: pl.DataFrame, clock: Clock) -> pl.DataFrame:
    """A recording with the channels it lacks taken from a second recorder's.

    Parameters
    ----------
    part, other
        SAMPLES of the two; ``part`` keeps its rows and clock.
    clock
        How the other's clock lies on the first: offset, s, and rate.

    Returns
    -------
    polars.DataFrame
        ``part`` and the channels only ``other`` has, between its samples; null where it was silent.
    """
    lacking = [
        c for c in other.columns
        if c in CHANNELS and c not in ("time_s", "rpm") and not holds(part, c)
    ]  # fmt: skip
    when = (part["time_s"].cast(pl.Float64).to_numpy().astype(np.float64) - clock.offset_s) / clock.rate
    columns = []
    for name in lacking:
        known = other.select("time_s", pl.col(name).cast(pl.Float64, strict=False)).drop_nulls()
        if known.height >= 2:
            columns.append(
                pl.Series(name, _between(when, known["time_s"].to_numpy(), known[name].to_numpy(), name), nan_to_null=True)
            )
    return part.with_columns(columns)


def _between(when: Array, time: Array, values: Array, name: str) -> Array:
    """Values at ``when``: straight lines between samples, the nearest sample for counts and switches; NaN across gaps."""
    time = time.astype(np.float64)
    usual = float(np.median(np.diff(time)))
    at = np.clip(np.searchsorted(time, when), 1, len(time) - 1)
    gap = time[at] - time[at - 1]
    if name == "knock":
        nearest = np.where(when - time[at - 1] <= time[at] - when, at - 1, at)
        out = values[nearest].astype(np.float64)
    else:
        out = np.interp(when, time, values)
    silent = (when < time[0] - usual) | (when > time[-1] + usual) | (gap > max(1.0, 5.0 * usual)) | ~np.isfinite(when)
    return np.where(silent, np.nan, out)
