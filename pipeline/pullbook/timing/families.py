"""What kind of curve a setting runs, and where it starts, bends and is all in."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pullbook.measure.broken_line import BrokenLine, break_interval, fit
from pullbook.measure.isotonic import increasing

Array = npt.NDArray[np.float64]

_LOCKED_RANGE_DEG = 1.0
_FALL_DEG = 0.4  # a mechanical curve never falls by more than its noise
_MISFIT_DEG = 0.35
_FLOOR_DEG = 0.03
_PAID_OFF = 0.8  # misfit per row in units of its own noise: more corners could only fit that noise
_BLUR_RPM = 25.0  # rows are means over 100 rpm: they round every corner off (90 %)
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


def corners_of(rpm: Array, advance_deg: Array, sd_deg: Array) -> Corners | None:
    """Corners of the flat–rise–(knee)–rise–flat curve that the data pay for, by BIC over which parts are in view.

    Parameters
    ----------
    rpm, advance_deg, sd_deg
        Shape (n,), rising rpm, degrees.

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
        if line is None or bool(np.any(line.slopes < 0.0)):
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
    start = where[0] if best.flat_left else None
    all_in = where[-1] if best.flat_right else None
    middle = len(best.slopes) == 2
    knee = int(best.flat_left)
    misfit = float(np.sqrt(np.mean((advance_deg - best(rpm)) ** 2)))
    return Corners(
        start,
        where[knee] if middle else None,
        float(heights[knee]) if middle else None,
        all_in,
        float(heights[0]) if start else None,
        float(heights[-1]) if all_in else None,
        misfit,
    )


def blank_shape(setting: str, family: str) -> dict[str, Any]:
    """A row of SHAPES with nothing but its name and family."""
    return {"setting": setting, "family": family}


def put(shape: dict[str, Any], name: str, value: tuple[float, float | None, float | None] | None) -> None:
    """Write ``(estimate, lo, hi)`` into a row of SHAPES; None leaves it blank."""
    if value is not None:
        shape[name], shape[f"lo_{name}"], shape[f"hi_{name}"] = value
