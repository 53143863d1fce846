"""The fit on hand-made tables: it finds what is there, leans on the archive with a reserve, and says when it cannot know."""

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.hill.made_table import table

from pullbook.belief import EarlierHill, Prior
from pullbook.hill.abnormal import find_abnormal
from pullbook.hill.day_table import DayTable, joined
from pullbook.hill.fit import HillFit, fit_hill
from pullbook.hill.likelihood import nodes
from pullbook.hill.one_way import drift_looks_like_timing
from pullbook.hill.own_effects import OwnEffects, find_own_effects

PRIOR = Prior(0.006, 0.69, 3e-4, 0.37)
WIDE = [30.0, 23.0, 38.0, 27.0, 34.0, 30.0, 23.0, 38.0, 34.0, 30.0]


def fit(day: DayTable, prior: Prior = PRIOR, own: OwnEffects | None = None) -> HillFit:
    return fit_hill(day, prior, np.random.default_rng(1), own or OwnEffects((), ()))


def middle(found: HillFit) -> np.ndarray:
    assert found.best is not None
    return np.quantile(found.best[:, 6], [0.05, 0.5, 0.95])


def test_a_wide_day_finds_the_best_and_its_slope() -> None:
    found = fit(table(WIDE, sd=0.0005, slope=3.0))
    lo, best, hi = middle(found)
    assert best == pytest.approx(33.15, abs=0.4)
    assert lo < 33.15 < hi
    assert found.best is not None
    rise = np.median(found.best[:, -1] - found.best[:, 0])
    assert rise == pytest.approx(3.3, abs=0.7)
    assert np.median(found.k) == pytest.approx(2.5e-4, rel=0.15)


def test_no_pull_sd_is_so_wild_that_any_hill_would_do() -> None:
    """At ten times its kind's scatter every pull explains itself, and a hill upside down fits a day as well as the right one."""
    grid = nodes(PRIOR.sd_median, PRIOR.sd_log_sd)
    assert 0.03 < grid.sd.max() < 0.04
    assert grid.sd.min() < 0.001


def test_noise_widens_the_interval() -> None:
    calm, rough = (np.ptp(middle(fit(table(WIDE, sd=sd)))[[0, 2]]) for sd in (0.001, 0.008))
    assert rough > 1.5 * calm


def test_one_day_twice_gives_the_same_digits() -> None:
    first, second = fit(table(WIDE)), fit(table(WIDE))
    assert first.best is not None
    assert np.array_equal(first.best, second.best)


def test_drift_is_not_taken_for_timing_where_settings_return() -> None:
    order = [24.0, 30.0, 36.0, 36.0, 30.0, 24.0, 24.0, 30.0, 36.0]
    lo, best, hi = middle(fit(table(order, drift=-0.003, sd=0.001)))
    assert lo < 33.0 < hi
    assert best == pytest.approx(33.0, abs=1.0)


def test_ascending_without_return_widens_and_is_said() -> None:
    up = [26.0, 28.0, 30.0, 32.0, 34.0, 36.0, 38.0]
    mixed = [32.0, 26.0, 38.0, 30.0, 36.0, 28.0, 34.0]
    assert drift_looks_like_timing(table(up))
    assert not drift_looks_like_timing(table([*up, 26.0]))
    assert not drift_looks_like_timing(table(mixed))
    ascending, shuffled = (np.ptp(middle(fit(table(order, sd=0.0005)))[[0, 2]]) for order in (up, mixed))
    assert ascending > 1.3 * shuffled


def placed_at(best: float) -> EarlierHill:
    """An earlier day that placed the best to a degree, alike at 3000 and 4000 rpm, and says nothing of the hill's form."""
    weight = np.zeros((5, 5))
    weight[:2, :2] = np.linalg.inv([[0.8, 0.6], [0.6, 0.8]])
    rows = tuple(tuple(row) for row in weight.tolist())
    return EarlierHill((3000.0, 4000.0), 3500.0, rows, tuple((weight @ [best, best, 0.0, 0.0, 0.0]).tolist()))


def test_earlier_days_narrow_and_are_overruled() -> None:
    earlier = replace(PRIOR, earlier=placed_at(33.0))
    day = table([30.0, 26.0, 34.0, 30.0], sd=0.004)
    alone, informed = (np.ptp(middle(fit(day, p))[[0, 2]]) for p in (PRIOR, earlier))
    assert informed < 0.8 * alone
    wrong = replace(PRIOR, earlier=placed_at(20.0))
    best = middle(fit(table(WIDE, sd=0.001), wrong))[1]
    assert best == pytest.approx(33.0, abs=1.0)


def test_timing_doubt_common_to_the_day_moves_the_scale_alone() -> None:
    day = table(WIDE, sd=0.001)
    doubted = replace(day, modes=np.full((*day.advance.shape, 1), 0.8))
    found = fit(doubted)
    assert found.scale[:, 6].std() == pytest.approx(0.8, abs=0.08)
    assert middle(found)[1] == pytest.approx(middle(fit(day))[1], abs=0.15)


def test_timing_doubt_of_single_settings_widens() -> None:
    day = table(WIDE, sd=0.001)
    own = np.array([[a == b for b in sorted(set(WIDE))] for a in WIDE], float)
    doubted = replace(day, modes=np.repeat(1.5 * own[:, None, :], len(day.rpm), axis=1))
    assert np.ptp(middle(fit(doubted))[[0, 2]]) > 1.2 * np.ptp(middle(fit(day))[[0, 2]])


def test_settings_alike_in_timing_are_compared_as_they_stand() -> None:
    day = table([30.0, 24.0, 36.0, 30.0, 30.0, 24.0, 36.0, 30.0], sd=0.001)
    labels = ("30", "24", "36", "30 filter", "30", "24", "36", "30 filter")
    lifted = np.array([0.02 * (s == "30 filter") for s in labels])
    day = replace(day, setting=labels, ln_torque=day.ln_torque + lifted[:, None])
    own = find_own_effects(day, "30")
    assert own.alike == (("30 filter", "30"),)
    found = fit(day, own=own)
    change = (found.means["30 filter"] - found.means["30"]).mean(axis=1)
    assert np.quantile(change, 0.05) < 0.02 < np.quantile(change, 0.95)
    assert middle(found)[1] == pytest.approx(33.0, abs=1.5)


def test_unknown_advance_still_answers_what_a_setting_is_worth() -> None:
    day = table([30.0, 24.0] * 3, sd=0.001)
    blind = replace(day, advance=np.zeros_like(day.advance))
    found = fit_hill(blind, PRIOR, np.random.default_rng(1), OwnEffects((), ("24",)), hill=False)
    change = (found.means["24"] - found.means["30"]).mean(axis=1)
    truth = np.log((1 - 2.5e-4 * 81) / (1 - 2.5e-4 * 9))
    assert found.best is None
    assert np.quantile(change, 0.05) < truth < np.quantile(change, 0.95)
    assert np.median(change) == pytest.approx(truth, abs=0.003)


def test_joined_rows_keep_level_where_a_pull_stops_halfway() -> None:
    day = table(WIDE, rows=40, sd=0.0)
    cut = day.where(np.array([[i != 3 or n < 21 for n in range(40)] for i in range(len(WIDE))]))
    shape = 0.1 * np.sin(np.arange(40) / 5.0)
    bent = replace(cut, ln_torque=cut.ln_torque + shape)
    rough, plain = joined(bent, shape + 5.7), joined(cut, np.full(40, 5.7))
    assert len(rough.rpm) == 20
    assert rough.ln_torque[rough.present] == pytest.approx(plain.ln_torque[plain.present], abs=1e-12)
    assert rough.present[3].sum() == 11


def test_a_misfire_is_left_out_and_ordinary_scatter_is_not() -> None:
    day = table(WIDE, rows=20, sd=0.004)
    assert find_abnormal(day, PRIOR).table.is_empty()
    missed = day.ln_torque.copy()
    missed[5, 8:16] -= 0.06
    found = find_abnormal(replace(day, ln_torque=missed), PRIOR)
    assert found.table["pull_id"].unique().to_list() == ["p5"]
    assert found.mask[5, 9:15].all()
    assert not np.delete(found.mask, 5, axis=0).any()


def test_a_setting_that_falls_off_a_cliff_is_no_hill() -> None:
    """A wrong mark or detonation at the far setting: 9 % down two degrees further on, both repeats alike."""
    day = table([30.0, 26.0, 34.0, 36.0, 30.0, 26.0, 34.0, 36.0], sd=0.001, rows=20)
    broken = day.ln_torque.copy()
    broken[[3, 7]] -= 0.09
    found = find_abnormal(replace(day, ln_torque=broken), PRIOR)
    assert set(found.table["pull_id"]) == {"p3", "p7"}


def test_a_step_in_best_advance_is_followed_and_a_straight_course_is_kept_straight() -> None:
    """6° within 500 rpm: a smooth course would miss the row beside it by two degrees."""
    plain = table(WIDE, rows=34, sd=0.003)
    rpm = plain.rpm - plain.rpm.mean()
    best = 33.0 + 3.0 * np.tanh(rpm / 230.0)
    step = np.log1p(-2.5e-4 * (plain.advance - best) ** 2) - np.log1p(-2.5e-4 * (plain.advance - 33.0) ** 2)
    bent, straight = fit(replace(plain, ln_torque=plain.ln_torque + step)), fit(plain)
    assert bent.best is not None
    assert straight.best is not None
    assert np.abs(np.median(bent.best, axis=0) - best).max() < 1.6
    assert np.ptp(np.median(straight.best, axis=0)) < 1.5


def test_strong_drift_one_way_is_in_the_interval() -> None:
    """0.6 % a pull, always with rising advance: the best seems five degrees off, and the interval must reach it."""
    lo, _, hi = middle(fit(table([24.0, 24.0, 29.0, 29.0, 34.0, 34.0, 39.0, 39.0], sd=0.004, drift=-0.006)))
    assert lo < 33.0 < hi
    assert hi - lo > 5.0


def test_a_rough_dyno_keeps_its_low_pulls() -> None:
    """Twenty days of 1 % repeatability where 0.6 % was expected: hardly a pull may be taken for abnormal."""
    flagged = sum(find_abnormal(table(WIDE, sd=0.01, number=i), PRIOR).table.height for i in range(20))
    assert flagged <= 2
