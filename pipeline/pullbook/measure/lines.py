"""Straight lines between knots, as weights: what is known at some places read at others."""

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array


def lines_at(wanted: npt.ArrayLike, at: npt.ArrayLike) -> Array:
    """Weights of linear interpolation: ``weights @ values`` reads values at ``at`` where they are ``wanted``.

    Parameters
    ----------
    wanted, at
        Places, (n,), in any order, and knots, (m,), rising, at least one; of one unit. Beyond the ends the line goes on.

    Returns
    -------
    Array
        (n, m), without unit.

    Examples
    --------
    >>> lines_at([2500.0, 3500.0], [2000.0, 3000.0]).tolist()
    [[0.5, 0.5], [-0.5, 1.5]]
    """
    x, knots = np.asarray(wanted, float), np.asarray(at, float)
    out = np.zeros((len(x), len(knots)))
    if len(knots) == 1:
        out[:, 0] = 1.0
        return out
    left = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, len(knots) - 2)
    share = (x - knots[left]) / (knots[left + 1] - knots[left])
    row = np.arange(len(x))
    out[row, left] = 1.0 - share
    out[row, left + 1] = share
    return out
