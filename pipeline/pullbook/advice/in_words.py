"""What a day comes to, gathered for its one sentence: the setting in a builder's words, and what holds over most of the rpm."""

from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.advice import sentence
from pullbook.advice.day_view import AdviceDay
from pullbook.advice.ground import Ground
from pullbook.advice.settings_run import Setting
from pullbook.advice.sums import plain
from pullbook.handover import Array

SAME_DEG = 0.75
"""A curve this near (root mean square) to a setting that was run is that setting."""

Change = tuple[float, float, float]


def day_words(
    day: AdviceDay,
    ground: Ground,
    *,
    mechanical: dict[str, Any],
    advised: Array,
    near: tuple[Setting, float] | None,
    change: Change | None,
    most: Change | None,
    noted: npt.NDArray[np.bool_],
    next_words: str | None,
    enough: bool,
) -> str:
    """The day's one sentence.

    Parameters
    ----------
    day, ground
        The day and its rows.
    mechanical
        The contract's object.
    advised
        The curve advised on the rows of ``ground``, true ° BTDC.
    near
        The setting run nearest to it, and how far off.
    change, most
        Change of torque against the baseline, %, with 90 % interval: of the curve advised, and of the one for most torque.
    noted
        Rows where knock was noted.
    next_words, enough
        The next pull in words, and whether none is needed.
    """
    home = next((s.curve for s in day.settings if s.baseline and np.isfinite(s.curve).all()), None)
    return sentence.day_sentence(
        sentence.Outcome(
            set_words=_set_words(day, mechanical, advised, near),
            change_pct=change,
            most_pct=most,
            tolerance_pct=day.reading.facts.limits.tolerance_pct,
            pulls=day.pulls,
            state=state_of(day.best.best, ground),
            tested=(float(np.min(ground.tested_lo)), float(np.max(ground.posterior.tested_hi_deg))),
            is_baseline=near is not None and near[0].baseline and near[1] < SAME_DEG,
            less_deg=0.0 if home is None else float(np.mean(home - advised)),
            knock_binds=bool(np.any(noted & (ground.ceiling - advised < SAME_DEG))),
            next_words=next_words,
            enough=enough,
        )
    )


def state_of(best: pl.DataFrame, ground: Ground) -> str:
    """What holds over more than half of the rows in use: best beyond what was tested, or not to be placed; else ``inside``."""
    states = best.filter(pl.col("rpm").is_in(ground.rpm.astype(int).tolist()))["state"].drop_nulls().to_list()
    for name in ("above_tested", "below_tested"):
        if 2 * states.count(name) > len(states):
            return name
    return "inside" if 2 * states.count("inside") >= len(states) or states.count("inside") >= states.count("flat") else "flat"


def _set_words(day: AdviceDay, mechanical: dict[str, Any], advised: Array, near: tuple[Setting, float] | None) -> str:
    """The setting in a builder's words, starting with a verb; degrees are true ones, with the light's reading where it differs."""
    if near is not None and near[1] < SAME_DEG:
        name = near[0].name
        told = name if name.replace(".", "").isdigit() else f"‘{name}’"
        return f"run it at {told}" + ("" if day.kind == "mapped" else _on_the_light(day, mechanical["total_deg"], "total"))
    if day.kind == "mapped":
        return f"enter the day’s table ({plain(float(advised[0]), 0)}° to {plain(float(np.max(advised)), 0)}°)"
    total, light = plain(mechanical["total_deg"]), _on_the_light(day, mechanical["total_deg"], "")
    if mechanical["stop_deg"] == 0.0:
        return f"lock it at {total}°{light}"
    initial, stop = mechanical["initial_deg"], mechanical["stop_deg"]
    if mechanical["springs_note"].startswith("keep"):
        return f"turn the distributor to {total}° total{light}, {plain(initial)}° initial, springs and stop as they are"
    all_in = "" if mechanical["all_in_rpm"] is None else f", all in by about {round(mechanical['all_in_rpm'] / 50.0) * 50:.0f} rpm"
    if initial is None:
        return f"set {total}° total{light}{all_in}"
    return f"set {plain(initial)}° initial with the {plain(stop)}° stop, {total}° total{light}{all_in}"


def _on_the_light(day: AdviceDay, total: float, word: str) -> str:
    """What a light on this damper shows at ``total``, where its mark is known to be off."""
    error = day.mark_error
    if error is None or abs(error) < 0.5:
        return ""
    shown = round((total + error) * 2.0) / 2.0
    return f" ({plain(total)}° {word}, {plain(shown)}° on the light)" if word else f" ({plain(shown)}° on the light)"
