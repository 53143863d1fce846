"""The library's own parser, strict, as proof of the cells; patches of mended rows are put between those it read."""

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np
import polars as pl
from polars.exceptions import PolarsError

from pullbook.arrays import Array
from pullbook.text.encoding import count_byte
from pullbook.text.join import MANY, bare, joined
from pullbook.text.layout import Layout, first_byte
from pullbook.text.line_bytes import pieces
from pullbook.text.mend import Mended
from pullbook.text.raw import MOST_CELLS, MOST_LINES, RawLog, Spans, any_missing, missing
from pullbook.text.text import Text
from pullbook.twofold import THREADS

SLICES, LEAST, SLICE = 24, 1 << 17, 1 << 20
"""Slices of a log, and the bytes parsed at a time, at least and at most: what the parser lets go after one slice it takes for the
next, so that it never holds the log twice."""
SLIM = 24_000_000
"""Bytes up to which clean logs go in slices too: what the parser holds beside a short log weighs more than a fifth of the time."""
MANY_BLANK = 0.25
"""Cells a byte from which the log holds less than its numbers will, and goes in slices whatever its size."""
FEW = 300
"""Patches up to this number are strung together with the stretches between them, without a copy of the cells."""


def parse(
    text: Text, layout: Layout, *, rows: int, counted: bool = True, quoted: bool = False
) -> tuple[pl.DataFrame, Spans] | None:
    """Cells by the library's parser and their spans: None where a cell of a numeric column is no number or rows do not add up.

    ``text``: its data are let go where the cells are taken. ``counted``: the delimiters were counted before; else they are where
    a last cell is blank, which may be that of a short row. ``quoted``: numbers may stand in quotes.
    """
    if too_many_cells(layout, rows):
        return None
    small = len(text.data) < SLIM or rows * layout.head.width > MANY_BLANK * len(text.data)
    in_slices = small and not quoted and text.data.endswith(b"\n")
    cells = _read_in_slices(text.data, layout, rows=rows) if in_slices else _read(text.data, layout, rows=rows, quoted=quoted)
    if cells is None:
        return None
    if not counted and any_missing(cells[cells.columns[-1]]):
        delimiters = count_byte(text.data, layout.delimiter.encode(), layout.offset)
        if delimiters != rows * (layout.head.width - 1):
            return None
    text.data = b""
    return joined(cells, layout.named)


def mended_log(mended: Mended, layout: Layout, warnings: tuple[str, ...]) -> RawLog | None:
    """A mended log's table, its cells as by :func:`parse`; ``layout``: as it was written."""
    data, mended.data = mended.data, b""
    if too_many_cells(mended.layout, mended.rows):
        return None
    cells = _read_in_slices(data, mended.layout, rows=mended.rows, odd=mended.odd, patch=mended.patch)
    del data
    if cells is None:
        return None
    cells, spans = joined(cells, layout.named, strip=False)
    blocks = pl.Series(mended.blocks) if mended.blocks is not None else None
    return raw_log(layout, cells, pl.Series(mended.lines), blocks, mended.dropped, (*warnings, *mended.warnings), spans)


def too_many_cells(layout: Layout, rows: int) -> bool:
    """Whether a log holds more cells or lines than may be held; the general way, which takes fewer, says so."""
    return rows > MOST_LINES or rows * (layout.head.width + sum(layout.words)) > MOST_CELLS


def _read(data: bytes, layout: Layout, *, rows: int | None, skip: int | None = None, quoted: bool = False) -> pl.DataFrame | None:
    schema = {str(k): pl.String() if word else pl.Float64() for k, word in enumerate(layout.words)}
    try:
        cells = pl.read_csv(
            data, separator=layout.delimiter, has_header=False, skip_lines=layout.head.first_data - 1 if skip is None else skip,
            quote_char='"' if quoted else None, schema=schema, decimal_comma=layout.decimal == ",",
            null_values=list(layout.tokens) or None, truncate_ragged_lines=False,
        )  # fmt: skip
    except PolarsError:
        return None
    if rows is None:
        return cells
    beyond = cells.columns[layout.named :]
    return cells if cells.height == rows and all(missing(cells[c]).all() for c in beyond) else None


def _read_in_slices(
    data: bytes, layout: Layout, *, rows: int, odd: tuple[tuple[int, int], ...] = (), patch: bytes = b""
) -> pl.DataFrame | None:
    """The same as :func:`_read` for lines that all end in a line feed: numbers go from each slice to where they stay.

    ``odd``: rows that are taken out, or their line of ``patch`` is put in their place.
    """
    numbers: dict[int, Array] = {k: np.empty(rows) for k, word in enumerate(layout.words) if not word}
    words: dict[int, list[pl.Series]] = {k: [] for k, word in enumerate(layout.words) if word}
    at = 0
    for cells in _slices(data, layout, threads=THREADS if rows > MANY else 1):
        if cells is None or at + cells.height - 1 > rows:
            return None
        stop = at + cells.height - 1
        for k, column in enumerate(cells.slice(1).get_columns()):
            if k in words:
                words[k].append(bare(column))
            else:
                numbers[k][at:stop] = column.to_numpy()  # NaN where nothing stands
        at = stop
    mended = _read(patch, layout, rows=patch.count(b"\n"), skip=0) if patch else None
    if at != rows or (patch and mended is None):
        return None
    row, line = np.array(odd, np.int64).reshape(-1, 2).T
    texts = {k: _patched(pl.concat(parts), mended, k, odd) for k, parts in words.items()}
    columns = []
    for k in range(len(layout.words)):  # a column at a time is held twice
        if k in texts:
            columns.append(texts.pop(k))
            continue
        values = numbers.pop(k)
        if mended is not None:
            values[row[line >= 0]] = mended[str(k)].to_numpy()[line[line >= 0]]
        if (line < 0).any():
            values = np.delete(values, row[line < 0])
        columns.append(pl.Series(values))
    table = pl.DataFrame([column.alias(str(k)) for k, column in enumerate(columns)])
    return table if all(missing(table[c]).all() for c in table.columns[layout.named :]) else None


def _slices(data: bytes, layout: Layout, *, threads: int) -> Iterator[pl.DataFrame | None]:
    """The parsed slices in their order, each with one row too many above it; as many are parsed ahead as there are threads."""
    lead = layout.delimiter.join("0" * len(layout.words)).encode() + b"\n"  # the parser takes the width from the first line
    ahead: deque[Future[pl.DataFrame | None]] = deque()
    size = min(max(len(data) // SLICES, LEAST), SLICE)
    with ThreadPoolExecutor(threads) as pool:
        for a, b in pieces(data, first_byte(data, layout.head.first_data), size):
            ahead.append(pool.submit(_read, lead + data[a:b], layout, rows=None, skip=0))
            if len(ahead) > threads:
                yield ahead.popleft().result()
        while ahead:
            yield ahead.popleft().result()


def _patched(cells: pl.Series, mended: pl.DataFrame | None, k: int, odd: tuple[tuple[int, int], ...]) -> pl.Series:
    """A column of text with the odd rows taken out, or their line of the patch in their place."""
    patch = bare(mended[str(k)]) if mended is not None else cells.clear()
    if len(odd) > FEW:
        index = np.arange(len(cells))
        row, line = np.array(odd).T
        index[row] = np.where(line < 0, -1, len(cells) + line)
        return pl.concat([cells, patch.alias(cells.name)])[index[index >= 0]]
    parts, at = [], 0
    for row, line in odd:
        parts += [cells.slice(at, row - at), *([patch.alias(cells.name).slice(line, 1)] if line >= 0 else [])]
        at = row + 1
    return pl.concat([*parts, cells.slice(at)], rechunk=False)


def raw_log(
    layout: Layout, cells: pl.DataFrame, lines: pl.Series, blocks: pl.Series | None, dropped: int, warnings: tuple[str, ...],
    spans: Spans,
) -> RawLog:  # fmt: skip
    """The table as the other ways hand it over.

    Parameters
    ----------
    layout
        Of the log.
    cells
        Columns ``"0"``, ``"1"``, …; numbers or text, shape (rows,) each.
    lines, blocks
        Line of each row from 1; the number of its header where there are several, shape (rows,).
    dropped
        Rows left out.
    warnings
        What was said on the way.
    spans
        Of the columns of numbers.
    """
    head = layout.head
    return RawLog(
        headers=head.names[: layout.named], unit_row=head.units[: layout.named], cells=cells, lines=lines.cast(pl.Int64),
        blocks=blocks,
        header_line=head.line, delimiter=layout.delimiter, decimal=layout.decimal, thousands=layout.thousands, dropped=dropped,
        preamble=layout.preamble, warnings=warnings, behind=layout.behind[: layout.named], above=layout.above, spans=spans,
    )  # fmt: skip
