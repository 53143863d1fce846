"""Values that stand for "none" in one channel and are plain numbers in another: an advance of 255, a coolant of exactly -40."""

import numpy as np

from pullbook.arrays import Array, extremes
from pullbook.channels.faulty import steps_within

LEAP_C = 20.0
"""°C: no fluid of an engine leaps so far from one row to the next and back again."""
SLOW = frozenset(("coolant_c", "oil_c", "inlet_c"))
KEPT = frozenset(("lambda", "knock", "exhaust_c", "map_kpa"))
"""Channels that do sit at a rail outside what engines do."""


def outcasts(values: Array, lo: float | None, hi: float | None, span: tuple[float, float] | None = None) -> tuple[float, ...]:
    """Values outside the span engines keep a channel in that come again to the last digit, three times or more.

    Parameters
    ----------
    values
        Shape (n,), as logged, NaN where missing.
    lo, hi
        The span, in the logged unit.
    span
        Smallest and largest of the values, where known.

    Returns
    -------
    tuple of float
        None where more than two different values lie outside, or four in ten rows: that is another unit, not a sign for "none".
    """
    low, high = span or extremes(values)
    if (lo is None or low >= lo) and (hi is None or high <= hi):
        return ()
    known = values[np.isfinite(values)]
    out = (known < (-np.inf if lo is None else lo)) | (known > (np.inf if hi is None else hi))
    found, often = np.unique(known[out], return_counts=True)
    if len(found) > 2 or often.min() < 3 or out.mean() > 0.4:
        return ()
    return tuple(map(float, found))


def leapt_to(values: Array, leap: float, span: tuple[float, float] | None = None) -> tuple[float, ...]:
    """The least or most value of a slow channel where it is only ever leapt to and back from.

    Parameters
    ----------
    values
        Shape (n,), as logged, NaN where missing.
    leap
        In the logged unit; nothing else is so near to the value.
    span
        Smallest and largest value, where known.

    Notes
    -----
    The rows either side of a visit agree, so that a cold recording before a warm one is none.
    """
    low, high = span or extremes(values)
    if high - low < leap or (len(values) > 1 and steps_within(values, leap * (1 - 1e-9))):
        return ()  # nothing is leapt to
    x = values[np.isfinite(values)]
    found = []
    for edge in set(extremes(x)) if len(x) > 10 else ():
        on = x == edge
        if not 3 <= on.sum() <= 0.3 * len(x) or np.abs(x[~on] - edge).min() < leap:
            continue
        enters = np.flatnonzero(on[1:] & ~on[:-1])
        leaves = np.flatnonzero(on[:-1] & ~on[1:]) + 1
        leaves = leaves[leaves > enters[0]] if len(enters) else leaves
        visits = min(len(enters), len(leaves))
        if visits and float(np.median(np.abs(x[enters[:visits]] - x[leaves[:visits]]))) < leap / 2:
            found.append(float(edge))
    return tuple(found)
