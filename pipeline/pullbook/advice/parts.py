"""What may be fitted: parts owned, and the springs and stop that the day's own curves show to be on the engine."""

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pullbook.advice.curve_shapes import Shapes, all_in_rpm, straight
from pullbook.advice.settings_run import Setting
from pullbook.advice.sums import setting_sum
from pullbook.arrays import Array
from pullbook.facts import CRANKING_RPM, Ignition, Spring

_STOP_DEG = 1.5  # a stop the sheet implies and an owned one this near are the same
_MISFIT_DEG = 0.75
_TILT_DEG = 0.8  # per 1000 rpm: less than any spring's rise, more than most delays fake


@dataclass(frozen=True, slots=True)
class Part:
    """One way to make the rise: owned springs on an owned stop, or what is on the engine. ``shape``: one curve at total 0."""

    words: str
    shape: Shapes
    spring: Spring | None = None
    rise_seen: bool = True  # false: the rise lies below the rpm seen, start and all-in are not known
    start_seen: bool = True  # false: the rise begins below the rpm seen
    one_of_several: bool = False  # springs or stops were changed during the day: this is not simply what is on the engine


@dataclass(frozen=True, slots=True)
class Parts:
    """What may be fitted. ``owned``: every combination the shop can build; empty: any springs.

    ``stops``: stops that any springs may be set on; empty: the stop is not known. ``fitted``: what the day's own curves show to
    be on the engine: parts are changed only where that brings more than the tolerance. ``inside_only``: the rise must lie inside
    the tested rpm. ``stop_known``: initial follows from total and stop; else it is not known.
    """

    owned: tuple[Part, ...] = ()
    stops: tuple[float, ...] = ()
    fitted: tuple[Part, ...] = ()
    inside_only: bool = False
    stop_known: bool = True


LOCKED = Part("locked", Shapes(*(np.array([v]) for v in (0.0, 0.0, 0.0, 1.0, 0.5, 0.5))), rise_seen=False)


def combinations(springs: tuple[Spring, ...], stops: tuple[float, ...]) -> tuple[Part, ...]:
    """Every owned spring on every stop (its own stop, where none is known).

    Parameters
    ----------
    springs
        Spring pairs owned.
    stops
        Degrees at the crank that the stops owned allow; empty: each pair on the stop it was measured at.
    """
    return tuple(
        Part(
            f"springs {spring.name!r} with the {stop:g}° stop", straight(0.0, stop, spring.start_rpm, _after(spring, stop)), spring
        )
        for spring in springs
        for stop in (stops or (spring.at_stop_deg,))
    )


def _after(spring: Spring, stop: float) -> float:
    return max(all_in_rpm(spring, stop), spring.start_rpm + 1.0)


def parts_for(kind: str | None, ignition: Ignition, settings: list[Setting], shapes: pl.DataFrame, rpm: Array) -> Parts:
    """What may be fitted: owned parts first, else what the sheet and the day's curves imply, else any.

    Parameters
    ----------
    kind
        ``locked`` leaves only a flat curve; where neither engine.yaml nor the sheet says so, the weights may be all in below
        the rpm tested, and the initial is not known.
    ignition
        Stops and springs owned.
    settings
        What was run (curves on ``rpm``); initial and total on the sheet imply a stop.
    shapes
        SHAPES of the day: knees of the springs on the engine.
    rpm
        Rows in use.
    """
    if kind == "locked" and not ignition.springs:
        known = ignition.kind == "locked" or _locked_by_sheet(settings) or bool(rpm[0] <= CRANKING_RPM)
        return Parts(owned=(LOCKED,), stop_known=known)
    sums = [setting_sum(s.initial_deg, s.total_deg) for s in settings]
    implied = sorted({round(s, 1) for s in sums if s is not None and s > 1.0})
    stops = ignition.stops_deg or tuple(implied)
    first = sorted(zip(settings, sums, strict=True), key=lambda pair: not pair[0].baseline)
    found = [_fitted(s, stop, shapes, stops, rpm) for s, stop in first if stop is not None and stop > 1.0]
    if not stops:
        found = [_as_seen(s, rpm) for s, _ in first]
    fitted: list[Part] = []
    for part in (p for p in found if p is not None):
        if not any(_same_parts(part.shape, known.shape) for known in fitted):
            fitted.append(part)
    kept = tuple(replace(p, one_of_several=len(fitted) > 1) for p in fitted[:6])
    if ignition.springs:
        return Parts(owned=combinations(ignition.springs, stops), stops=stops, fitted=kept)
    known = bool(stops) or any(s is not None for s in sums)
    return Parts(stops=stops, fitted=kept, inside_only=not stops, stop_known=known)


def _locked_by_sheet(settings: list[Setting]) -> bool:
    """Whether the sheet gives every setting one advance from cranking up."""
    return all(s.initial_deg is not None and s.initial_deg == s.total_deg for s in settings)


def _same_parts(one: Shapes, other: Shapes) -> bool:
    """Whether two curves read off the engine are the same springs on the same stop, as well as a day's logs can tell."""
    near = ((one.stop, other.stop, 1.0), (one.start, other.start, 300.0), (one.all_in, other.all_in, 200.0))
    return all(abs(float(a[0]) - float(b[0])) <= most for a, b, most in near)


def _fitted(setting: Setting, rise: float, shapes: pl.DataFrame, stops: tuple[float, ...], rpm: Array) -> Part | None:
    """The springs and stop a setting ran, from its delivered curve; None where no plain mechanical curve follows it."""
    stop = min(stops, key=lambda s: abs(s - rise))
    curve = setting.curve
    if abs(stop - rise) > _STOP_DEG or not np.isfinite(curve).all():
        return None
    total = float(np.max(curve))
    rising = curve < total - 0.3
    # a recorder's delay tilts the flat part: what rises is what lies below the all-in that the whole curve showed
    all_in = _seen_all_in(setting.name, shapes)
    if all_in is not None and np.count_nonzero(rpm >= all_in) >= 3 and not _level(rpm, curve):
        rising = rpm < all_in
        total = float(np.mean(curve[~rising]))
        curve = np.minimum(curve, total)
    words = f"the springs and {stop:g}° stop of {setting.name!r}"
    if np.count_nonzero(rising) < 3 or _level(rpm, curve):
        all_in = float(rpm[0])
        shape = Shapes(*(np.array([v]) for v in (0.0, stop, all_in - 40.0 * stop, all_in, 0.5, 0.5)))
        return Part(words, shape, rise_seen=False) if np.max(total - curve) < 2.0 * _MISFIT_DEG else None
    slope, level = np.polyfit(rpm[rising], curve[rising], 1)
    corners = [_own_corners(setting.name, shapes, total, stop)]
    if slope > 1e-4:
        corners.append(((total - stop - level) / slope, (total - level) / slope, 0.5, 0.5))
    for start, all_in, knee_at, knee_share in (c for c in corners if c is not None and 0.0 < c[0] < c[1]):
        shape = Shapes(*(np.array([float(v)]) for v in (0.0, stop, start, all_in, knee_at, knee_share)))
        if np.max(np.abs(total - shape.short(rpm)[0] - curve)) < _MISFIT_DEG:
            return Part(words, shape)
    return None


def _seen_all_in(setting: str, shapes: pl.DataFrame) -> float | None:
    """Where the day's own curve of a setting is all in; None where that was not seen."""
    if shapes.is_empty():
        return None
    mine = shapes.filter(pl.col("setting") == setting)["all_in_rpm"].drop_nulls()
    return None if mine.is_empty() else float(mine[0])


def _level(rpm: Array, curve: Array) -> bool:
    """Whether a curve is all in from its first row on, but for the little that a recorder's delay tilts it."""
    slope, at_zero = np.polyfit(rpm, curve, 1)
    return bool(abs(1000.0 * slope) < _TILT_DEG and np.max(np.abs(curve - at_zero - slope * rpm)) < 0.5 * _MISFIT_DEG)


def _as_seen(setting: Setting, rpm: Array) -> Part | None:
    """The part of a setting's rise that was seen, where no stop is known: enough to turn the distributor and leave the rest."""
    curve = setting.curve
    if not np.isfinite(curve).all():
        return None
    total, rise = float(np.max(curve)), float(np.ptp(curve))
    rising = curve < total - 0.3
    if rise < 1.0 or np.count_nonzero(rising) < 3:
        return None
    slope, level = np.polyfit(rpm[rising], curve[rising], 1)
    if slope < 1e-4:
        return None
    shape = Shapes(*(np.array([v]) for v in (0.0, rise, (total - rise - level) / slope, (total - level) / slope, 0.5, 0.5)))
    fits = np.max(np.abs(total - shape.short(rpm)[0] - curve)) < _MISFIT_DEG
    return Part(f"the springs and stop of {setting.name!r}", shape, start_seen=False) if fits else None


def _own_corners(setting: str, shapes: pl.DataFrame, total: float, stop: float) -> tuple[float, float, float, float] | None:
    """Start, all-in and knee (part of the way, part of the stop) of a setting whose three corners were all seen."""
    mine = shapes.filter(pl.col("setting") == setting).drop_nulls(["start_rpm", "knee_rpm", "knee_deg", "all_in_rpm"])
    if mine.is_empty():
        return None
    start, knee, degrees, all_in = (float(mine[c][0]) for c in ("start_rpm", "knee_rpm", "knee_deg", "all_in_rpm"))
    if not start < knee < all_in:
        return None
    at, share = (knee - start) / (all_in - start), 1.0 - (total - degrees) / stop
    return start, all_in, float(np.clip(at, 0.05, 0.95)), float(np.clip(share, 0.02, 0.98))
