"""Where marks, labels and points of a drawing stand; and a table's numbers as a drawing takes them."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from pullbook.arrays import Array


def round_marks(lo: float, hi: float, most: int) -> list[float]:
    """Round numbers between ``lo`` and ``hi``, ``most`` at the most (1, 2 and 5 times powers of ten)."""
    raw = max((hi - lo) / most, 1e-9)
    power = 10.0 ** np.floor(np.log10(raw))
    step = next(s * power for s in (1, 2, 5, 10) if s * power >= raw * 0.999)
    first = np.ceil(lo / step - 1e-9)
    return [float(round(k * step, 10)) for k in np.arange(first, np.floor(hi / step + 1e-9) + 1)]


def keep_apart(wanted: Sequence[float], sizes: Sequence[float], lo: float, hi: float) -> list[float]:
    """Middles for things of ``sizes``, nearest to ``wanted``, none on another, inside ``lo`` to ``hi``.

    Where they do not all fit they are drawn together evenly, so that none leaves the frame.

    Examples
    --------
    >>> keep_apart([1.0, 1.1, 5.0], [1.0, 1.0, 1.0], 0.0, 6.0)
    [0.55, 1.55, 5.0]
    """
    room = min(1.0, (hi - lo) / max(sum(sizes), 1e-12))
    tall = [s * room for s in sizes]
    groups: list[tuple[list[int], float]] = []  # members from below, and the middle of the stack
    for i in sorted(range(len(wanted)), key=lambda i: wanted[i]):
        members, middle = [i], min(max(wanted[i], lo + tall[i] / 2), hi - tall[i] / 2)
        while (
            groups and groups[-1][1] + sum(tall[k] for k in groups[-1][0]) / 2 > middle - sum(tall[k] for k in members) / 2 + 1e-12
        ):
            below, its_middle = groups.pop()
            middle = (its_middle * len(below) + middle * len(members)) / (len(below) + len(members))
            members = below + members
            half = sum(tall[k] for k in members) / 2
            middle = min(max(middle, lo + half), hi - half)
        groups.append((members, middle))
    spots = [0.0] * len(wanted)
    for members, middle in groups:
        at = middle - sum(tall[k] for k in members) / 2
        for k in members:
            spots[k] = round(at + tall[k] / 2, 9)
            at += tall[k]
    return spots


def freest(
    boxes: Sequence[tuple[float, float, float]],
    half: float,
    bars: Sequence[tuple[float, float, float]],
    frame: tuple[float, float],
) -> int:
    """Which box covers least of the upright bars and of what lies outside the frame; of equals the last.

    Parameters
    ----------
    boxes
        Middle across, lower and upper edge of each place for a word, in data.
    half
        Half of the word's width, in data.
    bars
        Place across, lower and upper end of what is drawn, in data.
    frame
        Lower and upper edge of the drawing, in data.

    Examples
    --------
    >>> freest([(1.0, 2.0, 3.0), (5.0, 2.0, 3.0)], 1.5, [(1.0, 0.0, 2.0), (2.0, 1.0, 4.0), (5.0, 0.0, 2.0)], (0.0, 5.0))
    1
    """

    def covered(box: tuple[float, float, float]) -> float:
        x, lo, hi = box
        over = sum(max(0.0, min(hi, top) - max(lo, foot)) for at, foot, top in bars if abs(at - x) <= half)
        return over + max(0.0, frame[0] - lo) + max(0.0, hi - frame[1])

    costs = [covered(box) for box in boxes]
    return max(range(len(boxes)), key=lambda i: (-round(costs[i], 9), i))


def thin(x: Array, y: Array, most: int = 500) -> tuple[Array, Array]:
    """A line of at most about a point a pixel, its ends kept.

    Parameters
    ----------
    x, y
        Shape (n,) each.
    most
        Points kept at the most.
    """
    if x.size <= most:
        return x, y
    keep = np.unique(np.linspace(0, x.size - 1, most).round().astype(int))
    return x[keep], y[keep]


def values(rows: Sequence[dict[str, Any]], name: str) -> Array:
    """One value of each row as floats, None NaN.

    Parameters
    ----------
    rows
        Plain rows of a record.
    name
        Key of a number or None.

    Returns
    -------
    Array
        Shape (rows,).
    """
    return np.array([np.nan if r.get(name) is None else r[name] for r in rows], float)


def column(table: Any, name: str) -> Array:
    """A polars column as floats, nulls NaN.

    Parameters
    ----------
    table, name
        A polars table and the name of a column of numbers.

    Returns
    -------
    Array
        Shape (rows,).
    """
    return np.array(table[name].cast(float).fill_null(float("nan")).to_numpy(), dtype=float)
