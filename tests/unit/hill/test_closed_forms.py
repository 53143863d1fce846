"""What is integrated out in closed form against a dense covariance matrix, and the hill's slopes against differences."""

import numpy as np
import pytest

from pullbook.belief import Prior
from pullbook.hill.form import hill_basis, ln_torque_lost, slopes
from pullbook.hill.likelihood import DayLikelihood, Nodes, drift_courses, nodes

P, R, J = 5, 6, 2


def made(seed: int = 3) -> tuple[DayLikelihood, np.ndarray, np.ndarray, Nodes]:
    rng = np.random.default_rng(seed)
    present = rng.random((P, R)) > 0.2
    factor = rng.normal(size=(P, R, R))
    covariance = (np.einsum("pij,pkj->pik", factor, factor) + np.eye(R)) * 1e-6
    modes = rng.normal(size=(P, R, J)) * 1e-3
    scales = Nodes(np.array([0.004, 0.008, 0.004]), np.array([0.001, 0.001, 0.005]), np.log(np.array([0.2, 0.5, 0.3])))
    closed = DayLikelihood(covariance, present, np.arange(P, dtype=float), scales, modes)
    return closed, covariance, modes, scales


def dense(closed: DayLikelihood, covariance: np.ndarray, modes: np.ndarray, sd: float, drift: float) -> tuple[np.ndarray, ...]:
    """Full covariance, design and precision-with-rows-projected-out of the present data, and their places."""
    places = np.argwhere(closed.present)
    course = drift_courses(np.arange(P, dtype=float))
    v = np.zeros((len(places), len(places)))
    for i, (p, a) in enumerate(places):
        for j, (q, b) in enumerate(places):
            same = p == q
            v[i, j] = same * (covariance[p, a, b] + sd**2) + drift**2 * course[p] @ course[q] + modes[p, a] @ modes[q, b]
    x = np.array([[float(a == c) for c in range(R)] for _, a in places])[:, closed.present.any(axis=0)]
    inverse = np.linalg.inv(v)
    gram = x.T @ inverse @ x
    return v, gram, inverse - inverse @ x @ np.linalg.inv(gram) @ x.T @ inverse, places


def test_every_node_equals_the_dense_restricted_likelihood() -> None:
    closed, covariance, modes, scales = made()
    r = 0.01 * np.random.default_rng(9).standard_normal((4, P, R))
    got = closed.node_ln_likelihood(closed.residuals(r)) + closed.constant()
    for g in range(3):
        v, gram, projected, places = dense(closed, covariance, modes, scales.sd[g], scales.drift[g])
        for b in range(4):
            y = r[b][tuple(places.T)]
            want = -0.5 * (np.linalg.slogdet(v)[1] + np.linalg.slogdet(gram)[1] + y @ projected @ y) + scales.ln_weight[g]
            assert got[b, g] == pytest.approx(want, abs=1e-6)


def test_absent_data_weigh_nothing() -> None:
    closed, *_ = made()
    r = 0.01 * np.random.default_rng(2).standard_normal((1, P, R))
    other = np.where(closed.present, r, 7.0)
    assert closed.ln_likelihood(other) == pytest.approx(closed.ln_likelihood(r), abs=1e-9)


def test_what_all_pulls_share_is_harmless() -> None:
    closed, *_ = made()
    r = 0.01 * np.random.default_rng(2).standard_normal((1, P, R))
    hump = np.linspace(-0.3, 0.4, R) ** 2
    assert closed.ln_likelihood(r + hump) == pytest.approx(closed.ln_likelihood(r), abs=1e-5)


def test_averaged_precision_reproduces_the_quadratic_form_of_a_node() -> None:
    closed, covariance, modes, scales = made()
    r = 0.01 * np.random.default_rng(4).standard_normal((1, P, R))
    scores = closed.residuals(r)
    form = closed.level_forms(scores.pull[:, None], np.array([[0.0, 1.0, 0.0]]))
    _, _, projected, places = dense(closed, covariance, modes, scales.sd[1], scales.drift[1])
    y = r[0][tuple(places.T)]
    assert scores.quadratic[0] - form[0, 0, 0] == pytest.approx(y @ projected @ y, rel=1e-9)


def test_pull_levels_given_the_remainder_equal_the_dense_prediction() -> None:
    closed, covariance, modes, scales = made()
    r = 0.01 * np.random.default_rng(4).standard_normal((1, P, R))
    cov, lower = closed.node_level(1)
    assert lower @ lower.T == pytest.approx(cov)
    _, _, projected, places = dense(closed, covariance, modes, scales.sd[1], scales.drift[1])
    course = drift_courses(np.arange(P, dtype=float))
    prior = scales.sd[1] ** 2 * np.eye(P) + scales.drift[1] ** 2 * course @ course.T
    runs = np.array([[float(p == i) for i in range(P)] for p, _ in places])
    want = prior @ runs.T @ projected @ r[0][tuple(places.T)]
    assert closed.residuals(r).pull[0] @ cov == pytest.approx(want, rel=1e-6, abs=1e-12)


def test_drift_has_a_straight_course_and_a_bend_half_as_far_at_right_angles() -> None:
    course = drift_courses(np.array([3.0, 4.0, 5.0, 7.0, 8.0, 11.0]))
    assert course[:, 0] == pytest.approx(np.array([3.0, 4.0, 5.0, 7.0, 8.0, 11.0]) - 38 / 6)
    assert course.sum(axis=0) == pytest.approx(0.0, abs=1e-9)
    assert course[:, 0] @ course[:, 1] == pytest.approx(0.0, abs=1e-9)
    assert np.abs(course[:, 1]).max() == pytest.approx(0.5 * np.abs(course[:, 0]).max())
    assert not drift_courses(np.arange(3.0))[:, 1].any()


def test_node_weights_are_a_distribution_that_leans_to_rougher_dynos() -> None:
    grid = nodes(0.006, 0.7)
    weight = np.exp(grid.ln_weight)
    assert weight.sum() == pytest.approx(1.0)
    assert grid.sd[weight.argmax()] == pytest.approx(0.006)
    assert weight[grid.sd > 0.0121].sum() > 2 * weight[grid.sd < 0.0029].sum() > 0
    assert grid.sd.min() < 0.0006


def test_slopes_of_the_hill_equal_differences() -> None:
    rng = np.random.default_rng(1)
    basis = hill_basis(np.arange(2500, 5600, 200), Prior(0.006, 0.7, 3e-4, 0.4), 30.0)
    advance = 30 + 8 * rng.standard_normal((4, len(basis.rpm)))
    xi = 0.5 * rng.standard_normal((3, basis.size))
    value, per_deg, jacobian = slopes(basis, advance, xi)
    best, k, skew = basis.hill(xi)
    assert value == pytest.approx(ln_torque_lost(advance, best, k, skew))
    step = 1e-5
    up, down = (ln_torque_lost(advance + s, best, k, skew) for s in (step, -step))
    assert per_deg == pytest.approx((up - down) / (2 * step), abs=1e-7)
    for q in range(basis.size):
        move = np.zeros(basis.size)
        move[q] = step
        up, down = (ln_torque_lost(advance, *basis.hill(xi + s * move)) for s in (1, -1))
        assert jacobian[:, q] == pytest.approx((up - down) / (2 * step), abs=1e-6)


def test_a_loss_too_great_for_a_logarithm_goes_on_as_a_line() -> None:
    far = ln_torque_lost(np.array([[200.0]]), np.array([[30.0]]), np.array([[3e-4]]), np.array([0.0]))
    assert np.isfinite(far).all()
    assert far[0, 0, 0] < np.log(0.4)
