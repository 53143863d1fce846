"""The tune card's own object: light readings of what is advised, on the damper's scale, and what that scale is."""

from typing import Any

import polars as pl

from pullbook.advice import card
from pullbook.advice.curve_shapes import Shapes
from pullbook.advice.day_view import AdviceDay
from pullbook.advice.ground import Ground
from pullbook.advice.settings_run import Setting
from pullbook.arrays import Array
from pullbook.wording import plain


def card_object(
    day: AdviceDay, ground: Ground, shape: Shapes, advised: Array, mechanical: dict[str, Any], near: tuple[Setting, float] | None
) -> dict[str, Any]:
    """The contract's ``card`` object, with ``scale``: what the readings are readings of.

    Parameters
    ----------
    day, ground
        The day and its rows.
    shape, mechanical
        The mechanical curve and what is said of it.
    advised
        The curve advised on the rows of ``ground``, true ° BTDC (the free one for mapped ignition).
    near
        The setting run nearest to it, and how far off.
    """
    error = day.mark_error
    light = 0.0 if error is None else error
    from_sheet = near is not None and _sheet_alone(day, near[0].name)
    if day.kind == "mapped" or mechanical["all_in_rpm"] is None:
        readings = card.curve_readings(ground.rpm, advised, light)
    else:
        readings = card.mechanical_readings(
            shape,
            initial_known=mechanical["initial_deg"] is not None,
            lo_rpm=float(ground.rpm[0]),
            hi_rpm=float(ground.rpm[-1]),
            hysteresis_deg=card.hysteresis_of(day.delivered.shapes, None if near is None else near[0].name),
            mark_error_deg=light,
        )
    if from_sheet and mechanical["all_in_rpm"] is None and mechanical["stop_deg"] != 0.0:
        readings = readings[-1:]  # nobody saw where the rise ends: only the top is what the sheet calls total
    if error is None:
        scale = "as a light reads on a true mark; this mark was not checked, so it may read up to 3° high or low"
    elif abs(error) < 0.05:
        scale = "as a light reads on this damper: its mark is true"
    else:
        word = "added" if error > 0 else "taken off"
        scale = f"as a light reads on this damper: {plain(abs(error))}° {word} for its mark"
    return {"readings": readings, "mm_per_deg": card.damper_mm(day.reading.engine_facts.damper_diameter_mm), "scale": scale}


def _sheet_alone(day: AdviceDay, setting: str) -> bool:
    """Whether the sheet alone says what a setting delivered."""
    told = day.delivered.delivered.filter(pl.col("setting") == setting)["evidence"].to_list()
    return bool(told) and all(list(e or ()) == ["sheet"] for e in told)
