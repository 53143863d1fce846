"""Slow channels held in a fast log: which samples are news and which only repeat the last reading."""

import numpy as np

from pullbook.arrays import Array, Mask

_RUNS = 6  # fewer tell nothing
_ALIKE = 0.7  # share of runs of one length (one sample more or less allowed from three up)
_SIZES = 4  # steps of fewer sizes are a coarse digit, not a slow channel


def news(y: Array) -> Mask:
    """Samples that carry a reading of their own.

    Parameters
    ----------
    y
        Shape (n,), NaN where absent (never news).

    Returns
    -------
    ndarray of bool
        All known samples, unless the channel is plainly held: it changes in runs of one length and by many different steps.
        Then the first sample of each run.

    Notes
    -----
    A smooth ramp in coarse digits also changes at even intervals, but by one step each time: it is left alone.

    Examples
    --------
    >>> news(np.repeat([3.0, 5.5, 4.0, 7.0, 6.0, 9.0, 2.0, 2.5], 3)).sum()
    np.int64(8)
    """
    known = np.flatnonzero(np.isfinite(y))
    out = np.zeros(len(y), bool)
    out[known] = True
    if len(known) < 2 * _RUNS:
        return out
    values = y[known]
    first = np.flatnonzero(np.concatenate([[True], values[1:] != values[:-1]]))
    length = np.diff(first)[1:]  # the first and last runs may be cut
    if len(length) < _RUNS:
        return out
    usual = int(np.median(length))
    slack = 1 if usual >= 3 else 0
    alike = np.mean(np.abs(length - usual) <= slack)
    sizes = len(np.unique(np.round(np.abs(np.diff(values[first])), 9)))
    if usual < 2 or alike < _ALIKE or sizes < _SIZES:
        return out
    out[:] = False
    out[known[first]] = True
    return out
