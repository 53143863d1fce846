"""What days say of a hill: the prior divided out, days put together, scatter between them, anchors left open."""

import numpy as np
import pytest

from pullbook.belief import Prior
from pullbook.hill.earlier_days import EarlierDays, day_scatter, earlier_days
from pullbook.hill.form import HillBasis, hill_basis
from pullbook.hill.told import FORM, Told, believed, kept_of, read_off, together, told_by

PRIOR = Prior(0.006, 0.69, 3e-4, 0.37)
RPM = np.arange(2500.0, 5600.0, 100.0)
ANCHORS = np.array([3000.0, 4000.0, 5000.0])


def lines(at: np.ndarray, rows: np.ndarray = RPM) -> np.ndarray:
    return np.array([np.interp(rows, rows, np.eye(len(rows))[i]) for i in range(len(rows))])[:, np.searchsorted(rows, at)].T


def a_likelihood(seed: int = 3, anchors: np.ndarray = ANCHORS) -> Told:
    """Any that a day might say: best to half a degree, ln k to 0.2, skew to 0.004."""
    rng = np.random.default_rng(seed)
    size = len(anchors) + FORM
    sd = np.array([0.5] * len(anchors) + [0.2, 0.08, 0.004])
    mixed = np.eye(size) + 0.3 * rng.standard_normal((size, size))
    cov = sd[:, None] * (mixed @ mixed.T) * sd
    mean = np.array([*[31.0, 32.0, 33.0][: len(anchors)], np.log(2e-4), 0.05, -0.003])
    weight = np.linalg.inv(cov)
    return Told(anchors, 4000.0, weight, weight @ mean)


def basis() -> HillBasis:
    return hill_basis(RPM, PRIOR, 30.0)


def test_the_prior_divided_out_leaves_the_likelihood() -> None:
    said = a_likelihood()
    mean, cov = believed(basis(), read_off(lines(ANCHORS), lines(np.array([4000.0]))[0], RPM))
    after = np.linalg.inv(np.linalg.inv(cov) + said.weight)
    got = told_by(ANCHORS, 4000.0, (mean, cov), (after @ (np.linalg.solve(cov, mean) + said.towards), after))
    assert got.weight == pytest.approx(said.weight, rel=1e-3, abs=1e-3 * np.abs(said.weight).max())
    assert got.towards == pytest.approx(said.towards, rel=1e-3, abs=1e-3 * np.abs(said.towards).max())


def test_a_day_that_leaves_the_belief_as_it_was_says_nothing() -> None:
    mean, cov = believed(basis(), read_off(lines(ANCHORS), lines(np.array([4000.0]))[0], RPM))
    for left in (1.1, 0.95):
        said = told_by(ANCHORS, 4000.0, (mean, cov), (mean + 1.0, left * cov))
        assert not said.weight.any()
        assert not said.towards.any()


def test_a_day_at_one_rpm_says_nothing_of_the_slope() -> None:
    """A spark sweep at one rpm: the slope of ln k cannot be read off it, and is not said to be 0."""
    at = np.array([4000.0])
    mean, cov = believed(hill_basis(at, PRIOR, 30.0), read_off(np.ones((1, 1)), np.ones(1), at))
    said = told_by(at, 4000.0, (mean, cov), (mean + np.array([1.0, 0.1, 0.0, 0.0]), cov * 0.2))
    assert said.weight[0, 0] > 0
    assert said.weight[1, 1] > 0
    assert not said.weight[2].any()
    assert said.towards[2] == 0


def test_scatter_is_a_normal_added_to_what_is_said() -> None:
    said, scatter = a_likelihood(), day_scatter(ANCHORS)
    got = said.scattered(scatter)
    assert np.linalg.inv(got.weight) == pytest.approx(np.linalg.inv(said.weight) + scatter, rel=1e-6)
    assert np.linalg.solve(got.weight, got.towards) == pytest.approx(np.linalg.solve(said.weight, said.towards), rel=1e-6)


def test_what_stands_in_front_is_the_integral_over_the_scatter() -> None:
    """∫ N(δ; 0, S)·L(θ + δ) dδ by drawing δ, against the closed form, at one θ."""
    said = Told(np.array([]), 4000.0, np.diag([4.0, 9.0, 1.0]), np.array([1.0, -2.0, 0.5]))
    scatter, theta = np.diag([0.3, 0.1, 0.4]), np.array([0.4, -0.2, 0.1])
    off = theta + np.random.default_rng(1).standard_normal((400_000, 3)) * np.sqrt(np.diag(scatter))
    drawn = np.log(np.mean(np.exp(off @ said.towards - 0.5 * np.einsum("ba,ac,bc->b", off, said.weight, off))))
    got = said.scattered(scatter)
    assert said.ln_scattered(scatter) + theta @ got.towards - 0.5 * theta @ got.weight @ theta == pytest.approx(drawn, abs=0.01)


def test_anchors_left_open_are_marginal() -> None:
    said = a_likelihood()
    some = said.at(np.array([0, 2]))
    kept = [0, 2, 3, 4, 5]
    assert np.linalg.inv(some.weight) == pytest.approx(np.linalg.inv(said.weight)[np.ix_(kept, kept)], rel=1e-4)
    assert np.linalg.solve(some.weight, some.towards) == pytest.approx(np.linalg.solve(said.weight, said.towards)[kept], rel=1e-4)


def test_days_on_other_anchors_meet_on_all_of_them() -> None:
    one, other = a_likelihood(1), a_likelihood(2, ANCHORS[:1])
    none = np.zeros((6, 6)), np.zeros((4, 4))
    both = together([one, other], none)
    assert both.rpm.tolist() == ANCHORS.tolist()
    kept = [0, 3, 4, 5]
    added = one.weight.copy()
    added[np.ix_(kept, kept)] += other.weight
    assert both.weight == pytest.approx(added)


def test_ln_k_read_elsewhere_goes_along_its_slope() -> None:
    """A day that knows ln k = −8 at 5000 rpm and its slope 0.1 says −8.1 at 4000."""
    sure = np.diag([1e6, 1e6, 1.0])
    there = Told(np.array([]), 5000.0, sure, sure @ np.array([-8.0, 0.1, 0.0]))
    empty = Told(np.array([]), 4000.0, np.zeros((3, 3)), np.zeros(3))
    none = np.zeros((3, 3))
    both = together([there, empty], [none, none])
    assert np.linalg.solve(both.weight, both.towards)[:2] == pytest.approx([-8.1, 0.1], abs=1e-5)


def test_the_error_two_days_share_stays() -> None:
    """Best advance known to 0.1° were the skew known, which pulls it by 200° · s: ten such days know it no better than the skew,
    and the skew no better than its prior: the best's SD stays near 200·0.007 = 1.4°."""
    per_skew = np.array([1.0, 0.0, 0.0, -200.0])
    day = Told(np.array([4000.0]), 4000.0, np.outer(per_skew, per_skew) / 0.1**2, np.zeros(4))
    ten = together([day] * 10, [np.zeros((4, 4))] * 10)
    cov = np.linalg.inv(ten.weight + np.diag([1e-6, 1 / 0.37**2, 1 / 0.12**2, 1 / 0.007**2]))
    assert np.sqrt(cov[0, 0]) == pytest.approx(1.4, rel=0.01)


def earlier() -> EarlierDays:
    return earlier_of(0.0)


def earlier_of(doubt_deg: float) -> EarlierDays:
    whole = np.full((len(RPM), 1), doubt_deg)
    return earlier_days(a_likelihood(), basis(), lines(ANCHORS), lines(np.array([4000.0]))[0], np.arange(3), whole)


def test_earlier_days_say_less_to_a_day_whose_scale_is_in_doubt() -> None:
    """2° on the whole scale: what is said of the level of the best is 2° wider, what is said of its course is not."""
    sure, unsure = (np.linalg.inv(earlier_of(d).tight.weight) for d in (0.0, 2.0))
    assert unsure[0, 0] == pytest.approx(sure[0, 0] + 4.0, rel=1e-3)
    course = np.array([1.0, 0.0, -1.0, 0.0, 0.0, 0.0])
    assert course @ unsure @ course == pytest.approx(course @ sure @ course, rel=1e-3)


def test_slopes_are_those_of_the_density() -> None:
    """By differences, at a point where one part of the pair rules (there the mixture's slope is that part's own)."""
    say, xi = earlier(), np.full((1, basis().size), 0.1)
    gradient, information = say.normal_equations(xi)
    h = 1e-5
    for i in range(xi.shape[1]):
        step = np.zeros_like(xi)
        step[0, i] = h
        assert gradient[0, i] == pytest.approx(
            (say.ln_density(xi + step) - say.ln_density(xi - step))[0] / (2 * h), rel=2e-3, abs=2e-3
        )
    assert np.linalg.eigvalsh(information[0]).min() > -1e-6 * np.abs(information).max()


def test_a_day_far_off_is_left_to_itself() -> None:
    """Near what the earlier days say they pull hard; ten degrees away the wide part rules and pulls far less."""
    say, n = earlier(), basis().best_basis.shape[1]
    to_level = np.linalg.pinv(basis().best_basis)
    at = {off: np.zeros((1, basis().size)) for off in (0.0, 1.0, 10.0, 11.0)}
    for off, xi in at.items():
        xi[0, :n] = to_level @ (32.0 + off + (RPM - 4000.0) / 1000.0 - basis().best_mean)
    near = say.ln_density(at[0.0]) - say.ln_density(at[1.0])
    far = say.ln_density(at[10.0]) - say.ln_density(at[11.0])
    assert 0 < far[0] < near[0]


def test_nine_figures_are_kept() -> None:
    kept = kept_of(a_likelihood())
    assert kept["weight"][0][0] == pytest.approx(a_likelihood().weight[0, 0], rel=1e-8)
    assert kept["rpm"] == ANCHORS.tolist()
