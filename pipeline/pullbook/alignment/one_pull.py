"""One pull or hold on the day's footing: trimmed, lag and inertia undone, in rows; the air factor comes later."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from pullbook.alignment.rows import RATE_HALF_WIDTH_S, hold_row, inertia_torque, pull_rows, rpm_at_torque
from pullbook.alignment.slip import slipping
from pullbook.alignment.trim import trim
from pullbook.arrays import Array
from pullbook.columns import ADVANCES, ROWS, conform, holds
from pullbook.measure.held import news
from pullbook.measure.local import local_slope
from pullbook.measure.spikes import spikes, torque_spikes
from pullbook.units import KW_TO_NM_RPM

_ADVANCES = dict(zip(("advance_log_deg", "advance_commanded_deg"), ADVANCES, strict=True))  # of a row, of a sample
READ_CHANNELS = ("time_s", "rpm", "torque_nm", "power_kw", "throttle_pct", "roller_rpm", *_ADVANCES.values())
"""Channels that alignment reads."""


@dataclass(frozen=True, slots=True)
class Footing:
    """What all pulls of the day share: the lag of torque behind speed, s, and what turns between crank and sensor, kg·m²."""

    lag_s: float
    inertia_kg_m2: float


@dataclass(slots=True)
class AlignedPull:
    """One pull brought to the footing, before the air factor.

    ``rows``: ROWS; ``facts``: ``rpm_min, rpm_max, seconds, rpm_per_s`` as far as known; ``reasons``: why in part or not at all;
    ``slipped``: the drive slipped somewhere; ``timed``: its log has a clock.
    """

    rows: pl.DataFrame
    facts: dict[str, Any] = field(default_factory=dict)
    reasons: list[str] = field(default_factory=list)
    slipped: bool = False
    timed: bool = True


def _column(part: pl.DataFrame, name: str) -> Array | None:
    if not holds(part, name):
        return None
    return part[name].cast(pl.Float64).to_numpy().astype(float)


def _torque(part: pl.DataFrame, rpm: Array) -> Array:
    """Torque as logged; from power where only that was."""
    torque = _column(part, "torque_nm")
    if torque is None:
        power = _column(part, "power_kw")
        torque = np.full(len(rpm), np.nan) if power is None else power * KW_TO_NM_RPM / np.where(rpm > 0, rpm, np.nan)
    return torque


def finite(samples: pl.DataFrame, channels: tuple[str, ...]) -> pl.DataFrame:
    """``samples``, as many rows, with every one of ``channels`` as a finite number or null; absent ones are null throughout."""
    known = [
        pl.when(pl.col(c).cast(pl.Float64).is_finite()).then(pl.col(c).cast(pl.Float64)).alias(c)
        if c in samples.columns
        else pl.lit(None, pl.Float64).alias(c)
        for c in channels
    ]
    return samples.with_columns(known)


def align_pull(row: dict[str, Any], part: pl.DataFrame | None, footing: Footing) -> AlignedPull:
    """Rows and plain facts of one sweep.

    Parameters
    ----------
    row
        The pull (FOUND_PULLS).
    part
        Its samples (SAMPLES) with :data:`READ_CHANNELS` as numbers or null; None where it has none.
    footing
        Lag, s, and inertia, kg·m², of the day.

    Returns
    -------
    AlignedPull
        Torque in N·m at the engine, before any air factor, each 100 rpm; ``reasons`` say why there are no rows. Samples without
        a clock are taken as a print-out: one sample a row, no lag and no inertia.
    """
    nothing = conform(pl.DataFrame(), ROWS)
    if part is None or _column(part, "rpm") is None:
        return AlignedPull(nothing, reasons=["no samples"])
    rpm, time = _column(part, "rpm"), _column(part, "time_s")
    assert rpm is not None
    torque = _torque(part, rpm)
    if time is None:
        return _print_out(row, part, rpm, torque)
    good = np.isfinite(rpm) & np.isfinite(time) & ~spikes(rpm)
    if good.sum() < 3:
        return AlignedPull(nothing, reasons=["too few samples with a speed"])
    part, rpm, time, torque = part.filter(pl.Series(good)), rpm[good], time[good], torque[good]
    torque = np.where(torque_spikes(torque) | ~news(torque), np.nan, torque)
    throttle = _column(part, "throttle_pct")
    rate = local_slope(time, rpm, RATE_HALF_WIDTH_S)
    keep = trim(time, rpm, torque, throttle, footing.lag_s)
    roller = _column(part, "roller_rpm")
    slipped = slipping(rpm, roller) if roller is not None else np.zeros(len(rpm), bool)
    engine = torque + inertia_torque(footing.inertia_kg_m2, rate) if footing.inertia_kg_m2 else torque
    advance = {name: values[keep] for name, values in _advances(part).items()}
    rows = pull_rows(
        row["pull_id"],
        rpm=rpm[keep],
        torque_nm=engine[keep],
        torque_rpm=rpm_at_torque(time, rpm, footing.lag_s)[keep],
        rpm_per_s=rate[keep],
        advance=advance,
        left_out=slipped[keep],
        noise_known=True,
    )
    out = AlignedPull(rows, slipped=bool(slipped[keep].any()))
    if keep.any():
        span = time[keep]
        out.facts = {
            "rpm_min": float(rpm[keep].min()),
            "rpm_max": float(rpm[keep].max()),
            "seconds": float(span[-1] - span[0]),
            "rpm_per_s": float(np.median(rate[keep])) if np.isfinite(rate[keep]).all() else None,
        }
    if rows.is_empty():
        out.reasons.append(
            "nothing is left after trimming the run-in and the lift" if not keep.any() else "no torque or power in the log"
        )
    if out.slipped:
        out.reasons.append("slip: engine and roller speed part by more than 1 % in " + _span_text(rpm[keep & slipped]))
    return out


def _advances(part: pl.DataFrame) -> dict[str, Array]:
    """Logged and commanded advance where the log has them; samples that only repeat a slower channel's reading are NaN."""
    read = {name: _column(part, source) for name, source in _ADVANCES.items()}
    return {name: np.where(news(values), values, np.nan) for name, values in read.items() if values is not None}


def _print_out(row: dict[str, Any], part: pl.DataFrame, rpm: Array, torque: Array) -> AlignedPull:
    """A print-out without time: its lines are rows; no rate, lag, inertia or noise can be known."""
    good = np.isfinite(rpm) & np.isfinite(torque)
    advance = {name: values[good] for name, source in _ADVANCES.items() if (values := _column(part, source)) is not None}
    rows = pull_rows(
        row["pull_id"],
        rpm=rpm[good],
        torque_nm=torque[good],
        torque_rpm=rpm[good],
        rpm_per_s=np.full(int(good.sum()), np.nan),
        advance=advance,
        left_out=np.zeros(int(good.sum()), bool),
        noise_known=False,
    )
    out = AlignedPull(rows, timed=False)
    if good.any():
        out.facts = {"rpm_min": float(rpm[good].min()), "rpm_max": float(rpm[good].max())}
    else:
        out.reasons.append("no line with both speed and torque")
    return out


def hold_speed(part: pl.DataFrame | None) -> float | None:
    """Median rpm of a hold's samples; None where there is none."""
    rpm = None if part is None else _column(part, "rpm")
    return float(np.nanmedian(rpm)) if rpm is not None and np.isfinite(rpm).any() else None


def align_hold(
    row: dict[str, Any], part: pl.DataFrame | None, slope: tuple[Array, Array] | None, at_row: int | None
) -> AlignedPull:
    """A hold as one point: the first half second, in which the load still settles, is passed over.

    Parameters
    ----------
    row, part
        As for :func:`align_pull`.
    at_row
        The row it stands in, rpm (:func:`~pullbook.alignment.rows.rows_of_holds`); None without a speed.
    slope
        rpm (n,) and the slope of the day's torque there, N·m per rpm, to move the point to its row's centre; None: not moved.
    """
    if at_row is None or part is None or (rpm := _column(part, "rpm")) is None:
        return AlignedPull(conform(pl.DataFrame(), ROWS), reasons=["no samples"])
    time, torque = _column(part, "time_s"), _torque(part, rpm)
    steady = np.isfinite(rpm)
    if time is not None and time[-1] - time[0] > 2.0:
        steady &= time >= time[0] + 0.5
    steady &= np.abs(rpm - np.nanmedian(rpm)) <= 50.0
    advance = {name: values[steady] for name, source in _ADVANCES.items() if (values := _column(part, source)) is not None}
    at = float(np.nanmedian(rpm))
    local = float(np.interp(at, *slope)) if slope is not None else 0.0
    rows = hold_row(row["pull_id"], at_row, rpm=rpm[steady], torque_nm=torque[steady], advance=advance, slope_nm_per_rpm=local)
    out = AlignedPull(rows, timed=time is not None)
    if rows.is_empty():
        out.reasons.append("no torque or power in the log")
    else:
        out.facts = {"rpm_min": float(rpm[steady].min()), "rpm_max": float(rpm[steady].max()), "rpm_per_s": 0.0}
        clock = time[steady & np.isfinite(time)] if time is not None else np.zeros(0)
        if len(clock):
            out.facts["seconds"] = float(clock[-1] - clock[0])
    return out


def _span_text(rpm: Array) -> str:
    return f"{np.floor(rpm.min() / 100) * 100:.0f} to {np.ceil(rpm.max() / 100) * 100:.0f} rpm"
