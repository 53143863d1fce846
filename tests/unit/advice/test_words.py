"""What the day's sentence says, from the setting run nearest to the advice to the knock that stands in the way."""

import re
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from tests.unit.advice.synthetic import RPM, Day, Pull, ground_of, locked

from pullbook.advice.in_words import usual_state
from pullbook.facts import EngineFacts, Ignition
from pullbook.stages.advise import advise


def sentence(day: Day) -> str:
    return str(advise(*day.parts()).advice["sentence"])


@pytest.mark.parametrize(("states", "said"), [
    (["inside"] * 20 + ["flat"] * 17, "inside"), (["above_tested"] * 19 + ["inside"] * 18, "above_tested"),
    (["above_tested"] * 12 + ["inside"] * 13 + ["flat"] * 12, "inside"), (["flat"] * 30 + ["inside"] * 7, "flat"),
    (["below_tested"] * 37, "below_tested"),
])  # fmt: skip
def test_a_state_needs_more_than_half_of_the_rows(states: list[str], said: str) -> None:
    ground = ground_of(Day(locked(32, 28, 36)))
    assert usual_state(pl.DataFrame({"rpm": RPM.tolist(), "state": states}), ground) == said


def test_the_light_is_named_where_its_mark_is_known_to_be_off() -> None:
    day = Day(locked(32, 24, 40, 28), engine=EngineFacts(ignition=Ignition("locked")), timing={"zero_mark_error_deg": 2.0})
    total = advise(*day.parts()).advice["mechanical"]["total_deg"]
    assert f"{total + 2:g}° on the light)" in sentence(day)
    day.timing = {"zero_mark_error_deg": 0.2}
    assert "on the light" not in sentence(day)


def test_a_baseline_that_is_good_enough_is_left_alone() -> None:
    day = Day(locked(30.5, 22, 38), best_sd=0.5, engine=EngineFacts(ignition=Ignition("locked")))
    assert sentence(day).startswith("Leave it as the baseline is: ")


def test_knock_that_stops_the_climb_is_named_as_the_limit() -> None:
    pulls = [*locked(28, 24, 26, 28), Pull("31", 31, 31, knock="heard", knock_rpm=(2000, 5600))]
    day = Day(pulls, best=np.full(len(RPM), 38.0), state="above_tested", engine=EngineFacts(ignition=Ignition("locked")))
    assert sentence(day).startswith("Knock, not torque, sets the limit here: run it at 28")


def test_where_the_best_was_not_reached_the_next_pull_is_in_the_sentence() -> None:
    day = Day(locked(28, 24, 30, 28), best=np.full(len(RPM), 38.0), best_sd=2.0, state="above_tested")
    words = sentence(day)
    assert words.startswith("The best lies above 30, the most advance that was run, over most of the rpm")
    assert "next: run 32 (" in words


def test_a_map_may_step_up_where_no_knock_was_noted() -> None:
    pulls = [*locked(28, 24, 28), Pull("30", 30, 30, knock="heard", knock_rpm=(2000, 2600))]
    engine = EngineFacts(ignition=Ignition("mapped"))
    day = Day(pulls, best=np.linspace(28, 40, len(RPM)), best_sd=3.0, state="above_tested", engine=engine)
    answer = advise(*day.parts())
    assert any("where knock was not noted" in p["why"] for p in answer.advice["next_pulls"])


def test_knock_on_every_setting_is_said_first_and_the_curve_under_it_is_the_next_pull() -> None:
    pulls = [Pull(f"{a}", a, a, knock="heard", knock_rpm=(3000, 4000)) for a in (24, 27, 30, 27, 24)]
    day = Day(pulls, best=np.full(len(RPM), 30.0), engine=EngineFacts(ignition=Ignition("locked")))
    advice = advise(*day.parts()).advice
    assert advice["sentence"].startswith("Knock was noted on every setting run")
    assert not advice["enough"]
    assert advice["next_pulls"][0]["total_deg"] <= 22.0
    assert "with somebody listening" in advice["next_pulls"][0]["why"]
    assert advice["hand_over_pull"] is None


def test_a_day_that_went_one_way_is_not_enough_until_something_was_returned_to() -> None:
    day = Day(locked(28, 30, 32, 34, 36), best_sd=0.3)
    advice = advise(*day.parts()).advice
    assert not advice["enough"]
    assert advice["next_pulls"][0]["why"].startswith("repeat the baseline")
    day = Day(locked(28, 30, 32, 34, 36, 28), best_sd=0.3)
    assert advise(*day.parts()).advice["enough"]


def test_a_day_that_repeats_badly_is_not_enough_until_the_baseline_repeats() -> None:
    day = Day(locked(28, 24, 32, 28), best_sd=0.3, rough=True)
    advice = advise(*day.parts()).advice
    assert not advice["enough"]
    assert advice["next_pulls"][0]["setting"] == "28"
    assert "find out first why the pulls differ" in advice["next_pulls"][0]["why"]
    assert "more pulls would find less" not in advice["sentence"]
    assert advise(*replace(day, rough=False).parts()).advice["enough"]


def test_a_day_that_repeats_badly_repeats_another_setting_where_the_baseline_passes_the_limit() -> None:
    day = Day(locked(28, 24, 32, 28, 24, 26), best_sd=0.3, rough=True, engine=EngineFacts(max_advance_deg=27.0))
    advice = advise(*day.parts()).advice
    assert not advice["enough"]
    assert advice["next_pulls"][0]["setting"] == "24"
    assert advice["next_pulls"][0]["why"].startswith("repeat it, and find out first")


def test_less_advance_than_the_baseline_is_told_apart_from_what_it_brings() -> None:
    day = Day(
        locked(36, 24, 28, 32, 36), best=np.full(len(RPM), 34.0), best_sd=0.3, engine=EngineFacts(ignition=Ignition("locked"))
    )
    words = sentence(day)
    assert "° less than the baseline; it " in words
    assert "within 0.5 % of the most torque, on average" in words
    total, less = (float(found) for found in re.findall(r"at ([\d.]+)°.* average ([\d.]+)° less", words)[0])
    assert 36.0 - total == pytest.approx(less, abs=0.05), "locked: the degrees it is less by and those to set are of one setting"


def test_drift_is_not_chased_once_enough_is_known() -> None:
    pulls = locked(32, 28, 34, 30, 32)
    for pull, oil in zip(pulls, (78.0, 85.0, 92.0, 98.0, 104.0), strict=True):
        pull.oil_c = oil
    day = Day(pulls, best_sd=0.3, repeatability={"drift_pct_per_pull": -0.4, "drift_lo": -0.6, "drift_hi": -0.2})
    answer = advise(*day.parts()).advice
    assert answer["enough"]
    assert answer["next_pulls"] == []


def test_parts_that_fall_far_short_of_the_best_are_not_called_within_the_tolerance() -> None:
    """Locked out where the best rises by 24° over the rpm: no one advance comes near it."""
    day = Day(
        locked(36, 24, 30, 42), best=np.linspace(18.0, 42.0, len(RPM)), best_sd=0.5, engine=EngineFacts(ignition=Ignition("locked"))
    )
    said, cost = sentence(day), advise(*day.parts()).advice["mechanical"]["cost_pct"]
    assert cost > 1.0
    assert f"still {cost:.1f} % short of the best at every rpm" in said
    assert "of the most torque" not in said
    near = Day(locked(32, 24, 40, 28), best_sd=0.5, engine=EngineFacts(ignition=Ignition("locked")))
    assert "short of the best" not in sentence(near)
