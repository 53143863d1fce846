"""The delivered curve of each setting, and what its log makes of it."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from pullbook.arrays import Array, Mask
from pullbook.facts import CRANKING_RPM
from pullbook.measure import mixture
from pullbook.timing.families import blank_shape, corners_of, family_of, put, put_ends
from pullbook.timing.hysteresis import hysteresis, rising
from pullbook.timing.logged import LoggedCurve
from pullbook.timing.scale import TimingScale
from pullbook.timing.witnesses import Witnesses
from pullbook.units import DEG_PER_RPM_US

HYSTERESIS_DEG, HYSTERESIS_SD = 0.5, 0.6
"""Weights on their way down, where nothing better is known."""

_RISE_DEG = 1.0  # initial to total by the sheet: more than this is weights and springs, however flat the log


@dataclass(slots=True)
class Course:
    """Delivered ``advance`` of one setting on its way up, true ° BTDC, with its 90 % interval ``lo`` to ``hi``, at ``rpm``: (n,)
    each, NaN where nothing is known.

    ``modes`` (n, J): one-SD shifts in columns common to all settings without a log; a course from the log (``on_log``) shifts
    with the timing scale instead. ``down``: (degrees, SD) more on the way down, in the rows ``moving``.
    """

    setting: str
    family: str
    rpm: Array
    advance: Array
    lo: Array
    hi: Array
    evidence: list[str]
    shape: dict[str, Any]
    on_log: bool = False
    modes: Array = field(default_factory=lambda: np.zeros((0, 0)))
    down: tuple[float, float] | None = None
    moving: Mask = field(default_factory=lambda: np.zeros(0, bool))

    def more_falling(self) -> Array:
        """What the weights hold more on the way down, degrees (n,): never more than brings them to their stop."""
        if self.down is None:
            return np.zeros(len(self.rpm))
        to_stop = np.maximum(np.nanmax(self.advance) - self.advance, 0.0)
        return np.where(self.moving, np.minimum(self.down[0], to_stop), 0.0)


def true_advance(scale: TimingScale, rpm: Array, logged: Array, sd: Array) -> tuple[Array, Array, Array]:
    """True advance where the log reads something, by what is known of its scale.

    Parameters
    ----------
    scale
        Offset and delay of the log, as a mixture.
    rpm, logged, sd
        Rows, rpm; logged advance and its SD, degrees; (n,) each.

    Returns
    -------
    tuple of Array
        Median and 90 % ends, degrees, (n,) each.
    """
    shift, doubt = scale.shift(rpm)
    mean, width = logged - shift, np.hypot(doubt, sd)
    low, middle, high = (mixture.quantile(scale.weight, mean, width, q) for q in (0.05, 0.5, 0.95))
    return middle, low, high


def from_log(logged: LoggedCurve, witnesses: Witnesses, scale: TimingScale, told: str | None, zero_deg: float) -> Course:
    """A setting's course from its log, less the log's offset and delay.

    Parameters
    ----------
    logged
        The setting's mean curve as logged.
    witnesses, scale
        The day's witnesses and what they made of the log's scale.
    told
        Family by engine.yaml or None.
    zero_deg
        Light minus true.
    """
    sheet = witnesses.sheet[logged.setting]
    advance, lo, hi = true_advance(scale, logged.rpm, logged.advance_deg, logged.sd_deg)
    tilt_sd = 1000.0 * DEG_PER_RPM_US * float(np.sqrt(scale.joint()[1][1, 1]))
    corners = corners_of(logged.rpm, advance, logged.sd_deg, tilt_sd) if told in (None, "mechanical") else None
    family = family_of(advance, logged.sd_deg, told, corners.misfit_deg if corners else None)
    if told is None and family == "locked" and (sheet.rise_deg or 0.0) > _RISE_DEG:
        family = "mechanical"  # all in below the rpm seen
    shape = blank_shape(logged.setting, family)
    evidence = ["log", *[w for w in ("strobe", "sheet") if w in scale.witnesses]]
    out = Course(logged.setting, family, logged.rpm, advance, lo, hi, evidence, shape, on_log=True)

    def degrees(value: float, rpm: float) -> tuple[float, float, float]:
        below, above = (float(np.interp(rpm, logged.rpm, side - advance)) for side in (lo, hi))
        return value, value + below, value + above

    if family == "locked":
        level = degrees(float(np.average(advance, weights=logged.sd_deg**-2.0)), float(np.median(logged.rpm)))
        if told is not None or sheet.rise_deg is not None or logged.rpm[0] <= CRANKING_RPM:
            put(shape, "initial_deg", level)  # else weights may be all in below the rpm seen
        put(shape, "total_deg", level)
    elif family == "mechanical":
        if corners is not None:
            put(shape, "start_rpm", corners.start_rpm)
            put(shape, "knee_rpm", corners.knee_rpm)
            put(shape, "all_in_rpm", corners.all_in_rpm)
            if corners.knee_deg is not None and corners.knee_rpm is not None:
                put(shape, "knee_deg", degrees(corners.knee_deg, corners.knee_rpm[0]))
            total = degrees(corners.total_deg, float(logged.rpm[-1])) if corners.total_deg is not None else None
            initial = degrees(corners.initial_deg, float(logged.rpm[0])) if corners.initial_deg is not None else None
            put_ends(shape, initial, total, sheet)
        hold_back(out, logged, witnesses, zero_deg)
    return out


def hold_back(course: Course, up: LoggedCurve, witnesses: Witnesses, zero_deg: float) -> None:
    """Put into a course what its weights hold more on the way down, where that was seen.

    Parameters
    ----------
    course
        Whose ``down``, ``moving`` and hysteresis are set.
    up
        Its curve on the way up: as logged, or as drawn from light and sheet.
    witnesses
        Coast-downs and falling light readings of the day.
    zero_deg
        Light minus true.
    """
    known = (witnesses.logged.down.get(course.setting), witnesses.falling(course.setting), zero_deg)
    believed = () if course.on_log else ((HYSTERESIS_DEG, HYSTERESIS_SD),)
    course.down = hysteresis(up, course.advance, *known, *believed)
    course.moving = rising(up)
    course.shape["hysteresis_deg"] = course.down[0] if course.down else None
