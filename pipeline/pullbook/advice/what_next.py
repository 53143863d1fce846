"""The next pulls of a day as the contract writes them: the plan, and drift that has to be settled before it."""

from typing import Any

import numpy as np
import polars as pl

from pullbook.advice.day_view import AdviceDay
from pullbook.advice.drift_watch import DriftWatch
from pullbook.advice.ground import Ground
from pullbook.advice.mechanical import Found
from pullbook.advice.next_pulls import NextPull, Plan, passes, plan
from pullbook.advice.settings_run import Setting
from pullbook.advice.sums import plain
from pullbook.handover import Array

CONFIRM = "the curve that should make most torque has not been run as it is: run it once to confirm it"


def plan_for(day: AdviceDay, ground: Ground, found: Found, free: Array) -> Plan:
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
    known = [s for s in day.settings if np.isfinite(s.curve).all()]
    home = next((s for s in known if s.baseline), known[0] if known else None)
    mapped = day.kind == "mapped"
    used = day.aligned.pulls.filter(pl.col("status") != "left_out")["order"].cast(pl.Float64)
    last, middle = day.aligned.pulls["order"].max(), used.mean()
    return plan(
        ground,
        day.settings,
        day.best.knock,
        bases=[*([] if home is None else [home.curve]), free if mapped else cheapest],
        mapped=mapped,
        advised=ground.cheapest_free() if mapped else cheapest,
        advised_pull=NextPull("the table for most torque", None, None, CONFIRM, None) if mapped else _as_on_the_sheet(found, home),
        limits=day.reading.facts.limits,
        max_advance_deg=day.reading.engine_facts.max_advance_deg,
        orders=(float(middle) if isinstance(middle, int | float) else 0.0, int(last) if isinstance(last, int) else 0),
    )


def _as_on_the_sheet(found: Found, home: Setting | None) -> NextPull:
    """The cheapest mechanical curve in the sheet's degrees: what the operator believes differs from the truth by the mark."""
    shift = 0.0 if home is None or home.total_deg is None else home.total_deg - float(np.max(home.curve))
    stop = float(found.cheapest.stop[0])
    total = round((float(found.cheapest.total[0]) + shift) * 2.0) / 2.0
    part = found.cheapest_part
    with_parts = "other springs" if part is None else part.words
    return NextPull(f"{plain(total)} total, {with_parts}", round(total - stop, 1), total, CONFIRM, None)


def next_rows(day: AdviceDay, found: Plan, watch: DriftWatch) -> list[dict[str, Any]]:
    """Next pulls as the contract writes them; where drift is in the way, the baseline comes first."""
    rows = [_row(p.setting, p.initial_deg, p.total_deg, p.why, p.saving) for p in found.pulls]
    home = next((s for s in day.settings if s.baseline), None)
    limit = day.reading.engine_facts.max_advance_deg
    if home is None or found.enough or home.knocked or passes(limit, home) or not (watch.no_return or watch.oil):
        return rows
    if watch.oil:
        first, last = watch.oil
        why = f"go back and check oil temperature: the level drifts with it ({first:.0f} to {last:.0f} °C); "
        why += "bring it back and repeat the baseline"
    else:
        why = "repeat the baseline: without a return to it, drift and timing cannot be told apart"
    again = _row(home.name, home.initial_deg, home.total_deg, why, found.worth.get(home.name))
    return [again, *[r for r in rows if r["setting"] != home.name]][:3]


def _row(setting: str, initial: float | None, total: float | None, why: str, saving: float | None) -> dict[str, Any]:
    saved = None if saving is None else round(100.0 * saving, 3)
    return {"setting": setting, "initial_deg": initial, "total_deg": total, "why": why, "expected_saving_pct": saved}


def next_words(day: AdviceDay, rows: list[dict[str, Any]]) -> str | None:
    """The first of the next pulls, for the day's sentence; sheet degrees are called so where they differ from true ones."""
    if not rows:
        return None
    error = day.mark_error
    scale = " on the sheet" if error is not None and abs(error) >= 0.5 and rows[0]["total_deg"] is not None else ""
    return f"run {rows[0]['setting']}{scale} ({rows[0]['why']})"
