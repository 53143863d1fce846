"""The parser's pieces put into one, a column at a time, and each column's span looked up in the same turn."""

import numpy as np
import polars as pl

from pullbook.arrays import extremes
from pullbook.text.raw import Span, Spans
from pullbook.twofold import twofold

MANY = 100_000
"""Rows from which a second thread pays."""


def bare(column: pl.Series) -> pl.Series:
    """Text without the blanks and quotes about it."""
    return column.str.strip_chars(' "') if column.dtype == pl.String else column


def joined(cells: pl.DataFrame, named: int, *, strip: bool = True) -> tuple[pl.DataFrame, Spans]:
    """The named columns in one piece each, and the spans of those of numbers.

    Parameters
    ----------
    cells
        Columns ``"0"``, ``"1"``, …, used up: two at a time are held twice, and the parser's pieces are let go as they are joined.
    named
        How many of them have a name.
    strip
        Whether text is to be made :func:`bare`.
    """
    many = cells.height > MANY
    parts = {k: cells.drop_in_place(str(k)) for k in range(named)}
    found: Spans = {}

    def join(k: int) -> pl.Series:
        column = parts.pop(k)
        if column.dtype != pl.Float64:
            return (bare(column) if strip else column).rechunk()
        column, found[str(k)] = _in_one(column)
        return column

    return pl.DataFrame(twofold(join, range(named), long=many)), found


def spans_of(cells: pl.DataFrame) -> Spans:
    """The spans of all columns of numbers."""
    numbers = [name for name, kind in cells.schema.items() if kind == pl.Float64]
    found = twofold(lambda name: _in_one(cells[name])[1], numbers, long=cells.height > MANY)
    return dict(zip(numbers, found, strict=True))


def _in_one(column: pl.Series) -> tuple[pl.Series, Span]:
    """A column of numbers in one piece, and its span."""
    column = column.rechunk()
    values = column.to_numpy()
    low, high = (values.min(), values.max()) if len(values) else (np.inf, -np.inf)
    return column, (float(low), float(high), False) if low == low else (*extremes(values), True)
