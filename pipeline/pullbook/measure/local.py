"""Local slopes, white variance and centred means of unevenly sampled series, without loops over samples."""

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array

_CELLS = 10  # cells to each side of a window's centre; within a cell samples count as one at their mean place


def local_slope(t: Array, y: Array, half_width: float) -> Array:
    """Slope of a local quadratic through ``y``, at every ``t``.

    Parameters
    ----------
    t, y
        Shape (n,), ``t`` not falling, both finite; any units.
    half_width
        Half the window in units of ``t``; widened to two and a half typical steps where samples are sparse.

    Returns
    -------
    Array
        Shape (n,), units of y per unit of t; NaN throughout where fewer than two places are known.

    Notes
    -----
    Samples are gathered in cells a tenth of the half width wide, so cost does not grow with the sampling rate. A window
    with fewer than four filled cells, or cut short by an end of the series, gets a straight line instead: a parabola's slope
    at its end is four times as noisy.
    """
    if len(t) < 2 or t[-1] <= t[0]:
        return np.full(len(t), np.nan)
    step = float(np.median(np.diff(t)[np.diff(t) > 0]))
    cell = max(half_width, 2.5 * step) / _CELLS
    index = np.floor((t - t[0]) / cell).astype(np.int64)
    filled, index = np.unique(index, return_inverse=True)
    n = np.bincount(index).astype(float)
    place, height = np.bincount(index, t) / n, np.bincount(index, y) / n
    height_mean = float(height.mean())
    moment, cross = np.zeros((5, len(filled))), np.zeros((3, len(filled)))
    used = np.zeros(len(filled))
    at = np.arange(len(filled))
    for shift in range(-2 * _CELLS, 2 * _CELLS + 1):  # neighbours in the list of filled cells; the gap decides whether they count
        other = at + shift
        ok = (other >= 0) & (other < len(filled))
        other = np.clip(other, 0, len(filled) - 1)
        u = (place[other] - place) / (cell * _CELLS)
        w = np.where(ok & (np.abs(u) <= 1.0 + 1e-9), n[other], 0.0)
        used += w > 0
        power = w.copy()
        for k in range(5):
            moment[k] += power
            if k < 3:
                cross[k] += power * (height[other] - height_mean)
            power = power * u
    slope = _line_slope(moment, cross)
    short = np.minimum(place - place[0], place[-1] - place) < 0.5 * cell * _CELLS
    bent = (used >= 4) & ~short
    if bent.any():
        a = np.moveaxis(np.stack([moment[0:3], moment[1:4], moment[2:5]]), 2, 0)[bent]
        slope[bent] = np.linalg.solve(a + 1e-9 * np.eye(3), cross.T[bent][..., None])[:, 1, 0]
    slope /= cell * _CELLS
    known = np.isfinite(slope)
    return np.interp(t, place[known], slope[known]) if known.any() else np.full(len(t), np.nan)


def _line_slope(moment: Array, cross: Array) -> Array:
    spread = moment[2] * moment[0] - moment[1] ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(spread > 1e-12, (cross[1] * moment[0] - cross[0] * moment[1]) / spread, np.nan)


def second_differences(y: Array) -> Array:
    """Squared second differences over six at the inner samples, NaN at the ends: each is a white variance in the mean.

    For white noise of variance v on a smooth course, E(y[i-1] - 2 y[i] + y[i+1])² = 6 v.

    Examples
    --------
    >>> second_differences(np.array([0.0, 0.0, 6.0, 0.0]))[1:3]
    array([ 6., 24.])
    """
    out = np.full(len(y), np.nan)
    if len(y) > 2:
        out[1:-1] = (y[:-2] - 2.0 * y[1:-1] + y[2:]) ** 2 / 6.0
    return out


def centred_means(x: Array, y: Array, step: float) -> tuple[npt.NDArray[np.int64], Array, Array, npt.NDArray[np.int64]]:
    """Means of ``y`` in cells of width ``step`` around multiples of ``step``, moved to the cell's centre by the local slope.

    Parameters
    ----------
    x, y
        Shape (n,), any order, finite.
    step
        Width of a cell in units of ``x``, > 0.

    Returns
    -------
    cell, mean, off_centre, n
        Shape (m,): the cell's number (its centre is ``cell * step``), the mean at the centre, how far the samples' mean
        place lay from the centre (units of x), the count. Empty cells are absent.

    Notes
    -----
    The slope is a straight line through the cell and its two neighbours; where that is not known, through the filled cells
    beside it.
    """
    number = np.floor(x / step + 0.5).astype(np.int64)
    cell, index, n = np.unique(number, return_inverse=True, return_counts=True)
    u = (x - cell[index] * step) / step
    centre = float(np.mean(y)) if len(y) else 0.0
    sums = [np.bincount(index, w, minlength=len(cell)) for w in (u, u * u, y - centre, u * (y - centre))]
    su, suu, sy, suy = sums
    off, mean = su / n, sy / n
    n0, n1, n2, c0, c1 = n.astype(float), su.copy(), suu.copy(), sy.copy(), suy.copy()
    for side in (-1, 1):
        beside = np.searchsorted(cell, cell + side)
        ok = (beside < len(cell)) & (cell[np.minimum(beside, len(cell) - 1)] == cell + side)
        b, k = beside[ok], ok
        n0[k] += n[b]
        n1[k] += su[b] + side * n[b]
        n2[k] += suu[b] + 2 * side * su[b] + n[b]
        c0[k] += sy[b]
        c1[k] += suy[b] + side * sy[b]
    slope = _line_slope(np.stack([n0, n1, n2]), np.stack([c0, c1]))
    if len(cell) > 1:
        coarse = np.gradient(mean, cell + off)
        slope = np.where(np.isfinite(slope), slope, coarse)
    slope = np.where(np.isfinite(slope), slope, 0.0)
    return cell, mean + centre - slope * off, off * step, n.astype(np.int64)
