"""The next pulls of a day as the contract writes them: the plan, and drift that has to be settled before it."""

from typing import Any

import numpy as np
import polars as pl

from pullbook.advice.candidates import Bounds, Candidate, NextPull, noted_rows, passes
from pullbook.advice.curve_shapes import Shapes
from pullbook.advice.day_view import AdviceDay
from pullbook.advice.drift_watch import DriftWatch
from pullbook.advice.ground import Ground
from pullbook.advice.next_pulls import NextPulls, plan
from pullbook.advice.parts import Part
from pullbook.advice.qualifying import Qualified
from pullbook.advice.settings_run import Setting, baseline_of, home_of
from pullbook.arrays import Array
from pullbook.wording import plain, to_fifty

CONFIRM = "the curve that should make most torque has not been run as it is: run it once to confirm it"


def plan_for(day: AdviceDay, ground: Ground, found: Qualified, free: Array) -> NextPulls:
    """Weigh what may be run next on a day, for the kind of ignition it has.

    Parameters
    ----------
    day, ground
        The day and its rows.
    found
        The mechanical curve of the day.
    free
        The free curve on the rows of ``ground``.
    """
    cheapest = found.cheapest.curves(ground.rpm)[0]
    home = home_of(day.settings)
    mapped = day.kind == "mapped"
    used = day.aligned.pulls.filter(pl.col("status") != "left_out")["order"].cast(pl.Float64)
    last, middle = day.aligned.pulls["order"].max(), used.mean()
    return plan(
        ground,
        day.settings,
        Bounds(noted_rows(day.best.knock, ground.rpm), day.reading.facts.limits, day.reading.engine_facts.max_advance_deg),
        bases=[*([] if home is None else [home.curve]), free if mapped else cheapest],
        mapped=mapped,
        advised=Candidate(NextPull("the table for most torque", None, None, CONFIRM, None), ground.cheapest_free())
        if mapped
        else Candidate(as_on_the_sheet(found.cheapest, found.cheapest_part, day.settings), cheapest),
        orders=(float(middle) if isinstance(middle, int | float) else 0.0, int(last) if isinstance(last, int) else 0),
    )


def as_on_the_sheet(shape: Shapes, part: Part | None, settings: list[Setting]) -> NextPull:
    """A mechanical curve (N = 1) in the sheet's degrees: what the operator believes differs from the truth by the mark.

    Parameters
    ----------
    shape, part
        The curve, and what makes it (None: springs still to be found).
    settings
        What was run: the baseline tells how the sheet's total stands to the true one.
    """
    home = home_of(settings)
    shift = 0.0 if home is None or home.total_deg is None else home.total_deg - float(np.max(home.curve))
    total = float(np.floor((float(shape.total[0]) + shift) * 2.0 + 0.02) / 2.0)  # half degrees, never up past a ceiling
    start, all_in = (to_fifty(float(n[0])) for n in (shape.start, shape.all_in))
    with_parts = f"springs that move from {start} to {all_in} rpm" if part is None else part.words
    return NextPull(f"{plain(total)} total, {with_parts}", round(total - float(shape.stop[0]), 1), total, CONFIRM, None)


def next_rows(day: AdviceDay, found: NextPulls, watch: DriftWatch, chosen: NextPull) -> list[dict[str, Any]]:
    """Next pulls as the contract writes them; what stands in the way of the plan comes first.

    Parameters
    ----------
    day, found, watch
        The day, its plan, and whether drift stands in the way.
    chosen
        The mechanical curve advised, as it would stand on the sheet.

    Notes
    -----
    Where knock was noted on every setting run, the curve advised under it comes before anything else: nobody has run it yet.
    Where drift and timing look alike, drift goes with the oil, or pulls repeat far worse than their bench, the baseline comes
    first, and no plan is enough without it. In the last case any setting will do where the baseline must not be run again.
    """
    rows = [_row(p.setting, p.initial_deg, p.total_deg, p.why, p.saving) for p in found.pulls]
    home = baseline_of(day.settings)
    limit = day.reading.engine_facts.max_advance_deg
    if day.settings and all(s.knocked for s in day.settings):
        margin = plain(day.reading.facts.limits.margin_below_knock_deg)
        why = f"knock was noted on every setting run: run it {margin}° under the least of them, with somebody listening"
        mapped = day.kind == "mapped"
        name = "the day’s table" if mapped else chosen.setting
        clear = _row(name, None if mapped else chosen.initial_deg, None if mapped else chosen.total_deg, why, None)
        return [clear, *rows][:3]
    in_the_way = day.best.rough or watch.one_way or ((watch.no_return or watch.oil is not None) and not found.enough)
    to_repeat = [*([] if home is None else [home]), *(day.settings if day.best.rough else [])]
    again = next((s for s in to_repeat if not (s.knocked or passes(limit, s))), None)
    if again is None or not in_the_way:
        return rows
    if day.best.rough:
        which = "the baseline" if again is home else "it"
        why = f"repeat {which}, and find out first why the pulls differ far more than this dyno does"
    elif watch.oil:
        first, last = watch.oil
        why = f"go back and check oil temperature: the level drifts with it ({first:.0f} to {last:.0f} °C); "
        why += "bring it back and repeat the baseline"
    else:
        why = "repeat the baseline: without a return to it, drift and timing cannot be told apart"
    first_row = _row(again.name, again.initial_deg, again.total_deg, why, found.worth.get(again.name))
    return [first_row, *[r for r in rows if r["setting"] != again.name]][:3]


def unsettled_rows(day: AdviceDay, found: Qualified) -> list[dict[str, Any]]:
    """What to run where more advance may or may not gain: the baseline and the curve that would be advised for it, once more each.

    Parameters
    ----------
    day
        The day; its baseline has a known advance.
    found
        The mechanical curve that expected loss alone would advise.
    """
    home = baseline_of(day.settings)
    most = as_on_the_sheet(found.chosen, found.part, day.settings)
    mapped = day.kind == "mapped"
    why = "more pulls of it and of the baseline: what it gains cannot be told from nothing yet"
    name = "the table for most torque" if mapped else most.setting
    rows = [_row(name, None if mapped else most.initial_deg, None if mapped else most.total_deg, why, None)]
    back = "the other side of that comparison"
    return rows if home is None else [*rows, _row(home.name, home.initial_deg, home.total_deg, back, None)]


def _row(setting: str, initial: float | None, total: float | None, why: str, saving: float | None) -> dict[str, Any]:
    saved = None if saving is None else round(100.0 * saving, 3)
    return {"setting": setting, "initial_deg": initial, "total_deg": total, "why": why, "expected_saving_pct": saved}


def next_words(day: AdviceDay, rows: list[dict[str, Any]]) -> str | None:
    """The first of the next pulls, for the day's sentence; sheet degrees are called so where they differ from true ones."""
    if not rows:
        return None
    error = day.mark_error
    told = error is not None and abs(error) >= 0.5 and rows[0]["total_deg"] is not None and day.kind != "mapped"
    scale = " on the sheet" if told else ""
    return f"run {rows[0]['setting']}{scale} ({rows[0]['why']})"
