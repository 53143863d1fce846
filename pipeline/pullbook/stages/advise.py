"""From estimate to spanner: what to set, what it costs and gains, what to run next, and what the tune card needs.

Everything comes from one posterior: decisions are made by expected loss over its draws, never by the loss at its mean.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pullbook.advice import cautions, drift_watch, free_curve, limits_words, no_gain, sums, table
from pullbook.advice.candidates import noted_rows
from pullbook.advice.card_object import card_object
from pullbook.advice.day_view import AdviceDay, ceiling_rows, look_at
from pullbook.advice.ground import Ground, interval
from pullbook.advice.hand_over import hand_over_pull
from pullbook.advice.in_words import day_words
from pullbook.advice.mechanical import as_run, search
from pullbook.advice.mechanical_advice import change_from, mechanical_object
from pullbook.advice.next_pulls import ENOUGH
from pullbook.advice.no_advice import no_advice
from pullbook.advice.parts import Parts, parts_for
from pullbook.advice.qualifying import Qualified
from pullbook.advice.settings_run import Setting, baseline_of, nearest, placed
from pullbook.advice.what_next import as_on_the_sheet, next_rows, next_words, plan_for, unsettled_rows
from pullbook.arrays import Array
from pullbook.handover import Advice, AlignedDay, BestDay, DayReading, DeliveredDay


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
    noted = noted_rows(day.best.knock, ground.rpm)
    parts = parts_for(day.kind, ignition, day.settings, day.delivered.shapes, ground.rpm)
    versus = _baseline_torque(day, ground)
    wished = _choose(day, ground, ground, parts)
    gain, home = _change(ground, wished.advised, versus), baseline_of(day.settings)
    is_held = no_gain.is_for_nothing(ground, home, wished.advised, None if gain is None else gain[1])
    chosen = _held(day, ground, parts, home) if is_held and home is not None else wished
    # what would make most torque is still asked about and run next: only what is set does not lean on it
    found = replace(chosen.found, cheapest=wished.found.cheapest, cheapest_part=wished.found.cheapest_part)
    mechanical, shape = mechanical_object(ground, found, versus, noted, stop_known=parts.stop_known)
    free, points, values = chosen.free, chosen.points, chosen.values
    advised = chosen.advised if day.kind == "mapped" else shape.curves(ground.rpm)[0]
    plan = plan_for(day, ground, found, wished.free)
    near = nearest(day.settings, advised)
    watch = drift_watch.watch(day.aligned, day.settings, day.best.repeatability)
    pulls = next_rows(day, plan, watch, chosen=as_on_the_sheet(found.chosen, found.part, day.settings))
    cheapest = ground.cheapest_free() if day.kind == "mapped" else found.cheapest.curves(ground.rpm)[0]
    if is_held and not pulls and _far_from(ground, advised, wished.advised):
        pulls = unsettled_rows(day, wished.found)
    enough = plan.enough and not pulls
    words = day_words(
        day,
        ground,
        mechanical=mechanical,
        advised=advised,
        near=near,
        change=_change(ground, advised, versus),
        held=gain if is_held else None,
        most=_change(ground, cheapest, versus),
        noted=noted,
        next_words=next_words(day, pulls),
        enough=enough,
    )
    advice = {
        "least_curve": _curve_rows(ground, free),
        "table": _table_rows(day, points, values),
        "ceiling": ceiling_rows(day.ceiling),
        "mechanical": mechanical,
        "hand_over_pull": _hand_over(day, advised),
        "next_pulls": pulls,
        "enough": enough,
        "sentence": words,
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
        tested_limit=limits_words.limit_line(
            ground, day.best.knock, day.fuel, day.reading.engine_facts.max_advance_deg, set_deg=float(np.max(advised))
        ),
        warnings=(*_span_warning(day, ground), *_late_initial(mechanical if day.kind != "mapped" else None)),
        questions=_questions(day, ground, parts_known=parts.stop_known or day.kind == "mapped"),
    )


@dataclass(frozen=True, slots=True)
class _Chosen:
    """What to set on one ground: the mechanical curve found, the free curve, the table fitted to it, and ``advised``: the one of
    them that fits the ignition, ° BTDC on the rows, (R,)."""

    found: Qualified
    free: Array
    points: Array
    values: Array
    advised: Array


def _choose(day: AdviceDay, for_parts: Ground, for_free: Ground, parts: Parts) -> _Chosen:
    run_clean = [s.curve for s in placed(day.settings) if not s.knocked]
    found = as_run(for_parts, search(for_parts, parts), run_clean)
    free = free_curve.least_curve(for_free)
    points, values = table.fit_table(for_free, free, day.reading.engine_facts.ignition.breakpoints_rpm)
    mapped = day.kind == "mapped"
    advised = table.as_entered(for_free.rpm, points, values, free) if mapped else found.chosen.curves(for_parts.rpm)[0]
    return _Chosen(found, free, points, values, advised)


def _held(day: AdviceDay, ground: Ground, parts: Parts, home: Setting) -> _Chosen:
    """What to set where more advance than the baseline's may bring nothing: no more than the baseline's."""
    under = no_gain.under_baseline(ground, home)
    chosen = _choose(day, no_gain.for_parts(ground, home), under, no_gain.as_fitted(parts))
    found = no_gain.no_higher(ground, chosen.found, home)
    return replace(chosen, found=found, advised=chosen.advised if day.kind == "mapped" else found.chosen.curves(ground.rpm)[0])


def _far_from(ground: Ground, advised: Array, wished: Array) -> bool:
    """Whether one draw in ten or more gives away over 0.3 % at ``advised`` against ``wished``, (R,) each: not enough then."""
    return bool(np.mean(ground.losses(advised) - ground.losses(wished) > ENOUGH) >= 0.10)


def _baseline_torque(day: AdviceDay, ground: Ground) -> Array | None:
    """ln torque the baseline setting would repeat to, (D, R); from its delivered curve where the posterior has no mean of it."""
    home = baseline_of(day.settings)
    if home is None:
        return None
    mean = ground.posterior.setting_means.get(home.name)
    if mean is not None and np.isfinite(mean).all(axis=0).any():
        return mean
    if not np.isfinite(home.curve).any():
        return None
    loss = ground.posterior.loss(home.curve)
    return np.asarray(ground.posterior.log_torque + np.log1p(-np.minimum(loss, 0.9)))


def _change(ground: Ground, curve: Array, versus: Array | None) -> tuple[float, float, float] | None:
    """Change of torque of ``curve`` against the baseline with its 90 % interval, %."""
    if versus is None:
        return None
    mean, lo, hi = (100.0 * v for v in interval(change_from(ground, curve, versus)))
    return (mean, lo, hi) if np.isfinite((mean, lo, hi)).all() else None


def _hand_over(day: AdviceDay, advised: Array) -> str | None:
    """The pull to hand over: of the setting nearest to the one advised among those without noted knock; None where none is."""
    near = nearest([s for s in day.settings if not s.knocked], advised)
    return None if near is None else hand_over_pull(day.aligned, near[0].name)


def _curve_rows(ground: Ground, free: Array) -> list[dict[str, Any]]:
    cost = free_curve.costs(ground, free)
    lowered = np.floor(free * 100.0 + 1e-6) / 100.0
    return [
        {"rpm": int(n), "advance_deg": float(lowered[i]), "cost_pct": round(100.0 * float(cost[i]), 3)}
        for i, n in enumerate(ground.rpm)
    ]


def _table_rows(day: AdviceDay, points: Array, values: Array) -> list[dict[str, Any]]:
    offset, delay = day.scale("log_minus_true_deg"), day.scale("delay_us")
    rows: list[dict[str, Any]] = []
    for rpm, value in zip(points, values, strict=True):
        known = np.isfinite(value)
        enter = (
            sums.enter_deg(float(value), offset, float(rpm), delay) if known and offset is not None and delay is not None else None
        )
        enter = None if enter is None else round(enter, 3)
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
        delay_us=day.scale("delay_us") if _log_was_checked(day) else None,
        at_rpm=float(ground.rpm[-1]),
    )


def _log_was_checked(day: AdviceDay) -> bool:
    """Whether anything but the log itself speaks of its delay; else the delay is what was presumed, and no sum to work with."""
    return not set(day.delivered.evidence["source"].drop_nulls().to_list()) <= {"log"}


def _span_warning(day: AdviceDay, ground: Ground) -> tuple[str, ...]:
    """A used_rpm that no pull reached counts for nothing, and that is said."""
    used = day.reading.engine_facts.used_rpm
    if used is None or ((ground.rpm >= min(used) - 1.0) & (ground.rpm <= max(used) + 1.0)).any():
        return ()
    return (f"used_rpm {min(used):.0f}–{max(used):.0f} was not tested: the advice counts all rpm that were",)


def _late_initial(mechanical: dict[str, Any] | None) -> tuple[str, ...]:
    """An initial after top dead centre follows from a long stop and little total: said, for nobody starts an engine with it."""
    initial = None if mechanical is None else mechanical["initial_deg"]
    if initial is None or initial >= 0:
        return ()
    return (f"the initial of {initial:.1f}° lies after top dead centre: engines hardly start or idle so; a shorter stop is wanted",)


def _questions(day: AdviceDay, ground: Ground, *, parts_known: bool) -> tuple[str, ...]:
    if parts_known:
        return ()
    if day.kind == "locked":
        ask = f"Is the advance locked, or are weights all in below {ground.rpm[0]:.0f} rpm? Write ignition: {{kind: locked}} or "
        return (ask + "{kind: mechanical} in engine.yaml; until then the initial is not known.",)
    ask = "What stop does the distributor have? Write stops_deg in engine.yaml, or initial_deg and total_deg in the pull sheet; "
    return (ask + "until then the initial is not known.",)
