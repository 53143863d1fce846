"""Where a curve bends (row M3) and curves that cannot fall (row M7), against published and library values."""

from pathlib import Path

import numpy as np
import pytest

from pullbook.measure.broken_line import break_interval, fit
from pullbook.measure.isotonic import increasing

DATA = Path(__file__).parent / "data" / "stagnant_bacon_watts_1971.csv"


@pytest.fixture
def stagnant() -> tuple[np.ndarray, np.ndarray]:
    """29 heights of stagnant surface layer against log flow (Bacon and Watts 1971)."""
    table = np.genfromtxt(DATA, delimiter=",", names=True)
    return table["x"], table["y"]


def test_m3_two_lines_that_meet(stagnant: tuple[np.ndarray, np.ndarray]) -> None:
    """Row M3: bend, height, slopes, their linearised SEs, residual sum of squares.

    Source: data of Bacon D. W., Watts D. G., 1971, Biometrika 58, 525-534; least squares by SciPy's curve_fit and by a separate
    broken-line package, which agree.
    """
    x, y = stagnant
    line = fit(x, y, np.ones_like(x), 1)
    assert line is not None
    assert line.breaks[0] == pytest.approx(0.035912, abs=1e-5)
    assert line.level == pytest.approx(0.529503, abs=1e-5)
    assert line.slopes == pytest.approx([-0.422077, -1.016593], abs=1e-5)
    assert line.rss == pytest.approx(0.009381363, abs=1e-8)
    assert line.dof == 25
    assert np.sqrt(line.rss / line.dof) == pytest.approx(0.0193715, abs=1e-6)
    assert np.sqrt(np.diag(line.cov)) == pytest.approx([0.017624, 0.011403, 0.014111, 0.021886], abs=1e-4)


def test_m3_profile_interval_of_the_bend(stagnant: tuple[np.ndarray, np.ndarray]) -> None:
    """Row M3: F-based 95 % profile interval; the published Bayesian bend, about 0.026, lies within one SE of ours."""
    x, y = stagnant
    line = fit(x, y, np.ones_like(x), 1)
    assert line is not None
    assert break_interval(x, y, np.ones_like(x), line, 0, confidence=0.95) == pytest.approx((-0.032127, 0.080943), abs=1e-4)
    assert abs(line.breaks[0] - 0.026) < np.sqrt(line.cov[-1, -1])


def test_m7_increasing_fit() -> None:
    """Row M7: pool adjacent violators on 1, 3, 2, 4, 3.5, 5."""
    assert increasing(np.array([1.0, 3.0, 2.0, 4.0, 3.5, 5.0])) == pytest.approx([1, 2.5, 2.5, 3.75, 3.75, 5], abs=1e-12)


def test_m7_against_another_library() -> None:
    """Row M7: 100 random weighted vectors against scikit-learn."""
    isotonic = pytest.importorskip("sklearn.isotonic", reason="row M7 needs scikit-learn")
    rng = np.random.default_rng(7)
    for _ in range(100):
        n = int(rng.integers(2, 40))
        y, w = rng.normal(size=n), rng.uniform(0.2, 3.0, size=n)
        other = isotonic.IsotonicRegression().fit_transform(np.arange(n), y, sample_weight=w)
        assert increasing(y, w) == pytest.approx(other, abs=1e-10)
