"""The free curve and the table: least advance inside the tolerance, smooth, never above the ceiling."""

import numpy as np
import pytest
from tests.unit.advice.synthetic import RPM, Day, ground_of, locked

from pullbook.advice.free_curve import corridor, least_curve
from pullbook.advice.table import default_breakpoints, fit_table


def test_the_least_advance_has_a_chance_below_one_in_ten_of_costing_more() -> None:
    ground = ground_of(Day(locked(32, 22, 40), best_sd=1.0))
    least, most = corridor(ground)
    chance = np.mean(ground.posterior.loss(least) > ground.tolerance, axis=0)
    assert np.all(chance < 0.11)
    assert np.all(np.mean(ground.posterior.loss(least - 0.6) > ground.tolerance, axis=0) > 0.10)
    assert np.all(most > least)


def test_where_nothing_qualifies_it_is_the_least_expected_loss() -> None:
    ground = ground_of(Day(locked(26, 24, 28), best=np.full(len(RPM), 38.0)))
    least, most = corridor(ground)
    assert least == pytest.approx(28.0)
    assert most == pytest.approx(28.0)


def test_the_curve_is_smoother_than_its_corridor_and_stays_in_it() -> None:
    rough = 32.0 + 0.6 * np.where(np.arange(len(RPM)) % 2 == 0, 1.0, -1.0)
    ground = ground_of(Day(locked(32, 22, 40), best=rough, best_sd=1.0))
    least, _ = corridor(ground)
    curve = least_curve(ground)
    assert np.sum(np.diff(curve, 2) ** 2) < 0.2 * np.sum(np.diff(least, 2) ** 2)
    assert np.all(curve >= least - 0.2501)


def test_a_knock_cap_is_a_hole_the_free_curve_goes_round() -> None:
    cap = np.where((RPM >= 3300) & (RPM <= 3600), 24.0, 38.0)
    ground = ground_of(Day(locked(32, 22, 38), best_sd=0.5), cap)
    curve = least_curve(ground)
    assert np.all(curve <= cap)
    assert np.min(curve[RPM < 3000]) > 28.0


def test_default_breakpoints_stand_on_round_rpm() -> None:
    assert default_breakpoints(1950.0, 4100.0).tolist() == [1950.0, 2500.0, 3000.0, 3500.0, 4100.0]


def test_a_table_keeps_under_the_ceiling_between_its_breakpoints_too() -> None:
    cap = np.where((RPM >= 3300) & (RPM <= 3600), 26.0, 38.0)
    ground = ground_of(Day(locked(32, 22, 38), best_sd=0.5), cap)
    points, values = fit_table(ground, least_curve(ground), (2000.0, 3000.0, 4000.0, 5000.0, 5600.0))
    between = np.interp(RPM, points, values)
    assert np.all(between <= cap + 1e-9)


def test_breakpoints_outside_the_tested_rpm_stay_empty() -> None:
    ground = ground_of(Day(locked(32, 22, 38), best_sd=0.5))
    points, values = fit_table(ground, least_curve(ground), (500.0, 1500.0, 2000.0, 4000.0, 7000.0))
    assert points.tolist() == [500.0, 1500.0, 2000.0, 4000.0, 7000.0]
    assert np.isnan(values).tolist() == [True, True, False, False, True]


def test_a_fine_table_follows_the_curve() -> None:
    ground = ground_of(Day(locked(32, 20, 40), best=np.linspace(26, 35, len(RPM)), best_sd=0.5))
    curve = least_curve(ground)
    points, values = fit_table(ground, curve, tuple(float(n) for n in range(2000, 5601, 400)))
    assert np.max(np.abs(np.interp(RPM, points, values) - curve)) < 0.3
