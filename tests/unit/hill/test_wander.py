"""What is alike inside a pull is found in the pulls: its memory along rpm and the lean of the gain."""

import numpy as np
import pytest
from tests.unit.hill.made_table import table

from pullbook.hill.day_table import DayTable, common_shape
from pullbook.hill.likelihood import nodes
from pullbook.hill.wander import USUAL, Within, estimate_wander, within_covariance

DAY = table([30.0] * 9, rows=30, sd=0.004)


def estimate(noise: np.ndarray) -> Within:
    shape, _ = common_shape(DAY)
    remainder = (DAY.ln_torque - shape + noise)[None]
    return estimate_wander(DAY, remainder, nodes(0.006, 0.7), np.zeros((*DAY.present.shape, 0)))


def wandering(alike_rpm: float, sd: float) -> np.ndarray:
    rpm = DAY.rpm.astype(float)
    root = np.linalg.cholesky(np.exp(-np.abs(rpm[:, None] - rpm) / alike_rpm) + 1e-9 * np.eye(len(rpm)))
    return np.asarray(sd * np.random.default_rng(3).standard_normal(DAY.ln_torque.shape) @ root.T)


@pytest.mark.parametrize("alike_rpm", [150.0, 1200.0])
def test_how_far_along_the_wander_is_alike_is_found(alike_rpm: float) -> None:
    found = estimate(wandering(alike_rpm, 0.003))
    assert found.alike_rpm == pytest.approx(alike_rpm, rel=1.1)
    assert found.wander == pytest.approx(0.003, rel=0.4)


def test_a_gain_that_leans_over_rpm_is_found_and_not_where_there_is_none() -> None:
    x = (DAY.rpm - DAY.rpm.mean()) / 1000.0
    lean = 0.004 * np.random.default_rng(1).standard_normal((9, 1)) * x
    assert estimate(wandering(300.0, 0.002) + lean).lean >= 0.0012
    assert estimate(wandering(300.0, 0.002)).lean == 0.0


def test_the_covariance_holds_wander_lean_and_white_noise() -> None:
    within = Within(0.002, 0.001, 600.0, 0.001)
    day: DayTable = DAY
    cov = within_covariance(day, within)
    x = (day.rpm - (day.rpm[0] + day.rpm[-1]) / 2) / 1000.0
    assert cov.shape == (9, 30, 30)
    assert cov[2, 0, 6] == pytest.approx(0.002**2 * np.exp(-1.0) + 0.001**2 * x[0] * x[6])
    assert cov[2, 4, 4] == pytest.approx(0.002**2 + 0.001**2 * x[4] ** 2 + day.white[2, 4] + 0.001**2)
    assert USUAL.ln_prior() == 0.0
