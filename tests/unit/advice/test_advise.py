"""The whole advice on days of known draws: consistent sums, honest nulls, plain words."""

import json

import numpy as np
import pytest
from tests.unit.advice.synthetic import RPM, Day, Pull, locked, sprung

from pullbook.facts import DayFacts, EngineFacts, Ignition, Spring
from pullbook.handover import Advice
from pullbook.stages.advise import advise

SPRINGS = (Spring("light", 1000.0, 2600.0, 20.0), Spring("heavy", 1400.0, 4200.0, 20.0))
RISING = np.linspace(26.0, 36.0, len(RPM))


def mechanical_day(**more: object) -> Day:
    engine = EngineFacts(damper_diameter_mm=180.0, ignition=Ignition(kind="mechanical", stops_deg=(16.0, 20.0), springs=SPRINGS))
    pulls = locked(32, 22, 40, 36, 26, 32)
    return Day(pulls, best=RISING, engine=engine, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def mechanical() -> Advice:
    return advise(*mechanical_day(timing={"zero_mark_error_deg": 1.5, "mark_uncertainty_deg": 0.5}).parts())


def test_initial_and_stop_make_the_total_with_owned_parts(mechanical: Advice) -> None:
    m = mechanical.advice["mechanical"]
    assert m["stop_deg"] in (16.0, 20.0)
    assert m["initial_deg"] + m["stop_deg"] == pytest.approx(m["total_deg"], abs=1e-9)
    spring = next(s for s in SPRINGS if s.name in m["springs_note"])
    assert m["all_in_rpm"] == pytest.approx(spring.start_rpm + (spring.all_in_rpm - spring.start_rpm) * m["stop_deg"] / 20.0)


def test_the_curve_never_passes_the_ceiling(mechanical: Advice) -> None:
    m = mechanical.advice["mechanical"]
    for row in mechanical.advice["ceiling"]:
        part = np.clip((row["rpm"] - m["start_rpm"]) / (m["all_in_rpm"] - m["start_rpm"]), 0, 1)
        assert m["initial_deg"] + m["stop_deg"] * part <= row["advance_deg"] + 1e-9


def test_readings_are_on_the_damper_and_the_card_says_so(mechanical: Advice) -> None:
    m = mechanical.advice["mechanical"]
    readings = mechanical.card["readings"]
    assert readings[-1]["up_deg"] == pytest.approx(m["total_deg"] + 1.5, abs=0.3)
    assert "1.5° added" in mechanical.card["scale"]
    assert mechanical.card["mm_per_deg"] == pytest.approx(1.571)
    assert [r["rpm"] % 500 for r in readings] == [0] * len(readings)


def test_sums_shown_are_the_sums_of_the_advice(mechanical: Advice) -> None:
    texts = {s["what"]: s["text"] for s in mechanical.sums}
    assert "initial + mechanical = total" in texts
    initial, stop, total = (float(x.strip(" °")) for x in texts["initial + mechanical = total"].replace("=", "+").split("+"))
    assert initial + stop == pytest.approx(total)


@pytest.mark.parametrize(("evidence", "said"), [(("log", "light"), True), (("log",), False)])
def test_a_delay_nothing_checked_is_no_sum(evidence: tuple[str, ...], said: bool) -> None:
    shown = advise(*mechanical_day(timing={"log_minus_true_deg": 0.3, "delay_us": 43.0}, evidence=evidence).parts()).sums
    assert ("delay and degrees" in {s["what"] for s in shown}) == said


def test_cost_and_gain_come_with_intervals_and_a_strip(mechanical: Advice) -> None:
    m = mechanical.advice["mechanical"]
    assert m["cost_lo_pct"] <= m["cost_pct"] <= m["cost_hi_pct"]
    assert m["versus_lo_pct"] <= m["versus_baseline_pct"] <= m["versus_hi_pct"]
    assert [s["rpm"] for s in m["strip"]] == RPM.tolist()
    assert np.mean([s["cost_pct"] for s in m["strip"]]) == pytest.approx(m["cost_pct"], abs=1e-3)


def test_everything_is_plain_json(mechanical: Advice) -> None:
    assert json.loads(json.dumps([mechanical.advice, mechanical.card]))


def test_hand_over_is_a_pull_of_the_nearest_setting(mechanical: Advice) -> None:
    assert mechanical.advice["hand_over_pull"] in {f"p{i}" for i in range(1, 7)}
    assert mechanical.advice["nearest_setting"] in {"22", "26", "32", "36", "40"}


def test_an_implied_stop_gives_the_initial_and_an_unknown_one_leaves_it_null() -> None:
    implied = Day(
        [sprung(32, baseline=True), sprung(26), sprung(38)], best=RISING, engine=EngineFacts(ignition=Ignition("mechanical"))
    )
    m = advise(*implied.parts()).advice["mechanical"]
    assert m["stop_deg"] == 20.0
    assert m["initial_deg"] == pytest.approx(m["total_deg"] - 20.0)
    for pull in implied.pulls:
        pull.initial = None
    unknown = advise(*implied.parts())
    assert unknown.advice["mechanical"]["initial_deg"] is None
    assert unknown.advice["mechanical"]["stop_deg"] is None
    assert unknown.advice["mechanical"]["total_deg"] is not None
    assert any("stop" in q for q in unknown.questions)


def test_locked_ignition_gets_one_advance() -> None:
    m = advise(*Day(locked(32, 26, 38), engine=EngineFacts(ignition=Ignition("locked"))).parts()).advice["mechanical"]
    assert m["initial_deg"] == m["total_deg"]
    assert m["stop_deg"] == 0.0
    assert m["start_rpm"] is None


def test_fitted_springs_are_kept_where_others_gain_nothing() -> None:
    shapes = [
        {"setting": "32", "family": "mechanical", "initial_deg": 12.0, "total_deg": 32.0, "start_rpm": 1200.0, "all_in_rpm": 3200.0}
    ]
    flat = 33.0 - 20.0 + 20.0 * np.clip((RPM - 1200.0) / 2000.0, 0.0, 1.0)
    day = Day(
        [sprung(32, baseline=True), sprung(26), sprung(38)],
        best=flat,
        shapes=shapes,
        engine=EngineFacts(ignition=Ignition("mechanical")),
    )
    m = advise(*day.parts()).advice["mechanical"]
    assert m["springs_note"].startswith("keep the springs and 20° stop of '32'")
    assert (m["start_rpm"], m["all_in_rpm"]) == (1200.0, 3200.0)


def test_mapped_ignition_is_told_both_delivered_and_what_to_enter() -> None:
    engine = EngineFacts(ignition=Ignition("mapped", breakpoints_rpm=(1000.0, 2000.0, 3500.0, 5000.0, 6500.0)))
    day = Day(locked(32, 24, 40), best=RISING, engine=engine, timing={"log_minus_true_deg": -1.0, "delay_us": 50.0})
    answer = advise(*day.parts())
    table = answer.advice["table"]
    assert [r["rpm"] for r in table] == [1000.0, 2000.0, 3500.0, 5000.0, 6500.0]
    assert [r["delivered_deg"] is None for r in table] == [True, False, False, False, True]
    for row in table[1:4]:
        assert row["enter_deg"] == pytest.approx(row["delivered_deg"] - 1.0 + 6e-6 * row["rpm"] * 50.0)
    assert answer.advice["sentence"].startswith("Enter the day’s table")


def test_without_a_timing_scale_nothing_is_said_about_what_to_enter() -> None:
    day = Day(locked(32, 24, 40), engine=EngineFacts(ignition=Ignition("mapped")))
    assert {r["enter_deg"] for r in advise(*day.parts()).advice["table"]} == {None}


def test_a_dip_at_peak_torque_is_where_a_mechanical_curve_loses() -> None:
    dip = 34.0 - 9.0 * np.exp(-(((RPM - 4000.0) / 450.0) ** 2))
    day = mechanical_day(best_sd=0.4)
    day.best = dip
    notes = " ".join(advise(*day.parts()).advice["mechanical"]["notes"])
    assert "a programmable table would gain" in notes
    assert "dips near peak torque" in notes


def test_a_knock_cap_holds_the_whole_mechanical_curve_down() -> None:
    pulls = [*locked(32, 26, 36, 32), Pull("29", 29, 29, knock="heard", knock_rpm=(3300, 3600))]
    day = Day(pulls, best=np.full(len(RPM), 35.0), best_sd=0.4, engine=EngineFacts(ignition=Ignition("locked")))
    answer = advise(*day.parts())
    assert "the knock cap at 3300–3600 rpm holds the whole curve down" in " ".join(answer.advice["mechanical"]["notes"])
    assert answer.advice["mechanical"]["total_deg"] <= 26.0
    assert "knock heard at 3300–3600 rpm on 29" in answer.advice["knock_facts"]
    assert "less the margin below noted knock" in (answer.tested_limit or "")


def test_nobody_listening_is_a_fact_of_the_day() -> None:
    answer = advise(*Day(locked(32, 28, 36, knock="not listened")).parts())
    assert "nobody was listening for knock on any pull" in answer.advice["knock_facts"]
    assert "nobody was listening for knock on any pull" in answer.not_tested


def test_without_a_posterior_every_number_is_null_and_a_next_step_is_given() -> None:
    answer = advise(*Day(locked(28, 26, 30, 28)).parts(with_posterior=False))
    numbers = {k: v for k, v in answer.advice["mechanical"].items() if k not in ("strip", "curve", "notes")}
    assert set(numbers.values()) == {None}
    assert answer.advice["least_curve"] == []
    assert len(answer.advice["next_pulls"]) == 1
    assert not answer.advice["enough"]
    assert "advance is not known" in answer.advice["sentence"]


@pytest.mark.parametrize("kind", ["mechanical", "locked", "mapped", None])
@pytest.mark.parametrize("state", ["inside", "flat", "above_tested", "below_tested"])
def test_no_setting_is_called_by_the_word_that_promises(kind: str | None, state: str) -> None:
    day = Day(locked(32, 28, 36), state=state, engine=EngineFacts(ignition=Ignition(kind)), facts=DayFacts(fuel="98 RON"))  # type: ignore[arg-type]
    answer = advise(*day.parts())
    words = json.dumps([answer.advice, answer.card, answer.not_tested, answer.cautions, answer.sums, answer.tested_limit]).lower()
    assert "safe" not in words
    assert "98 ron" in (answer.tested_limit or "").lower()
    assert len(answer.cautions) >= 9


def test_a_used_rpm_that_was_not_reached_is_said() -> None:
    answer = advise(*Day(locked(32, 28, 36), engine=EngineFacts(used_rpm=(8000.0, 9000.0))).parts())
    assert answer.warnings == ("used_rpm 8000–9000 was not tested: the advice counts all rpm that were",)
    assert advise(*Day(locked(32, 28, 36), engine=EngineFacts(used_rpm=(3000.0, 9000.0))).parts()).warnings == ()
