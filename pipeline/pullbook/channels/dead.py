"""Channels that do not live: that never move, stick at one value while the speed moves, or are cut off at their rail."""

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array, Mask, extremes, thinned
from pullbook.measure.runs import run_ends

FEW = 2_000
"""Places that are looked at one by one rather than the whole log."""


def never_moves(values: Array) -> bool:
    """Whether a channel with eight values or more holds one value for the whole log.

    Parameters
    ----------
    values
        Shape (n,), any unit, NaN where missing.
    """
    low, high = extremes(values)
    return low == high and int(np.isfinite(values).sum()) >= 8


def longest_stuck(values: Array, rpm: Array | None) -> tuple[int, int]:
    """(first row, rows) of the longest run, fifteen or more, of one value while rpm moves by more than 300; else (0, 0).

    Parameters
    ----------
    values, rpm
        Shape (n,) each, NaN where missing; without ``rpm`` any such run counts.
    """
    some = values[1::3] == values[: len(values) - 1 : 3]  # every third pair; NaN never equals NaN
    if len(some) > 4:
        shows = np.flatnonzero(some[3:] & some[2:-1] & some[1:-2] & some[:-3])  # a run of fifteen shows in four of them in a row
        if not len(shows) or (len(shows) < FEW and not _runs_of_fifteen(values, 3 * shows)):
            return 0, 0
    same = values[1:] == values[:-1]
    first, stop = run_ends(same)
    rows = stop - first + 1
    for k in np.argsort(-rows, kind="stable")[:200].tolist():
        a, count = int(first[k]), int(rows[k])
        if count < 15:
            break
        if rpm is None or np.nanmax(rpm[a : a + count], initial=0.0) - np.nanmin(rpm[a : a + count], initial=1e9) >= 300:
            return a, count
    return 0, 0


def _runs_of_fifteen(values: Array, places: npt.NDArray[np.int64]) -> bool:
    """Whether one value holds for fifteen rows or more about one of the places, a row each."""
    rows = np.clip(places[:, None] + np.arange(-15, 30), 0, len(values) - 2)
    same = values[rows + 1] == values[rows]
    return bool(np.lib.stride_tricks.sliding_window_view(same, 14, axis=1).all(axis=2).any())


def at_rail(values: Array, span: tuple[float, float], rpm: Array) -> float | None:
    """The extreme value at which a channel is cut off: at least ten rows and 3 % of them sit exactly on it while rpm moves.

    Parameters
    ----------
    values
        Shape (n,), any unit, NaN where missing.
    span
        Smallest and largest of them.
    rpm
        Shape (n,): at a rail while the speed stands, a channel may be right.
    """
    if len(values) < 40:
        return None
    some = thinned(values, 20_000)
    for edge in span[::-1]:
        if np.count_nonzero(some == edge) < 0.01 * len(some):
            continue
        known = values[np.isfinite(values)]
        on = known == edge
        if on.sum() >= max(10, 0.03 * len(known)) and not on.all():
            near = np.sort(np.unique(known))
            gap = abs(near[-1] - near[-2]) if edge == near[-1] else abs(near[1] - near[0])
            first, stop = run_ends(on)
            if (stop - first).max() >= 10 and len(near) > 20 and gap < 0.2 * (span[1] - span[0]) and _moves(rpm, values == edge):
                return edge
    return None


def _moves(rpm: Array, rows: Mask) -> bool:
    """Whether rpm moves over the rows by more than it would about a steady speed, or never moves in the whole log."""
    low, high = extremes(rpm[rows])
    lowest, highest = extremes(rpm)
    return high - low >= min(300.0, 0.5 * (highest - lowest))
