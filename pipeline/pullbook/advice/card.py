"""What the tune card needs beyond the setting: advance to check with a light, and millimetres a degree on the damper."""

from typing import Any

import numpy as np
import polars as pl

from pullbook.advice.curve_shapes import Shapes
from pullbook.advice.sums import mm_per_deg
from pullbook.arrays import Array

STEP_RPM = 500.0


def handy_rpm(lo: float, hi: float) -> Array:
    """Round rpm to hold an engine at with a light in the hand: every 500 rpm from ``lo`` to ``hi``.

    Parameters
    ----------
    lo, hi
        Speeds to stay between, rpm.

    Returns
    -------
    Array
        Rpm, rising, (n,); empty where no round speed lies between.
    """
    return np.arange(np.ceil(lo / STEP_RPM) * STEP_RPM, hi + 1.0, STEP_RPM)


def mechanical_readings(
    shape: Shapes, *, initial_known: bool, lo_rpm: float, hi_rpm: float, hysteresis_deg: float | None, mark_error_deg: float
) -> list[dict[str, Any]]:
    """Light readings of one mechanical curve, on the damper's scale.

    Parameters
    ----------
    shape
        The curve (N = 1), true crank degrees.
    initial_known
        Whether the curve is known below the tested rpm; then readings begin at 1000 rpm, else at ``lo_rpm``.
    lo_rpm, hi_rpm
        Span in use.
    hysteresis_deg
        How much higher the curve runs with falling rpm, on the slope alone; None: not known, ``down_deg`` is null.
    mark_error_deg
        What the light reads too high; 0 where the mark was not checked.

    Returns
    -------
    list of dict
        ``rpm``, ``up_deg``, ``down_deg`` to half a degree, as a light is read.
    """
    rpm = handy_rpm(min(1000.0, lo_rpm) if initial_known else lo_rpm, hi_rpm)
    up = shape.curves(rpm)[0]
    total, initial = float(shape.total[0]), float(shape.total[0] - shape.stop[0])
    down = None
    if hysteresis_deg is not None:
        sloping = (up > initial + 1e-9) & (up < total - 1e-9)
        down = np.where(sloping, np.clip(up + hysteresis_deg, initial, total), up)
    return _rows(rpm, up, down, mark_error_deg)


def curve_readings(rpm: Array, curve: Array, mark_error_deg: float) -> list[dict[str, Any]]:
    """Light readings of any other curve: a map has no up and down, so both are the same.

    Parameters
    ----------
    rpm, curve
        Rows, rpm, rising, and the advance on them, true ° BTDC, (R,) each.
    mark_error_deg
        What the light reads too high; 0 where the mark was not checked.

    Returns
    -------
    list of dict
        As for :func:`mechanical_readings`.
    """
    at = handy_rpm(float(rpm[0]), float(rpm[-1]))
    at = at if at.size else np.array([rpm[len(rpm) // 2]])
    up = np.interp(at, rpm, curve)
    return _rows(at, up, up, mark_error_deg)


def _rows(rpm: Array, up: Array, down: Array | None, mark_error_deg: float) -> list[dict[str, Any]]:
    return [
        {
            "rpm": round(float(n)),
            "up_deg": _half(float(up[i]) + mark_error_deg),
            "down_deg": None if down is None else _half(float(down[i]) + mark_error_deg),
        }
        for i, n in enumerate(rpm)
    ]


def _half(value: float) -> float:
    return round(value * 2.0) / 2.0


def damper_mm(diameter_mm: float | None) -> float | None:
    """Millimetres a crank degree on the rim of a damper of ``diameter_mm``, or None where that is not known."""
    return None if diameter_mm is None or not diameter_mm > 0 else round(mm_per_deg(diameter_mm), 3)


def hysteresis_of(shapes: pl.DataFrame, setting: str | None) -> float | None:
    """Hysteresis, degrees, of ``setting`` by SHAPES, else the median of the day's; never below 0; None where none is known."""
    known = shapes.drop_nulls("hysteresis_deg")
    if known.is_empty():
        return None
    mine = known.filter(pl.col("setting") == setting)
    value = (known if mine.is_empty() else mine)["hysteresis_deg"].median()
    return max(0.0, float(value)) if isinstance(value, (int, float)) else None
