"""Next pulls: worth, limits, listening and the legal answers that are no new setting."""

import numpy as np
import pytest
from tests.unit.advice.synthetic import RPM, Day, Pull, locked, sprung

from pullbook.facts import DayFacts, EngineFacts, Ignition, Limits
from pullbook.stages.advise import advise


def next_of(day: Day) -> tuple[list[dict], bool]:
    advice = advise(*day.parts()).advice
    return advice["next_pulls"], advice["enough"]


def test_a_day_that_knows_enough_says_so() -> None:
    pulls, enough = next_of(Day(locked(32, 28, 36, 32, 34, 32), best_sd=0.5))
    assert enough
    assert pulls == []


def test_with_the_best_above_the_next_pull_is_one_step_up_with_somebody_listening() -> None:
    pulls, enough = next_of(Day(locked(28, 26, 30, 28, 24), best=np.full(len(RPM), 36.0), best_sd=3.0, state="above_tested"))
    assert not enough
    assert pulls[0]["total_deg"] == 32.0
    assert pulls[0]["expected_saving_pct"] > 0.2
    assert "listening" in pulls[0]["why"]


def test_nobody_listening_is_said_before_going_up() -> None:
    day = Day(locked(28, 26, 30, 28, 24, knock="not listened"), best=np.full(len(RPM), 36.0), best_sd=3.0, state="above_tested")
    pulls, _ = next_of(day)
    assert any("nobody was" in p["why"] for p in pulls if p["total_deg"] > 30)


def test_no_pull_goes_above_the_ceiling_where_knock_was_noted() -> None:
    """The same day without the note goes a step up; with it, it does not."""
    engine = EngineFacts(ignition=Ignition(kind="locked"))
    day = Day(locked(28, 26, 28), best=np.full(len(RPM), 30.0), best_sd=5.0, state="flat", engine=engine)
    pulls, _ = next_of(day)
    assert max(p["total_deg"] for p in pulls) == 30.0
    day.pulls.append(Pull("31", 31, 31, knock="heard", knock_rpm=(3300, 3600)))
    pulls, _ = next_of(day)
    assert pulls
    assert all(p["total_deg"] <= 28.0 + 0.05 for p in pulls)


def test_a_known_limit_is_never_passed() -> None:
    day = Day(
        locked(28, 26, 30, 28, 24), best=np.full(len(RPM), 36.0), best_sd=3.0, state="above_tested",
        engine=EngineFacts(max_advance_deg=31.0),
    )  # fmt: skip
    pulls, _ = next_of(day)
    assert pulls
    assert all(p["total_deg"] <= 31.0 for p in pulls)


def test_savings_are_ranked_and_initial_and_total_fit_each_other() -> None:
    day = Day(
        [sprung(32, baseline=True), sprung(30), sprung(32, baseline=True), sprung(34)], best=np.linspace(24, 38, len(RPM)),
        best_sd=4.0, engine=EngineFacts(ignition=Ignition(kind="mechanical")),
    )  # fmt: skip
    pulls, enough = next_of(day)
    assert not enough
    assert 1 <= len(pulls) <= 3
    savings = [p["expected_saving_pct"] for p in pulls]
    assert savings == sorted(savings, reverse=True)
    turned = [p["total_deg"] - p["initial_deg"] for p in pulls if p["initial_deg"] is not None]
    assert turned
    assert turned == [pytest.approx(20.0)] * len(turned)


def test_a_one_way_day_without_a_return_asks_for_the_baseline_first() -> None:
    day = Day([Pull(f"{t}", t, t, baseline=t == 26) for t in (26, 28, 30, 32, 34)], best_sd=3.0, state="flat")
    pulls, enough = next_of(day)
    assert not enough
    assert pulls[0]["setting"] == "26"
    assert "drift and timing cannot be told apart" in pulls[0]["why"]


def test_drift_in_step_with_oil_temperature_sends_people_back() -> None:
    pulls = locked(32, 28, 34, 30, 32)
    for pull, oil in zip(pulls, (78.0, 85.0, 92.0, 98.0, 104.0), strict=True):
        pull.oil_c = oil
    day = Day(pulls, best_sd=4.0, state="flat", repeatability={"drift_pct_per_pull": -0.4, "drift_lo": -0.6, "drift_hi": -0.2})
    found, _ = next_of(day)
    assert found[0]["setting"] == "32"
    assert "oil temperature" in found[0]["why"]
    assert "78 to 104" in found[0]["why"]


def test_width_is_worth_more_than_a_repeat_when_the_place_is_unknown() -> None:
    day = Day(locked(32, 31, 33, 32), best_sd=4.0, state="flat")
    pulls, _ = next_of(day)
    totals = [p["total_deg"] for p in pulls]
    assert min(totals) < 30 or max(totals) > 33.5


def test_a_curve_is_not_confirmed_more_than_a_step_above_what_ran_clean() -> None:
    """20 knocked on two of three pulls, low down; a curve of 18 would pass the ceiling nowhere, yet 15 is all that ran clean."""
    pulls = [
        Pull("20", 20.0, 20.0, baseline=True),
        Pull("20", 20.0, 20.0, baseline=True, knock="heard", knock_rpm=(2000.0, 2400.0)),
        Pull("15", 15.0, 15.0),
        Pull("20", 20.0, 20.0, baseline=True, knock="heard", knock_rpm=(2000.0, 2400.0)),
    ]
    limits = Limits(margin_below_knock_deg=0.0, tolerance_pct=0.5, max_step_deg=2.0)
    day = Day(
        pulls=pulls, best=np.full(13, 18.0), best_sd=5.0, k=1e-4, pull_sd=0.004, facts=DayFacts(limits=limits),
        engine=EngineFacts(ignition=Ignition(kind="mechanical")), rpm=np.arange(2000, 5700, 300), draws=120,
    )  # fmt: skip
    planned = advise(*day.parts()).advice["next_pulls"]
    assert planned
    assert all(pull["total_deg"] <= 15.0 + limits.max_step_deg for pull in planned)


def test_a_table_is_moved_by_name_not_called_by_a_total() -> None:
    engine = EngineFacts(ignition=Ignition(kind="mapped"))
    day = Day(locked(32, 30, 34, 32), best=np.full(len(RPM), 24.0), best_sd=3.0, state="below_tested", engine=engine)
    pulls, _ = next_of(day)
    assert "30, 4° less throughout" in [p["setting"] for p in pulls]
