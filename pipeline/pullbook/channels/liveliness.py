"""How columns of a refused log move, so that its owner sees which recording it is: not at all, in held steps, or freely."""

import numpy as np

from pullbook.arrays import Array
from pullbook.channels.column import Column
from pullbook.channels.dead import never_moves

HELD_SHARE = 0.25
"""Share of samples that repeat the one before, above which a column is a slow or coarse one in a fast log."""


def repeats(values: Array) -> tuple[int, int]:
    """(repeats, pairs): how many of the pairs of successive known samples hold the same value twice.

    Parameters
    ----------
    values
        Shape (n,), any unit, NaN where missing: a pair with a missing sample does not count.

    Examples
    --------
    >>> repeats(np.array([1.0, 1.0, 2.0, np.nan, 2.0]))
    (1, 2)
    """
    known = np.isfinite(values[1:]) & np.isfinite(values[:-1])
    return int(np.count_nonzero(known & (values[1:] == values[:-1]))), int(np.count_nonzero(known))


def movement(columns: list[Column]) -> list[str]:
    """A sentence for every column of numbers that never moves, or that is held or quantised."""
    said = []
    for column in columns:
        values = column.values
        if values is None or column.kind != "number":
            continue
        same, pairs = repeats(values)
        if never_moves(values):
            said.append(f"column {column.header!r} never moves")
        elif pairs and same > HELD_SHARE * pairs:
            distinct = len(np.unique(values[np.isfinite(values)]))
            said.append(
                f"column {column.header!r} is held or quantised: {same} of {pairs} samples repeat the one before "
                f"({100 * same / pairs:.1f} %), {distinct} distinct values"
            )
    return said
