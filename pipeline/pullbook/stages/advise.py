"""From estimate to spanner: what to set, what it costs and gains, what to run next, and what the tune card needs.

Everything comes from one posterior: decisions are made by expected loss over its draws, never by the loss at its mean.
"""

from typing import Any

import numpy as np
import polars as pl

from pullbook.advice import drift_watch, free_curve, limits_words, next_pulls, sentence, sums, table
from pullbook.advice.card_object import card_object
from pullbook.advice.curve_shapes import Shapes
from pullbook.advice.day_view import AdviceDay, ceiling_rows, look_at
from pullbook.advice.ground import Ground, interval
from pullbook.advice.hand_over import hand_over_pull
from pullbook.advice.mechanical import Found, search
from pullbook.advice.mechanical_advice import change_from, mechanical_object
from pullbook.advice.no_advice import no_advice
from pullbook.advice.parts import parts_for
from pullbook.advice.settings_run import Setting, nearest
from pullbook.handover import Advice, AlignedDay, Array, BestDay, DayReading, DeliveredDay
from pullbook.stages import cautions


def advise(reading: DayReading, aligned: AlignedDay, delivered: DeliveredDay, best: BestDay) -> Advice:
    """Turn a day's estimates into advice.

    Parameters
    ----------
    reading, aligned, delivered, best
        What the earlier stages handed on, all of the same day. ``best.posterior`` may be None (advance not known, or no pulls).

    Returns
    -------
    Advice
        The contract's ``advice`` and ``card`` objects with sums, cautions and what was not tested. What the day does not
        support is null, with a next step.
    """
    day = look_at(reading, aligned, delivered, best)
    if day.ground is None:
        return no_advice(day)
    return _something(day, day.ground)


def _something(day: AdviceDay, ground: Ground) -> Advice:
    ignition = day.reading.engine_facts.ignition
    noted = next_pulls.noted_rows(day.best.knock, ground.rpm)
    parts = parts_for(day.kind, ignition, day.settings, day.delivered.shapes, ground.rpm)
    found = search(ground, parts)
    versus = _baseline_torque(day, ground)
    mechanical, shape = mechanical_object(ground, found, versus, noted, stop_known=parts.stop_known)
    free = free_curve.least_curve(ground)
    advised = free if day.kind == "mapped" else shape.curves(ground.rpm)[0]
    plan = _plan(day, ground, found, free)
    near = nearest(day.settings, advised)
    change = None if versus is None else _percent(interval(change_from(ground, advised, versus)))
    watch = drift_watch.watch(day.aligned, day.settings, day.best.repeatability)
    pulls = _pulls(day, plan, watch)
    state = _state(day.best.best, ground)
    outcome = sentence.Outcome(
        set_words=_set_words(day, mechanical, shape, advised, near),
        change_pct=change,
        tolerance_pct=day.reading.facts.limits.tolerance_pct,
        pulls=day.pulls,
        state=state,
        tested=(float(np.min(ground.tested_lo)), float(np.max(ground.posterior.tested_hi_deg))),
        is_baseline=near is not None and near[0].baseline and near[1] < 0.75,
        less_deg=_less_than_baseline(day, advised),
        knock_binds=bool(np.any(noted & (ground.ceiling - advised < 0.75))),
        next_words=_next_words(pulls),
        enough=plan.enough,
    )
    advice = {
        "least_curve": _curve_rows(ground, free),
        "table": _table_rows(day, ground, free),
        "ceiling": ceiling_rows(day.ceiling),
        "mechanical": mechanical,
        "hand_over_pull": None if near is None else hand_over_pull(day.aligned, near[0].name),
        "next_pulls": pulls,
        "enough": plan.enough,
        "sentence": sentence.day_sentence(outcome),
        "knock_facts": day.facts,
        "nearest_setting": None if near is None else near[0].name,
        "regret_pct": [round(100.0 * v, 3) for v in plan.regret],
    }
    curve_low = float(np.min(advised))
    return Advice(
        advice=advice,
        card=card_object(day, ground, shape, advised, mechanical, near),
        not_tested=limits_words.not_tested(
            ground,
            fuel=day.fuel,
            vacuum=day.reading.facts.vacuum_advance,
            curve_low=curve_low,
            max_rpm_wanted=day.reading.engine_facts.used_rpm,
            facts=day.facts,
        ),
        cautions=cautions.for_job(
            kind=day.kind,
            vacuum=day.reading.facts.vacuum_advance,
            steps_up=any(p.steps_up for p in plan.pulls),
            steps_down=any(p.steps_down for p in plan.pulls),
            changes_parts=day.kind in (None, "mechanical") and (found.part is None or found.part.spring is not None),
            has_setting=True,
        ),
        sums=_sums(day, ground, mechanical if day.kind != "mapped" else None),
        tested_limit=limits_words.tested_limit(ground, day.best.knock, day.fuel, day.reading.engine_facts.max_advance_deg),
        questions=_questions(day, parts_known=parts.stop_known or day.kind in ("mapped", "locked")),
    )


def _baseline_torque(day: AdviceDay, ground: Ground) -> Array | None:
    """ln torque the baseline setting would repeat to, (D, R); from its delivered curve where the posterior has no mean of it."""
    home = next((s for s in day.settings if s.baseline), None)
    if home is None:
        return None
    mean = ground.posterior.setting_means.get(home.name)
    if mean is not None and np.isfinite(mean).all(axis=0).any():
        return mean
    if not np.isfinite(home.curve).any():
        return None
    loss = ground.posterior.loss(home.curve)
    return np.asarray(ground.posterior.log_torque + np.log1p(-np.minimum(loss, 0.9)))


def _plan(day: AdviceDay, ground: Ground, found: Found, free: Array) -> next_pulls.Plan:
    cheapest = found.cheapest.curves(ground.rpm)[0]
    known = [s for s in day.settings if np.isfinite(s.curve).all()]
    home = next((s for s in known if s.baseline), known[0] if known else None)
    mapped = day.kind == "mapped"
    used = day.aligned.pulls.filter(pl.col("status") != "left_out")["order"].cast(pl.Float64)
    last = day.aligned.pulls["order"].max()
    middle = used.mean()
    return next_pulls.plan(
        ground,
        day.settings,
        day.best.knock,
        bases=[*([] if home is None else [home.curve]), free if mapped else cheapest],
        tilt=mapped,
        advised=ground.cheapest_free() if mapped else cheapest,
        advised_pull=next_pulls.NextPull("the table advised", None, None, _CONFIRM, None)
        if mapped
        else _as_on_the_sheet(found, home),
        limits=day.reading.facts.limits,
        max_advance_deg=day.reading.engine_facts.max_advance_deg,
        orders=(float(middle) if isinstance(middle, (int, float)) else 0.0, int(last) if isinstance(last, int) else 0),
    )


_CONFIRM = "the curve that should make most torque has not been run as it is: run it once to confirm it"


def _as_on_the_sheet(found: Found, home: Setting | None) -> next_pulls.NextPull:
    """The cheapest mechanical curve in the sheet's degrees: what the operator believes differs from the truth by the mark."""
    shift = 0.0 if home is None or home.total_deg is None else home.total_deg - float(np.max(home.curve))
    total, stop = float(found.cheapest.total[0]) + shift, float(found.cheapest.stop[0])
    total = round(total * 2.0) / 2.0
    part = found.cheapest_part
    with_parts = "other springs" if part is None else part.words
    return next_pulls.NextPull(f"{sums.plain(total)} total, {with_parts}", total - stop, total, _CONFIRM, None)


def _pulls(day: AdviceDay, plan: next_pulls.Plan, watch: drift_watch.DriftWatch) -> list[dict[str, Any]]:
    """Next pulls as the contract writes them; where drift is in the way, the baseline comes first."""
    rows = [
        {
            "setting": p.setting,
            "initial_deg": p.initial_deg,
            "total_deg": p.total_deg,
            "why": p.why,
            "expected_saving_pct": None if p.saving is None else round(100.0 * p.saving, 3),
        }
        for p in plan.pulls
    ]
    home = next((s for s in day.settings if s.baseline), None)
    if home is None or plan.enough or not (watch.no_return or watch.oil):
        return rows
    if watch.oil:
        first, last = watch.oil
        why = f"go back and check oil temperature: the level drifts with it ({first:.0f} to {last:.0f} °C); "
        why += "bring it back and repeat the baseline"
    else:
        why = "repeat the baseline: without a return to it, drift and timing cannot be told apart"
    same = next((r for r in rows if r["setting"] == home.name), None)
    saving = same["expected_saving_pct"] if same else None
    first_row = {"setting": home.name, "initial_deg": home.initial_deg, "total_deg": home.total_deg, "why": why}
    return [first_row | {"expected_saving_pct": saving}, *[r for r in rows if r["setting"] != home.name]][:3]


def _next_words(pulls: list[dict[str, Any]]) -> str | None:
    if not pulls:
        return None
    return f"run {pulls[0]['setting']} ({pulls[0]['why']})"


def _state(best: pl.DataFrame, ground: Ground) -> str:
    """The state that holds over most of the rows in use."""
    states = best.filter(pl.col("rpm").is_in(ground.rpm.astype(int).tolist()))["state"].drop_nulls().to_list()
    names = ("inside", "above_tested", "below_tested", "flat")
    return max(names, key=lambda name: states.count(name)) if states else "flat"


def _set_words(
    day: AdviceDay, mechanical: dict[str, Any], shape: Shapes, advised: Array, near: tuple[Setting, float] | None
) -> str:
    """The setting in a builder's words, starting with a verb."""
    if near is not None and near[1] < 0.75:
        ran = f"run it at {near[0].name}"
        if near[0].total_deg is not None and sums.plain(near[0].total_deg) not in near[0].name:
            ran += f" ({sums.plain(near[0].total_deg)}° total)"
        return ran
    if day.kind == "mapped":
        return f"enter the table below ({sums.plain(float(advised[0]), 0)}° rising to {sums.plain(float(np.max(advised)), 0)}°)"
    total = sums.plain(mechanical["total_deg"])
    if mechanical["stop_deg"] == 0.0:
        return f"lock it at {total}°"
    initial, stop = mechanical["initial_deg"], mechanical["stop_deg"]
    if mechanical["springs_note"].startswith("keep"):
        return f"turn the distributor to {total}° total ({sums.plain(initial)}° initial), springs and stop as they are"
    all_in = f"all in by about {round(float(shape.all_in[0]) / 50.0) * 50:.0f} rpm"
    if initial is None:
        return f"set {total}° total, {all_in}"
    return f"set {sums.plain(initial)}° initial with the {sums.plain(stop)}° stop, {total}° total, {all_in}"


def _less_than_baseline(day: AdviceDay, advised: Array) -> float:
    """Degrees the advised curve lies under the baseline's, mean over the rows in use; 0 where that is not known."""
    home = next((s.curve for s in day.settings if s.baseline and np.isfinite(s.curve).all()), None)
    return 0.0 if home is None else float(np.mean(home - advised))


def _percent(values: tuple[float, float, float]) -> tuple[float, float, float] | None:
    scaled = (100.0 * values[0], 100.0 * values[1], 100.0 * values[2])
    return scaled if np.isfinite(scaled).all() else None


def _curve_rows(ground: Ground, free: Array) -> list[dict[str, Any]]:
    cost = free_curve.costs(ground, free)
    lowered = np.floor(free * 100.0 + 1e-6) / 100.0
    return [
        {"rpm": int(n), "advance_deg": float(lowered[i]), "cost_pct": round(100.0 * float(cost[i]), 3)}
        for i, n in enumerate(ground.rpm)
    ]


def _table_rows(day: AdviceDay, ground: Ground, free: Array) -> list[dict[str, Any]]:
    points, values = table.fit_table(ground, free, day.reading.engine_facts.ignition.breakpoints_rpm)
    offset, delay = day.scale("log_minus_true_deg"), day.scale("delay_us")
    rows: list[dict[str, Any]] = []
    for rpm, value in zip(points, values, strict=True):
        known = np.isfinite(value)
        enter = (
            sums.enter_deg(float(value), offset, float(rpm), delay) if known and offset is not None and delay is not None else None
        )
        rows.append({"rpm": float(rpm), "delivered_deg": float(value) if known else None, "enter_deg": enter})
    return rows


def _sums(day: AdviceDay, ground: Ground, mechanical: dict[str, Any] | None) -> tuple[dict[str, str], ...]:
    return sums.bench_sums(
        initial_deg=None if mechanical is None else mechanical["initial_deg"],
        stop_deg=None if mechanical is None else mechanical["stop_deg"],
        total_deg=None if mechanical is None else mechanical["total_deg"],
        mark_error_deg=day.mark_error,
        mark_uncertainty_deg=day.scale("mark_uncertainty_deg"),
        damper_diameter_mm=day.reading.engine_facts.damper_diameter_mm,
        delay_us=day.scale("delay_us"),
        at_rpm=float(ground.rpm[-1]),
    )


def _questions(day: AdviceDay, *, parts_known: bool) -> tuple[str, ...]:
    if parts_known:
        return ()
    ask = "What stop does the distributor have? Write stops_deg in engine.yaml, or initial_deg and total_deg in the pull sheet; "
    return (ask + "until then the initial is not known.",)
