"""From draws to words: states, one-sided bounds, the least advance, verdicts."""

from dataclasses import replace

import numpy as np
import pytest

from pullbook.belief import Prior
from pullbook.findings.answers import answer_row, best_table, state_of
from pullbook.findings.effects import effects_table, verdict
from pullbook.findings.repeatability import repeatability
from pullbook.handover import Posterior


def posterior(best: np.ndarray, lo: float = 28.0, hi: float = 38.0, k: float = 3e-4, scale: float = 0.0) -> Posterior:
    draws = len(best)
    return Posterior(
        rpm=np.array([4000]), best_deg=best[:, None], k=np.full((draws, 1), k), skew=np.zeros(draws), pull_sd=np.full(draws, 0.005),
        drift=np.zeros(draws), log_torque=np.full((draws, 1), np.log(300.0)), tested_lo_deg=np.array([lo]),
        tested_hi_deg=np.array([hi]), scale_deg=np.full((draws, 1), scale),
    )  # fmt: skip


def normal(mean: float, sd: float) -> np.ndarray:
    return mean + sd * np.random.default_rng(0).standard_normal(4000)


@pytest.mark.parametrize(
    ("mean", "sd", "state"),
    [
        (33.0, 1.0, "inside"),
        (38.4, 0.1, "inside"),
        (42.0, 1.0, "above_tested"),
        (24.0, 1.0, "below_tested"),
        (38.5, 2.0, "flat"),
        (33.0, 9.0, "flat"),
    ],
)
def test_states(mean: float, sd: float, state: str) -> None:
    assert state_of(normal(mean, sd), 28.0, 38.0) == state


def test_settings_too_close_together_say_nothing() -> None:
    assert state_of(normal(33.0, 0.1), 32.8, 33.2) == "flat"
    assert state_of(normal(33.0, 0.1), float("nan"), float("nan")) == "untested"


def test_inside_is_not_said_where_it_may_lie_far_outside() -> None:
    mixed = np.concatenate([normal(33.0, 1.0)[:3800], np.full(200, 44.0)])
    assert state_of(mixed, 28.0, 38.0) == "flat"


def test_inside_answers_in_true_degrees_with_a_band_of_the_tolerance() -> None:
    answer = answer_row(posterior(normal(33.0, 0.5), scale=0.4), 0, 0.005)
    assert answer.best == pytest.approx(33.0, abs=0.05)
    assert (answer.lo, answer.hi) == (pytest.approx(33.4 - 0.82, abs=0.06), pytest.approx(33.4 + 0.82, abs=0.06))
    half = np.sqrt(0.005 / 3e-4)
    assert (answer.band_lo, answer.band_hi) == (pytest.approx(33 - half, abs=0.05), pytest.approx(33 + half, abs=0.05))
    assert answer.least is not None
    assert answer.band_lo is not None
    assert answer.band_lo < answer.least < 33.0


@pytest.mark.parametrize(("doubt", "state"), [(2.0, "inside"), (10.0, "flat")])
def test_a_range_wider_than_any_use_is_no_finding(doubt: float, state: str) -> None:
    """Well inside what was tested, but nobody knows within ten degrees what the settings delivered."""
    unsure = replace(posterior(normal(33.0, 0.5)), scale_deg=normal(0.0, doubt)[:, None])
    answer = answer_row(unsure, 0, 0.005)
    assert answer.state == state
    assert (answer.best is None) == (state == "flat")
    assert answer.least is not None


def test_the_least_advance_costs_more_than_the_tolerance_in_less_than_a_tenth_of_the_draws() -> None:
    draws = normal(33.0, 1.0)
    answer = answer_row(posterior(draws), 0, 0.005)
    assert answer.least is not None
    assert np.mean(3e-4 * (answer.least - draws) ** 2 > 0.005) < 0.10
    assert np.mean(3e-4 * (answer.least - 0.2 - draws) ** 2 > 0.005) > 0.10


@pytest.mark.parametrize("sd", [0.5, 1.5])
def test_only_the_known_side_is_bounded(sd: float) -> None:
    draws = normal(42.0, sd)
    above = answer_row(posterior(draws), 0, 0.005)
    assert (above.state, above.best, above.hi) == ("above_tested", None, None)
    assert above.lo is not None
    assert np.mean(draws > above.lo) >= 0.895  # printed to two decimals
    below = answer_row(posterior(66.0 - draws), 0, 0.005)
    assert (below.state, below.best, below.lo) == ("below_tested", None, None)
    assert below.hi is not None
    assert np.mean(66.0 - draws < below.hi) >= 0.895


def test_flat_and_untested_rows_are_null() -> None:
    table = best_table(posterior(normal(33.0, 9.0)), [3900, 4000], {}, 0.005, {4000: (28.0, 38.0)})
    assert table["state"].to_list() == ["untested", "flat"]
    for column in ("best_deg", "lo_deg", "hi_deg", "band_lo_deg", "best_torque_nm", "knock_cap_deg"):
        assert table[column].to_list() == [None, None]


@pytest.mark.parametrize(
    ("lo", "hi", "word"),
    [
        (-0.5, 0.5, "same"),
        (0.1, 0.4, "same"),
        (0.1, 0.6, "gain"),
        (-0.9, -0.1, "loss"),
        (-0.1, 0.6, "cannot_tell"),
        (-0.6, 0.0, "cannot_tell"),
    ],
)
def test_verdicts_in_the_contract_s_order(lo: float, hi: float, word: str) -> None:
    assert verdict(lo, hi, 0.5) == word


def test_effects_span_first_then_rows_where_both_were_run() -> None:
    base = np.zeros((200, 4))
    other = 0.01 + 0.001 * np.random.default_rng(1).standard_normal((200, 4))
    other[:, 0] = np.nan
    table = effects_table({"a": base, "b": other}, [3000, 3100, 3200, 3300], "a", (3100, 3200), 0.5)
    assert table.select("rpm_lo", "rpm_hi").rows() == [(3100, 3200), (3100, 3100), (3200, 3200), (3300, 3300)]
    assert table["verdict"][0] == "gain"
    assert table["change_pct"][0] == pytest.approx(100 * np.expm1(0.01), abs=0.02)
    assert effects_table({"a": base}, [3000, 3100, 3200, 3300], None, None, 0.5).is_empty()


def test_repeatability_says_where_it_comes_from() -> None:
    prior = Prior(0.006, 0.69, 3e-4, 0.37)
    sharp, drift = 0.004 * np.exp(0.2 * normal(0, 1)), normal(0, 1e-4)
    assert repeatability(sharp, drift, 8, 4, prior)["source"] == "day"
    assert repeatability(sharp, drift, 5, 0, prior)["source"] == "default"
    nothing = repeatability(np.zeros(0), np.zeros(0), 1, 0, prior)
    assert (nothing["pull_sd_pct"], nothing["source"], nothing["drift_pct_per_pull"]) == (0.6, "default", None)


def test_a_tail_half_as_wide_again_must_not_reach_far_outside() -> None:
    """2.5 SDs inside what is far outside: ruled out by the draws as they are (0.6 %), not by draws half as wide again."""
    assert state_of(normal(37.25, 1.5), 28.0, 38.0) == "flat"
    assert state_of(normal(36.0, 1.3), 28.0, 38.0) == "inside"


def test_a_row_beside_one_whose_best_may_lie_far_outside_is_not_called_inside() -> None:
    assert state_of(normal(36.0, 1.3), 28.0, 38.0, beside=0.019) == "inside"
    assert state_of(normal(36.0, 1.3), 28.0, 38.0, beside=0.021) == "flat"
    ends, leaves = (np.column_stack([normal(36.0, 1.3), normal(top, 1.3)]) for top in (36.5, 39.5))
    two = replace(
        posterior(normal(36.0, 1.3)), rpm=np.array([3000, 3200]), k=np.full((len(ends), 2), 3e-4),
        tested_lo_deg=np.full(2, 28.0), tested_hi_deg=np.full(2, 38.0), log_torque=np.zeros((len(ends), 2)),
    )  # fmt: skip
    assert answer_row(replace(two, best_deg=ends), 0, 0.005).state == "inside"
    assert answer_row(replace(two, best_deg=leaves), 0, 0.005).state == "flat"
    apart = replace(two, best_deg=leaves, rpm=np.array([3000, 3300]))
    assert answer_row(apart, 0, 0.005).state == "inside"


def test_best_is_said_between_cheapest_and_likeliest_hill_and_inside_its_interval() -> None:
    plain = posterior(normal(33.0, 0.5))
    near, far = (answer_row(replace(plain, likeliest_deg=np.array([top])), 0, 0.005) for top in (32.6, 29.0))
    assert near.best == pytest.approx(32.8, abs=0.05)
    assert far.best == far.lo
