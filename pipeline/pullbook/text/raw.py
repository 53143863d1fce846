"""A log as a table of cells: what the layout says, before anything is known about meaning."""

from dataclasses import dataclass

import numpy as np
import polars as pl

MOST_CELLS = 50_000_000
"""Cells a log may have, blank ones too, where text is counted twice: their numbers take 400 MB, rows taken out as much again."""

MOST_LINES = 7_000_000
"""Lines a log may have: each costs more than its cells once it is cut into pulls (19 hours at 100 Hz)."""

Span = tuple[float, float, bool]
"""Smallest and largest number of a column, those missing passed over (inf, -inf where there is none), and whether any may be."""
Spans = dict[str, Span]


@dataclass(frozen=True, slots=True)
class RawLog:
    """Data rows under their headings.

    ``cells``: columns ``"0"``, ``"1"``, …, one a heading, text (null: blank) or numbers (NaN or null: blank) where the
    bytes were plain enough for the library's own parser; ``lines``: shape (rows,), as an editor counts; ``blocks``: shape (rows,),
    counts the headers above the row from 0. ``preamble``: (line, text) of what stands above a header. ``unit_row``: the cell
    below each heading; ``behind``: the unit that was taken off each column's values, blank where there was none; ``above``: the
    last line above the first header, as written; ``dropped``: rows left out; ``decided``: whether every cell has voted on decimal
    mark and grouping; ``spans``: of the columns of numbers, where they were looked up.
    """

    headers: tuple[str, ...]
    unit_row: tuple[str | None, ...]
    cells: pl.DataFrame
    lines: pl.Series
    blocks: pl.Series | None
    header_line: int | None
    delimiter: str
    decimal: str
    thousands: str | None
    dropped: int
    preamble: tuple[tuple[int, str], ...] = ()
    warnings: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    behind: tuple[str, ...] = ()
    above: str = ""
    decided: bool = False
    spans: Spans | None = None


def missing(cells: pl.Series) -> pl.Series:
    """Where nothing stands in a column of a :class:`RawLog`, shape (rows,); a blank of text may be an empty word."""
    if cells.dtype == pl.String:
        return (cells.is_null() | (cells == "")).fill_null(True)
    return cells.is_null() | cells.is_nan().fill_null(True)


def any_missing(cells: pl.Series) -> bool:
    """Whether anything is missing in a column of a :class:`RawLog`: a column of numbers tells by the sums of its pieces."""
    if cells.dtype == pl.Float64 and not cells.null_count():
        return any(np.isnan(np.add.reduce(piece.to_numpy())) and missing(piece).any() for piece in cells.get_chunks())
    return bool(missing(cells).any())
