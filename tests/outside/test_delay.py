"""A fixed delay from delivered advance against rpm (reference row M6), by the solver that the timing scale uses."""

import numpy as np
import pytest

from pullbook.measure import gls
from pullbook.units import DEG_PER_RPM_US

RPM = np.array([3000.0, 5000.0, 7000.0])
READ = np.array([34.0, 32.8, 31.6])  # degrees: 0.6° less for each 1000 rpm


def test_m6_delay_from_the_slope() -> None:
    """Row M6: -0.6° per 1000 rpm is 100 µs; readings good to 0.25° give an SE of 14.73 µs, ±24.23 µs (90 %).

    Source: algebra of a straight line through three readings. The spark comes late by 6·10⁻⁶·N·t, so the reading falls.
    """
    basis = np.column_stack([np.ones(3), -DEG_PER_RPM_US * RPM])
    wide = np.diag([1e4**2, 1e7**2])
    fit = gls.fit(basis, READ, np.full(3, 0.25**2), np.zeros(2), wide)
    assert fit.mean[1] == pytest.approx(100.0, abs=1e-3)
    assert np.sqrt(fit.cov[1, 1]) == pytest.approx(14.73, abs=0.01)
    assert 1.6448536 * np.sqrt(fit.cov[1, 1]) == pytest.approx(24.23, abs=0.01)
    assert np.polyfit(RPM / 1000.0, READ, 1)[0] == pytest.approx(-0.6, abs=1e-9)
