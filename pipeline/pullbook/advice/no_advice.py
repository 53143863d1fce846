"""The advice where none is possible: honest nulls and the step that would give more."""

from pullbook.advice import card, limits_words, sentence
from pullbook.advice.day_view import AdviceDay, ceiling_rows
from pullbook.advice.hand_over import hand_over_pull
from pullbook.handover import Advice
from pullbook.stages import cautions


def no_advice(day: AdviceDay) -> Advice:
    """Honest nulls and the step that would give more."""
    advance_known = len(day.delivered.pull_advance.drop_nulls("advance_deg")) > 0
    home = next((s for s in day.settings if s.baseline), None)
    keys = ("initial_deg", "total_deg", "stop_deg", "start_rpm", "knee_rpm", "knee_deg", "all_in_rpm", "springs_note")
    costs = ("cost_pct", "cost_lo_pct", "cost_hi_pct", "versus_baseline_pct", "versus_lo_pct", "versus_hi_pct")
    why = (
        "repeat the baseline with its advance written down"
        if not advance_known
        else "repeat the baseline: too little of the day can be compared"
    )
    step = {
        "setting": "baseline" if home is None else home.name,
        "initial_deg": None if home is None else home.initial_deg,
        "total_deg": None if home is None else home.total_deg,
        "why": why,
        "expected_saving_pct": None,
    }
    advice = {
        "least_curve": [],
        "table": [],
        "ceiling": ceiling_rows(day.best.ceiling),
        "mechanical": dict.fromkeys((*keys, *costs)) | {"strip": [], "curve": [], "most_torque": None, "notes": []},
        "hand_over_pull": hand_over_pull(day.aligned, home.name) if home is not None else None,
        "next_pulls": [step],
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
