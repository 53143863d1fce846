"""The advice where none is possible: honest nulls and the step that would give more."""

from typing import Any

from pullbook.advice import card, cautions, limits_words, sentence
from pullbook.advice.day_view import AdviceDay, ceiling_rows
from pullbook.advice.hand_over import hand_over_pull
from pullbook.advice.settings_run import Setting, baseline_of
from pullbook.handover import Advice
from pullbook.pulls.labels import with_total
from pullbook.wording import plain

FIRST_STEP_BACK_DEG = 8.0


def no_advice(day: AdviceDay) -> Advice:
    """Honest nulls and the step that would give more."""
    advance_known = len(day.delivered.pull_advance.drop_nulls("advance_deg")) > 0
    home = baseline_of(day.settings)
    keys = ("initial_deg", "total_deg", "stop_deg", "start_rpm", "knee_rpm", "knee_deg", "all_in_rpm", "springs_note")
    costs = ("cost_pct", "cost_lo_pct", "cost_hi_pct", "versus_baseline_pct", "versus_lo_pct", "versus_hi_pct")
    advice = {
        "least_curve": [],
        "table": [],
        "ceiling": ceiling_rows(day.ceiling),
        "mechanical": dict.fromkeys((*keys, *costs)) | {"strip": [], "curve": [], "most_torque": None, "notes": []},
        "hand_over_pull": hand_over_pull(day.aligned, home.name) if home is not None else None,
        "next_pulls": _first_steps(home, advance_known=advance_known),
        "enough": False,
        "sentence": sentence.nothing_sentence(day.pulls, advance_known),
        "knock_facts": day.facts,
        "nearest_setting": None,
        "regret_pct": None,
    }
    vacuum = day.reading.facts.vacuum_advance
    return Advice(
        advice=advice,
        card={"readings": [], "mm_per_deg": card.damper_mm(day.reading.engine_facts.damper_diameter_mm), "scale": ""},
        not_tested=limits_words.not_tested(
            None, fuel=day.fuel, vacuum=vacuum, curve_low=None, max_rpm_wanted=None, facts=day.facts
        ),
        cautions=cautions.for_job(
            kind=day.kind, vacuum=vacuum, steps_up=False, steps_down=False, changes_parts=False, has_setting=False
        ),
        sums=(),
        tested_limit=None,
        questions=(),
    )


def _first_steps(home: Setting | None, *, advance_known: bool) -> list[dict[str, Any]]:
    """Where one setting alone is known, one pull well back says more than any other; else the baseline, with its advance."""
    name, initial, total = ("baseline", None, None) if home is None else (home.name, home.initial_deg, home.total_deg)
    again = {"setting": name, "initial_deg": initial, "total_deg": total, "expected_saving_pct": None}
    if not advance_known:
        return [again | {"why": "repeat the baseline with its advance written down"}]
    again |= {"why": "repeat the baseline: shows how well pulls repeat, and whether the day drifts"}
    if total is None:
        return [again]
    back = {
        "setting": with_total(name, total, total - FIRST_STEP_BACK_DEG) or f"{plain(total - FIRST_STEP_BACK_DEG)}° total",
        "initial_deg": None if initial is None else initial - FIRST_STEP_BACK_DEG,
        "total_deg": total - FIRST_STEP_BACK_DEG,
        "why": f"{plain(FIRST_STEP_BACK_DEG)}° back from the baseline: width tells most, and the retarded side is the careful one",
        "expected_saving_pct": None,
    }
    return [back, again]
