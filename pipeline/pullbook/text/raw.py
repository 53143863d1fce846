"""A log as a table of cells: what the layout says, before anything is known about meaning."""

from dataclasses import dataclass

import polars as pl


@dataclass(frozen=True, slots=True)
class RawLog:
    """Data rows under their headings.

    ``cells``: columns ``"0"``, ``"1"``, …, one a heading, text (null: blank) or numbers where the bytes were plain enough for
    the library's own parser; ``lines``: shape (rows,), as an editor counts; ``blocks``: shape (rows,), counts the headers above
    the row from 0. ``preamble``: (line, text) of what stands above a header. ``unit_row``: the cell below each heading;
    ``behind``: the unit that was taken off each column's values, blank where there was none; ``above``: the
    last line above the first header, as written; ``dropped``: rows left out; ``decided``: whether every cell has voted on decimal
    mark and grouping.
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
