"""Draws against distributions whose moments are known."""

import numpy as np
import pytest

from pullbook.hill.climb import Tops
from pullbook.hill.sampler import sample


def tops(centres: list[list[float]]) -> Tops:
    xi = np.array(centres)
    m, q = xi.shape
    return Tops(xi, np.repeat(np.eye(q)[None], m, axis=0), np.zeros(m), np.zeros(m))


def test_a_correlated_normal_far_from_the_start() -> None:
    mean, cov = np.array([1.5, -1.0, 0.5]), np.array([[1.0, 0.8, 0.0], [0.8, 1.0, 0.3], [0.0, 0.3, 0.5]])
    inverse = np.linalg.inv(cov)
    xi = sample(
        lambda x: -0.5 * np.einsum("ni,ij,nj->n", x - mean, inverse, x - mean),
        tops([[0.0, 0.0, 0.0]]),
        np.random.default_rng(1),
        4000,
    )
    assert xi.mean(axis=0) == pytest.approx(mean, abs=0.12)
    assert np.cov(xi.T) == pytest.approx(cov, abs=0.15)


def test_two_hills_keep_their_shares() -> None:
    """0.7 at −4 and 0.3 at +4: a single-minded climber would report one."""

    def density(x: np.ndarray) -> np.ndarray:
        return np.logaddexp(np.log(0.7) - 0.5 * (x[:, 0] + 4) ** 2, np.log(0.3) - 0.5 * (x[:, 0] - 4) ** 2) - 0.5 * x[:, 1] ** 2

    xi = sample(density, tops([[-4.0, 0.0], [4.0, 0.0]]), np.random.default_rng(2), 4000)
    assert float(np.mean(xi[:, 0] < 0)) == pytest.approx(0.7, abs=0.06)


def test_a_bent_ridge_keeps_its_tail() -> None:
    """x normal, y = x² + normal: the Gauss–Newton shape at the top is wrong everywhere else."""
    xi = sample(
        lambda x: -0.5 * x[:, 0] ** 2 - 0.5 * (x[:, 1] - x[:, 0] ** 2) ** 2, tops([[0.0, 0.0]]), np.random.default_rng(3), 4000
    )
    assert xi[:, 1].mean() == pytest.approx(1.0, abs=0.25)
    assert xi[:, 0].std() == pytest.approx(1.0, abs=0.15)


def test_the_same_seed_gives_the_same_digits() -> None:
    runs = [sample(lambda x: -0.5 * (x**2).sum(axis=1), tops([[0.5, 0.0]]), np.random.default_rng(7), 200) for _ in range(2)]
    assert np.array_equal(*runs)
