"""What kind of curve a setting runs, and where it starts, bends and is all in."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from pullbook.arrays import Array
from pullbook.measure.broken_line import BrokenLine, break_interval, fit
from pullbook.measure.isotonic import increasing
from pullbook.measure.normal import Z90
from pullbook.timing import unlogged
from pullbook.timing.sheet_entries import SheetEntry

SHEET_HALF_DEG = Z90 * unlogged.SHEET_ALONE_SD_DEG
"""What the sheet alone leaves open of an end, 90 %."""

_LOCKED_RANGE_DEG = 1.0
_FALL_DEG = 0.4  # a mechanical curve never falls by more than its noise
_MISFIT_DEG = 0.35
_FLOOR_DEG = 0.03
_PAID_OFF = 0.8  # misfit per row in units of its own noise: more corners could only fit that noise
_BLUR_RPM = 25.0  # rows are means over 100 rpm: they round every corner off (90 %)
_CORNER_RPM = 300.0  # a knee this near to another corner is that corner, rounded off by weights that do not meet their stop at once
_FLAT_SLOPE = 1.0  # no spring lets weights fly as slowly as this, degrees per 1000 rpm
_FORMS = ((0, False, False), (1, False, True), (1, True, False), (1, False, False), (2, True, True), (2, False, True),
          (2, True, False), (3, True, True))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Corners:
    """A mechanical curve's corners in the rpm span seen; None where that corner lies outside it. Degrees are at the fit's scale.

    Every corner is ``(estimate, lo, hi)``; for degrees lo and hi come from the fit alone.
    """

    start_rpm: tuple[float, float | None, float | None] | None
    knee_rpm: tuple[float, float | None, float | None] | None
    knee_deg: float | None
    all_in_rpm: tuple[float, float | None, float | None] | None
    initial_deg: float | None
    total_deg: float | None
    misfit_deg: float


def family_of(advance_deg: Array, sd_deg: Array, told: str | None, misfit_deg: float | None) -> str:
    """Family of a curve: what the shop says, else what the curve looks like.

    Parameters
    ----------
    advance_deg, sd_deg
        Shape (n,), by rising rpm, on the true scale as far as known.
    told
        ``engine.yaml``'s kind or None.
    misfit_deg
        How far the best mechanical curve stays off, root mean square; None where none could be fitted.
    """
    if told is not None:
        return told
    if len(advance_deg) < 3:
        return "unknown"
    if float(np.ptp(advance_deg)) < _LOCKED_RANGE_DEG + 4.0 * float(np.median(sd_deg)):
        return "locked"
    fall = float(np.max(increasing(advance_deg) - advance_deg, initial=0.0))
    if fall < _FALL_DEG + 2.0 * float(np.median(sd_deg)) and misfit_deg is not None and misfit_deg < _MISFIT_DEG:
        return "mechanical"
    return "mapped"


def corners_of(rpm: Array, advance_deg: Array, sd_deg: Array, tilt_sd: float = 0.0) -> Corners | None:
    """Corners of the flat–rise–(knee)–rise–flat curve that the data pay for, by BIC over which parts are in view.

    Parameters
    ----------
    rpm, advance_deg, sd_deg
        Shape (n,), rising rpm, degrees.
    tilt_sd
        What is open of a slope common to all of the curve (a log's delay), one SD, degrees per 1000 rpm: an outer piece that
        rises by no more than that is flat.

    Returns
    -------
    Corners | None
        None with fewer than five rows.
    """
    if len(rpm) < 5:
        return None
    n, floor = len(rpm), (_FLOOR_DEG / sd_deg).mean() ** 2
    level = float(np.average(advance_deg, weights=sd_deg**-2.0))
    left = float(np.sum(((advance_deg - level) / sd_deg) ** 2))
    best: BrokenLine | None = None
    score = n * np.log(left / n + floor) + 2.0 * np.log(n)
    for breaks, flat_left, flat_right in _FORMS:
        line = fit(rpm, advance_deg, sd_deg, breaks, flat_left=flat_left, flat_right=flat_right)
        if line is None or bool(np.any(line.slopes < 0.0)) or _doubled_corner(line) or _stands_on_one_row(line, rpm):
            continue
        value = n * np.log(line.rss / n + floor) + 2.0 * (n - line.dof + 1) * np.log(n)
        if value < score:
            best, score = line, value
            if line.rss / n < _PAID_OFF:
                break
    if best is None:
        return Corners(None, None, None, None, None, level, float(np.sqrt(np.mean((advance_deg - level) ** 2))))
    where = []
    for k, place in enumerate(best.breaks):
        lo, hi = break_interval(rpm, advance_deg, sd_deg, best, k, tolerance=1e-4)
        lo, hi = (
            None if end is None else place + float(np.copysign(np.hypot(end - place, _BLUR_RPM), end - place)) for end in (lo, hi)
        )
        where.append((float(place), lo, hi))
    heights = best(best.breaks) if len(best.breaks) else np.zeros(0)
    flat_left, flat_right = _flat_ends(best, tilt_sd)
    knee = int(flat_left)
    middle = len(where) + 1 - flat_left - flat_right == 2
    misfit = float(np.sqrt(np.mean((advance_deg - best(rpm)) ** 2)))
    return Corners(
        where[0] if flat_left else None,
        where[knee] if middle else None,
        float(heights[knee]) if middle else None,
        where[-1] if flat_right else None,
        _level(best, rpm[rpm <= best.breaks[0]], heights[0]) if flat_left else None,
        _level(best, rpm[rpm >= best.breaks[-1]], heights[-1]) if flat_right else None,
        misfit,
    )


def _doubled_corner(line: BrokenLine) -> bool:
    """Whether two corners are one, rounded off: a knee right beside another, or a piece between flat and rise as good as flat."""
    if len(line.slopes) != 2 or len(line.breaks) < 2:
        return False
    first, last = 1000.0 * line.slopes
    near = bool(np.min(np.diff(line.breaks)) < _CORNER_RPM)
    return near or (line.flat_left and first < _FLAT_SLOPE) or (line.flat_right and last < _FLAT_SLOPE)


def _stands_on_one_row(line: BrokenLine, rpm: Array) -> bool:
    """Whether a flat end holds fewer than two rows: the row at the edge of a pull lies off the curve by more than its noise."""
    left = line.flat_left and np.count_nonzero(rpm <= line.breaks[0]) < 2
    return bool(left or (line.flat_right and np.count_nonzero(rpm >= line.breaks[-1]) < 2))


def _flat_ends(line: BrokenLine, tilt_sd: float) -> tuple[bool, bool]:
    """Whether the outer pieces are flat: fitted so, or rising by no more than their doubt while the next one rises by more."""
    rise = 1000.0 * line.slopes
    left, right = line.flat_left, line.flat_right
    if len(rise) < 2:
        return left, right
    own = 1e6 * np.diag(line.cov)[1 : 1 + len(rise)]
    most = np.maximum(_FLAT_SLOPE, 2.0 * np.sqrt(tilt_sd**2 + own))
    return left or bool(rise[0] < most[0] < rise[1]), right or bool(rise[-1] < most[-1] < rise[-2])


def _level(line: BrokenLine, rows: Array, at_corner: float) -> float:
    """Mean height of a flat piece; at its corner where no row lies on it."""
    return float(np.mean(line(rows))) if len(rows) else float(at_corner)


def blank_shape(setting: str, family: str) -> dict[str, Any]:
    """A row of SHAPES with nothing but its name and family."""
    return {"setting": setting, "family": family}


def put(shape: dict[str, Any], name: str, value: tuple[float, float | None, float | None] | None) -> None:
    """Write ``(estimate, lo, hi)``, in the unit of its name, into a row of SHAPES; None leaves it blank."""
    if value is not None:
        shape[name], shape[f"lo_{name}"], shape[f"hi_{name}"] = value


_End = tuple[float, float, float] | None


def put_ends(shape: dict[str, Any], initial: _End, total: _End, sheet: SheetEntry) -> None:
    """Write initial and total into a row of SHAPES.

    Seen in the log, else carried over by what the sheet says the parts add, else the sheet's own.
    """
    rise = sheet.rise_deg
    if rise is not None and initial is None and total is not None:
        initial = _carried(total, -rise)
    elif rise is not None and total is None and initial is not None:
        total = _carried(initial, rise)
    for name, seen, written in (("initial_deg", initial, sheet.initial_deg), ("total_deg", total, sheet.total_deg)):
        if seen is None and written is not None:
            seen = (written, written - SHEET_HALF_DEG, written + SHEET_HALF_DEG)
        put(shape, name, seen)


def _carried(end: tuple[float, float, float], by: float) -> tuple[float, float, float]:
    doubt = Z90 * unlogged.RISE_SD_DEG
    value = end[0] + by
    return value, value - float(np.hypot(end[0] - end[1], doubt)), value + float(np.hypot(end[2] - end[0], doubt))
