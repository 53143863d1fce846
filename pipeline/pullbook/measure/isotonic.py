"""Curves that can only rise: the least-squares increasing fit."""

import numpy as np

from pullbook.arrays import Array


def increasing(y: Array, weight: Array | None = None) -> Array:
    """Nearest curve that never falls (pool adjacent violators).

    Parameters
    ----------
    y, weight
        Shape (n,); weights positive, equal where None.

    Examples
    --------
    >>> increasing(np.array([1.0, 3, 2, 4, 3.5, 5])).tolist()
    [1.0, 2.5, 2.5, 3.75, 3.75, 5.0]
    """
    from scipy.optimize import isotonic_regression

    return np.asarray(isotonic_regression(y, weights=weight).x)
