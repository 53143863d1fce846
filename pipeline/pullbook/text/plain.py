"""The short ways: a log whose bytes pass checks over the whole file goes through the library's own parser for numbers.

Clean bytes go as they are; a messy log is mended first (:mod:`mend`): its odd lines are looked at one by one, everything else
stays bytes. Where that is not enough None is returned and the general way of :mod:`grid` is taken; all three give one table.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import polars as pl
from polars.exceptions import PolarsError

from pullbook.text.encoding import count_byte
from pullbook.text.layout import Layout, lay_out
from pullbook.text.line_bytes import THREADS, may_be_cut
from pullbook.text.mend import mend
from pullbook.text.raw import RawLog
from pullbook.text.text import MARK, Text

MANY = 100_000
"""Rows from which a second thread pays."""


def read_plain(text: Text, *, shown: str) -> RawLog | None:
    """Read a log's table by the short way.

    Parameters
    ----------
    text
        Clean lines.
    shown
        The log's name in messages.

    Returns
    -------
    RawLog or None
        Numbers for numeric columns, text for clocks and words; None where the general way must look.
    """
    layout = lay_out(text.data)
    if layout is None:
        return None
    if _is_clean(text.data, layout):
        rows = count_byte(text.data, b"\n", layout.offset) + (not text.data.endswith(b"\n"))
        cells = parse(text.data, layout, skip=layout.head.first_data - 1, rows=rows, decimal_comma=layout.decimal == ",")
        if cells is not None:
            lines = pl.int_range(layout.head.first_data, layout.head.first_data + rows, eager=True)
            return raw_log(layout, cells, lines, None, 0, text.warnings)
    as_written = text.data.endswith(b"\n") and layout.delimiter != " "
    mended = mend(text, layout, name=shown.rsplit("/", 1)[-1])
    if mended is None:
        text.data = text.data if as_written else b""  # changed on the way: to be read again
        return None
    text.data = b""  # both at once would be a third of the memory; the rare failure below reads the file again
    signs = replace(layout, delimiter=mended.delimiter)
    cells = parse(mended.data, signs, skip=0, rows=len(mended.lines), decimal_comma=mended.decimal == ",")
    if cells is None:
        return None
    blocks = pl.Series(mended.blocks) if mended.blocks is not None else None
    return raw_log(layout, cells, pl.Series(mended.lines), blocks, mended.dropped, (*text.warnings, *mended.warnings))


def _is_clean(data: bytes, layout: Layout) -> bool:
    """Whether no quote, torn line, second mark, blank or broken row stands anywhere in the data lines."""
    if (
        layout.delimiter == " "
        or not layout.regular
        or layout.thousands
        or (layout.tokens and any(layout.words))
        or b'"' in data
        or MARK in data
    ):
        return False
    sign = layout.delimiter.encode()
    ends = data.endswith(b"\n")
    rows = count_byte(data, b"\n", layout.offset) + (not ends)
    if count_byte(data, sign, layout.offset) != rows * (layout.head.width - 1):
        return False
    other = b"," if layout.decimal == "." else b"."
    if sign != other and data.find(other, layout.offset) >= 0:
        return False
    return ends or not may_be_cut(data, layout.offset)


def parse(
    data: bytes, layout: Layout, *, skip: int, rows: int, decimal_comma: bool, counted: bool = True, quoted: bool = False
) -> pl.DataFrame | None:
    """Cells by the library's parser, strict: None where any cell of a numeric column is no number or the rows do not add up.

    ``counted``: the delimiters were counted before; else they are where a last cell is blank, which may be that of a short row.
    ``quoted``: numbers may stand in quotes.
    """
    schema = {str(k): pl.String() if word else pl.Float64() for k, word in enumerate(layout.words)}
    try:
        cells = pl.read_csv(
            data, separator=layout.delimiter, has_header=False, skip_rows=skip, quote_char='"' if quoted else None, schema=schema,
            decimal_comma=decimal_comma, null_values=list(layout.tokens) or None, truncate_ragged_lines=False,
        )  # fmt: skip
    except PolarsError:
        return None
    if cells.height != rows or any(cells[c].null_count() != rows for c in cells.columns[layout.named :]):
        return None
    if not counted and cells[cells.columns[-1]].null_count():
        delimiters = count_byte(data, layout.delimiter.encode(), layout.offset)
        if delimiters != rows * (layout.head.width - 1):
            return None
    cells = _joined(cells, layout.named)
    texts = [c for c in cells.columns if cells[c].dtype == pl.String]
    return cells.with_columns(pl.col(texts).str.strip_chars(' "')) if texts else cells


def _joined(cells: pl.DataFrame, named: int) -> pl.DataFrame:
    """The named columns in one piece each: two at a time, and the parser's pieces are let go as they are joined."""
    many = cells.height > MANY
    parts = {k: cells.drop_in_place(str(k)) for k in range(named)}
    with ThreadPoolExecutor(THREADS if many else 1) as pool:
        return pl.DataFrame(list(pool.map(lambda k: parts.pop(k).rechunk(), range(named))))


def raw_log(
    layout: Layout, cells: pl.DataFrame, lines: pl.Series, blocks: pl.Series | None, dropped: int, warnings: tuple[str, ...]
) -> RawLog:
    """The table as the other ways hand it over."""
    head = layout.head
    return RawLog(
        headers=head.names[: layout.named], unit_row=head.units[: layout.named], cells=cells, lines=lines.cast(pl.Int64),
        blocks=blocks,
        header_line=head.line, delimiter=layout.delimiter, decimal=layout.decimal, thousands=layout.thousands, dropped=dropped,
        preamble=layout.preamble, warnings=warnings,
    )  # fmt: skip
