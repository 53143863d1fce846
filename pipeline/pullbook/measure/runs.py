"""Unbroken runs of true in a row of flags."""

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Mask


def run_ends(flags: Mask) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """First place of every run, and the place after its last.

    Parameters
    ----------
    flags
        Shape (n,).

    Returns
    -------
    tuple
        Shape (runs,) each, rising.
    """
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return edges[::2], edges[1::2]


def runs(flags: Mask) -> list[tuple[int, int]]:
    """The same as pairs (first, stop).

    Examples
    --------
    >>> runs(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    first, stop = run_ends(flags)
    return list(zip(first.tolist(), stop.tolist(), strict=True))
