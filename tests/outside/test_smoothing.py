"""Smoothing and slopes (reference rows S13, S14): published weights against a library's and against the tool's own local fits.

Source: Savitzky A., Golay M. J. E., 1964, Anal. Chem. 36, 1627-1639, as corrected by Steinier J. et al., 1972, Anal. Chem. 44,
1906 (both from memory); the numbers are confirmed by ``scipy.signal.savgol_coeffs``.
"""

import numpy as np
import pytest
from scipy.signal import savgol_coeffs, savgol_filter

from pullbook.measure.local import centred_means, local_slope

#: points, order, derivative -> weights, divisor
WEIGHTS = {
    (5, 2, 0): ([-3, 12, 17, 12, -3], 35), (7, 2, 0): ([-2, 3, 6, 7, 6, 3, -2], 21),
    (9, 2, 0): ([-21, 14, 39, 54, 59, 54, 39, 14, -21], 231),
    (11, 2, 0): ([-36, 9, 44, 69, 84, 89, 84, 69, 44, 9, -36], 429), (7, 4, 0): ([5, -30, 75, 131, 75, -30, 5], 231),
    (5, 2, 1): ([-2, -1, 0, 1, 2], 10), (7, 2, 1): ([-3, -2, -1, 0, 1, 2, 3], 28), (5, 3, 1): ([1, -8, 0, 8, -1], 12),
    (7, 3, 1): ([22, -67, -58, 0, 58, 67, -22], 252),
}  # fmt: skip


@pytest.mark.parametrize("which", WEIGHTS, ids=str)
def test_s13_published_weights(which: tuple[int, int, int]) -> None:
    """Row S13: the library's weights are the published fractions, 1e-12."""
    weights, divisor = WEIGHTS[which]
    points, order, derivative = which
    assert savgol_coeffs(points, order, derivative, use="dot") == pytest.approx(np.array(weights) / divisor, abs=1e-12)


@pytest.mark.parametrize("points", [5, 7])
def test_s13_our_slope_is_the_published_one_on_an_even_grid(points: int) -> None:
    """Row S13: our local quadratic's slope at an inner sample is the first-derivative weights' answer, to its own 1e-6 ridge."""
    rng = np.random.default_rng(points)
    y = rng.normal(size=60)
    t = np.arange(60.0)
    half = points // 2
    weights, divisor = WEIGHTS[points, 2, 1]
    expected = np.convolve(y, np.array(weights[::-1]) / divisor, mode="valid")
    got = local_slope(t, y, half + 0.5)
    assert got[12:-12] == pytest.approx(expected[12 - half : len(y) - 12 - half], abs=1e-6)


def test_s13_a_cubic_passes_and_the_peak_stays() -> None:
    """Row S13: smoothing of order 2 or 3 leaves a cubic unchanged and a symmetric peak in its place."""
    x = np.linspace(-2.0, 2.0, 41)
    cubic = 1.0 - 2.0 * x + 0.5 * x**2 + 0.3 * x**3
    assert savgol_filter(cubic, 7, 2)[3:-3] == pytest.approx(cubic[3:-3], abs=1e-12)
    peak = 400.0 * np.exp(-(x**2))
    assert int(np.argmax(savgol_filter(peak, 9, 2))) == int(np.argmax(peak))
    slope = local_slope(x, 1.0 - 2.0 * x + 0.5 * x**2, 0.35)
    assert slope[5:-5] == pytest.approx((-2.0 + x)[5:-5], abs=1e-6), "our slope of a parabola is exact"


def test_s14_a_trailing_mean_delays_and_a_centred_one_does_not() -> None:
    """Row S14: 300 rpm/s at 20 Hz is 15 rpm a sample; a trailing mean of nine lags by four samples, 60 rpm (algebra).

    The tool's means stand at the centres of their rows, whatever samples fall into them.
    """
    rpm = 2000.0 + 15.0 * np.arange(200)
    trailing = np.convolve(rpm, np.ones(9) / 9.0, mode="valid")
    assert rpm[8:] - trailing == pytest.approx(np.full(len(trailing), 60.0), abs=1e-9)
    torque = 100.0 + 0.02 * rpm
    cell, mean, _, _ = centred_means(rpm, torque, 100.0)
    assert mean[1:-1] == pytest.approx(100.0 + 0.02 * 100.0 * cell[1:-1], abs=1e-9)
    hump = 400.0 - 1e-5 * (rpm - 3500.0) ** 2
    cell, mean, _, _ = centred_means(rpm, hump, 100.0)
    assert 100 * cell[np.argmax(mean)] == 3500
