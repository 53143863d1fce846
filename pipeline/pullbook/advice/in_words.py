"""What a day comes to, gathered for its one sentence: the setting in a builder's words, and what holds over most of the rpm."""

import re
from typing import Any

import numpy as np
import polars as pl

from pullbook.advice import sentence
from pullbook.advice.day_view import AdviceDay
from pullbook.advice.ground import Ground
from pullbook.advice.settings_run import Setting, baseline_of, placed
from pullbook.arrays import Array, Mask
from pullbook.wording import plain, to_fifty

SAME_DEG = 0.75
"""A curve this near (root mean square) to the ceiling is held down by it."""

NAMED_DEG = 0.35
"""A curve this near (root mean square) to a setting that was run is that setting: what is set is set to half degrees."""

Change = tuple[float, float, float]


def day_words(
    day: AdviceDay,
    ground: Ground,
    *,
    mechanical: dict[str, Any],
    advised: Array,
    near: tuple[Setting, float] | None,
    change: Change | None,
    held: Change | None,
    most: Change | None,
    noted: Mask,
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
    held
        What the curve with more advance would have changed, where it is not advised because that may be nothing; else None.
    noted
        Rows where knock was noted.
    next_words, enough
        The next pull in words, and whether none is needed.
    """
    state = usual_state(day.best.best, ground)
    home = baseline_of(placed(day.settings))
    near_ceiling = ground.ceiling - advised < SAME_DEG
    limit = day.reading.engine_facts.max_advance_deg
    return sentence.day_sentence(
        sentence.SentenceParts(
            set_words=_set_words(day, mechanical, advised, near),
            change_pct=change,
            held_pct=held,
            most_pct=most,
            tolerance_pct=day.reading.facts.limits.tolerance_pct,
            pulls=day.pulls,
            pull_word="hold" if set(day.aligned.pulls["kind"].to_list()) == {"hold"} else "pull",
            state=state,
            edge=_edge(day, state),
            is_baseline=near is not None and near[0].baseline and near[1] < NAMED_DEG,
            less_deg=0.0 if home is None else float(np.mean(home.curve - advised)),
            knock_binds=bool(np.any(noted & near_ceiling)),
            limit_binds=limit is not None and bool(np.any(near_ceiling & (ground.ceiling > limit - SAME_DEG))),
            none_clean=all(s.knocked for s in day.settings),
            next_words=next_words,
            enough=enough,
            cost_pct=None if day.kind == "mapped" else mechanical.get("cost_pct"),
        )
    )


def usual_state(best: pl.DataFrame, ground: Ground) -> str:
    """What BEST says over most rpm in use: ``above_tested``, ``below_tested``, ``flat`` (not to be placed) or ``inside``."""
    states = best.filter(pl.col("rpm").is_in(ground.rpm.astype(int).tolist()))["state"].drop_nulls().to_list()
    for name in ("above_tested", "below_tested"):
        if 2 * states.count(name) > len(states):
            return name
    return "inside" if 2 * states.count("inside") >= len(states) or states.count("inside") >= states.count("flat") else "flat"


def _edge(day: AdviceDay, state: str) -> str | None:
    """The most advanced setting run, or the least where the best lies below."""
    known = [s for s in day.settings if np.isfinite(s.curve).any()]
    if not known:
        return None
    pick = min if state == "below_tested" else max
    return _called(pick(known, key=lambda s: float(np.nanmean(s.curve))).name)


def _called(name: str) -> str:
    """A setting's name as it stands in a sentence: plain degrees bare, other words in quotes."""
    return name if name.replace(".", "").isdigit() else f"‘{name}’"


def _set_words(day: AdviceDay, mechanical: dict[str, Any], advised: Array, near: tuple[Setting, float] | None) -> str:
    """The setting in a builder's words, starting with a verb; degrees are true ones, with the light's reading where it differs."""
    if near is not None and near[1] < NAMED_DEG:
        return f"run it at {_called(near[0].name)}" + (
            "" if day.kind == "mapped" else _on_the_light(day, mechanical["total_deg"], "total")
        )
    if day.kind == "mapped":
        least, most = (plain(float(f(advised)), 0) for f in (np.min, np.max))
        return f"enter the day’s table ({least}°" + (")" if least == most else f" to {most}°)")
    total, light = plain(mechanical["total_deg"]), _on_the_light(day, mechanical["total_deg"], "")
    if mechanical["stop_deg"] == 0.0:
        return f"lock it at {total}°{light}"
    initial, stop = mechanical["initial_deg"], mechanical["stop_deg"]
    if mechanical["springs_note"].startswith("keep"):
        at_idle = "" if initial is None else f", {plain(initial)}° initial"
        return f"turn the distributor to {total}° total{light}{at_idle}, springs and stop as they are"
    if mechanical["springs_note"].startswith("use"):
        parts = re.split(r": start|: all in|, taken", mechanical["springs_note"].removeprefix("use "))[0]
        return "set " + ("" if initial is None else f"{plain(initial)}° initial, ") + f"{total}° total{light}, with {parts}"
    all_in = "" if mechanical["all_in_rpm"] is None else f", all in by about {to_fifty(mechanical['all_in_rpm'])} rpm"
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
