"""How the engine moved: one unbroken stretch of a log brought to an even clock, with speed, its rate and the load.

Twenty rows a second are enough to tell a sweep from a hold; faster logs are thinned by medians, slower ones keep their own step.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.columns import holds
from pullbook.measure.normal import MAD_TO_SD
from pullbook.measure.spikes import local_median, without_spikes
from pullbook.units import KW_TO_NM_RPM

_FINE_S = 0.05
_HALF_RATE_S = 0.4
_BLOCK = 16_384  # rows looked at at a time: a long log must not be held several times over
_HALO = 6  # rows either side of a block that its outermost medians of medians see


@dataclass(frozen=True, slots=True)
class Motion:
    """One stretch on an even clock of ``step_s``: n steps from ``start_s``.

    ``rpm`` (n,) without spikes; ``rate`` (n,) rpm/s over about 0.8 s, ``rate_noise`` its SD from the noise of the speed alone;
    ``loaded`` (n,) or None where nothing tells the load;
    ``torque`` (n,) N·m and ``advance`` (n,) degrees, or None.
    """

    start_s: float
    step_s: float
    rpm: Array
    rate: Array
    rate_noise: float
    loaded: Mask | None
    torque: Array | None
    advance: Array | None

    def steps(self, seconds: float) -> int:
        """Whole steps in ``seconds``, at least one."""
        return max(1, round(seconds / self.step_s))

    def seconds(self, first: int, stop: int) -> float:
        """Time from step ``first`` to the last step before ``stop``, s."""
        return (stop - 1 - first) * self.step_s


def despiked(rpm: Array) -> Array:
    """Speed with its spikes made NaN (:func:`pullbook.measure.spikes.without_spikes`), some rows at a time; shape (n,), 1/min."""
    out = np.empty(len(rpm))
    for a in range(0, len(rpm), _BLOCK):
        lead = min(a, _HALO)
        out[a : a + _BLOCK] = without_spikes(rpm[a - lead : a + _BLOCK + _HALO])[lead : lead + _BLOCK]
    return out


def usual_step(time: Array) -> float:
    """Median of the steps forward of a clock, shape (n,), s; 0 where there is none."""
    steps, count = np.empty(max(len(time) - 1, 0)), 0
    for a in range(0, len(steps), _BLOCK):
        some = np.diff(time[a : a + _BLOCK + 1])
        some = some[some > 0]
        steps[count : count + len(some)] = some
        count += len(some)
    return float(np.median(steps[:count], overwrite_input=True)) if count else 0.0


def leaps(time: Array, most: float) -> npt.NDArray[np.int64]:
    """Samples after which a clock, shape (n,), s, runs back or on by more than ``most``."""
    found = []
    for a in range(0, len(time) - 1, _BLOCK):
        step = np.diff(time[a : a + _BLOCK + 1])
        found.append(a + np.flatnonzero((step < 0.0) | (step > most)))
    return np.concatenate(found)


def slope(values: Array, half_width: int, step: float) -> Array:
    """Least-squares slope over ``2 * half_width + 1`` even steps; the ends are continued through their last value.

    Parameters
    ----------
    values
        At even steps, (n,), n ≥ 1, any unit.
    half_width
        Steps to either side, ≥ 1.
    step
        Between values, for instance s.

    Returns
    -------
    Array
        (n,), unit of the values per unit of the step.

    Notes
    -----
    Source: Savitzky and Golay 1964, first derivative, quadratic (weights −h…h).
    """
    k = np.arange(-half_width, half_width + 1, dtype=float)
    head = 2 * values[0] - values[half_width:0:-1] if len(values) > half_width else np.full(half_width, values[0])
    tail = 2 * values[-1] - values[-2 : -half_width - 2 : -1] if len(values) > half_width else np.full(half_width, values[-1])
    padded = np.concatenate((head, values, tail))
    return np.asarray(np.convolve(padded, k[::-1], mode="valid") / (k @ k) / step)


def _on_grid(time: Array, values: Array, grid: Array, step: float, thin: bool) -> Array | None:
    """``values`` as medians about the steps of ``grid`` (``thin``), else between their own samples; None where too few."""
    known = np.isfinite(values)
    known &= np.isfinite(time)
    if np.count_nonzero(known) < 2:
        return None
    t, v = (time, values) if known.all() else (time[known], values[known])
    if thin:
        parts, at = [], 0
        while at < len(t):
            bins = np.rint((t[at : at + _BLOCK] - grid[0]) / step - 1e-6).astype(np.int64)
            inner = np.flatnonzero(bins < bins[-1]) if at + _BLOCK < len(t) else np.arange(len(bins))
            size = int(inner[-1]) + 1 if len(inner) else len(bins)  # the last bin may go on in the next block
            some = pl.DataFrame({"bin": bins[:size], "v": v[at : at + size]})
            parts.append(some.group_by("bin", maintain_order=True).agg(pl.col("v").median()))
            at += size
        middles = pl.concat(parts)
        t, v = grid[0] + middles["bin"].to_numpy() * step, middles["v"].to_numpy()
    return np.asarray(np.interp(grid, t, v))


def _is_switch_or_pedal(throttle: Array, seen: Array) -> Mask | None:
    """Wide open by a throttle that moves; ``seen`` is the whole log's throttle. None where it never moves."""
    lo, hi = float(np.nanmin(seen)), float(np.nanmax(seen))
    if not np.isfinite(hi) or hi - lo < 0.25 * abs(hi) or hi <= 0.0:
        return None
    return np.asarray(throttle >= lo + 0.8 * (hi - lo), dtype=np.bool_)


def motion_of(samples: pl.DataFrame, whole: pl.DataFrame, full_load_nm: float | None = None) -> Motion | None:
    """Bring one stretch of a log to an even clock.

    Parameters
    ----------
    samples
        The stretch: ``time_s`` (s, increasing) and ``rpm`` (1/min); ``torque_nm``, ``throttle_pct``, ``advance_deg`` or
        ``advance_commanded_deg`` where the log has them.
    whole
        The whole log, from which full load is judged.
    full_load_nm
        What the day's logs reach (N·m), so that a log of nothing but warming up is not taken for full load.

    Returns
    -------
    Motion or None
        None where fewer than four samples carry a speed.
    """
    time = samples["time_s"].cast(pl.Float64).to_numpy()
    rpm = despiked(samples["rpm"].cast(pl.Float64).to_numpy())
    known = np.isfinite(rpm)
    known &= np.isfinite(time)
    if np.count_nonzero(known) < 4:
        return None
    begins = float(time[np.argmax(known)])
    time = time - begins
    np.round(time, 6, out=time)  # from its own start, to the microsecond: what a segment is must not hang on the clock's zero
    own_step = usual_step(time if known.all() else time[known])
    if own_step <= 0.0:
        return None
    thin = own_step < 0.75 * _FINE_S
    step = _FINE_S if thin else own_step
    ends = float(time[len(time) - 1 - np.argmax(known[::-1])])
    grid: Array = step * np.arange(max(2, int(ends / step + 1.001)), dtype=np.float64)
    level = _on_grid(time, rpm, grid, step, thin)
    del rpm, known
    if level is None:
        return None
    level = np.where(
        np.isnan(clean := without_spikes(level)), np.interp(grid, grid[~np.isnan(clean)], clean[~np.isnan(clean)]), clean
    )
    half = max(1, round(_HALF_RATE_S / step))
    curvature = np.diff(level, 2) if len(level) > 2 else np.zeros(1)
    noise = MAD_TO_SD * float(np.median(np.abs(curvature - np.median(curvature)))) / np.sqrt(6.0)
    rate_noise = noise / (step * np.sqrt(half * (half + 1) * (2 * half + 1) / 3.0))

    def channel(name: str, table: pl.DataFrame = samples) -> Array | None:
        if not holds(table, name):
            return None
        return table[name].cast(pl.Float64).to_numpy()

    def gridded(name: str) -> Array | None:
        values = channel(name)
        return None if values is None else _on_grid(time, values, grid, step, thin)

    torque = gridded("torque_nm")
    if torque is None and (power := gridded("power_kw")) is not None:
        torque = power * KW_TO_NM_RPM / np.maximum(level, 1.0)
    loaded: Mask | None = None
    throttle, seen = gridded("throttle_pct"), channel("throttle_pct", whole)
    if throttle is not None and seen is not None:
        loaded = _is_switch_or_pedal(throttle, seen)
    if loaded is None and torque is not None:
        loaded = _loaded_by_torque(torque, whole, step, full_load_nm or 0.0)
    advance = gridded("advance_deg")
    if advance is None:
        advance = gridded("advance_commanded_deg")
    return Motion(begins, step, level, slope(level, half, step), rate_noise, loaded, torque, advance)


def _loaded_by_torque(torque: Array, whole: pl.DataFrame, step: float, least_top: float) -> Mask | None:
    """Load by torque: above a third of the most the log or the day reaches. None where the torque never leaves zero."""
    calm = local_median(torque, min(len(torque) // 4, max(1, round(0.25 / step))))
    top = max(float(np.nanmax(calm)), 0.9 * (high_torque(whole) or 0.0), least_top)
    if not np.isfinite(top) or top < 2.0:
        return None
    return np.asarray(calm >= 0.35 * top, dtype=np.bool_)


def high_torque(samples: pl.DataFrame) -> float | None:
    """The torque a log reaches but for its rarest samples (99.5 %), N·m; None without a torque channel."""
    if "torque_nm" not in samples.columns:
        return None
    torque = samples["torque_nm"].cast(pl.Float64).drop_nulls()
    if torque.is_nan().any():
        torque = torque.drop_nans()
    return torque.quantile(0.995)
