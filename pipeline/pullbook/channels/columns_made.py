"""Cells to columns: marks decided for the file, numbers made, clocks set aside, exact repeats of a row taken out."""

from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.channels.column import Column, Talk
from pullbook.handover import Fault
from pullbook.text.join import spans_of
from pullbook.text.marks import Marks, decide_marks, mixed_marks
from pullbook.text.numbers import kind_of, to_numbers
from pullbook.text.odd_rows import no_numbers
from pullbook.text.raw import RawLog, Span, any_missing, missing
from pullbook.vocabulary.naming import Meaning, understand
from pullbook.vocabulary.units_text import named_unit, unit_of
from pullbook.wording import counted, few

Clocks = dict[str, pl.Series]


def make_columns(
    raw: RawLog, hints: dict[str, dict[str, Any]], *, shown: str, talk: Talk
) -> tuple[RawLog, list[Column], Clocks] | Fault:
    """Columns with numbers as logged, and the text of clock columns by heading.

    Parameters
    ----------
    raw
        The log's cells, numbers or text.
    hints
        The operator's columns.yaml: heading -> ``channel, unit, sign, scale``; here only ``unit`` is looked at.
    shown
        The log's name in faults.
    talk
        Takes what is asked and warned of.

    Returns
    -------
    tuple or Fault
        The raw log (repeats out, marks filled in, its cells used up), its columns, its clocks; a fault where decimals are
        written in two ways.
    """
    raw = without_repeats(_without_blanks(raw), talk)
    presets = {h: named_unit(str(v["unit"])) for h, v in hints.items() if isinstance(v, dict) and v.get("unit") is not None}
    meanings = [understand(h, unit_row=u, preset=presets.get(h)) for h, u in zip(raw.headers, raw.unit_row, strict=True)]
    kinds = [kind_of(raw.cells[str(j)]) for j in range(len(raw.headers))]
    texts = {str(j): raw.cells[str(j)] for j, kind in enumerate(kinds) if kind == "number" and raw.cells[str(j)].dtype == pl.String}
    speeds = {str(j) for j, m in enumerate(meanings) if m.quantity in ("rpm", "roller_rpm")}
    marks: Marks | tuple[str, int] = decide_marks(texts, speeds) if texts and not raw.decided else Marks(raw.decimal, raw.thousands)
    if isinstance(marks, tuple):
        column, row = marks
        usual = "," if "." in str(raw.cells[column][row]) else "."
        return mixed_marks(shown, raw.headers[int(column)], int(raw.lines[row]), str(raw.cells[column][row]), usual)
    if marks.doubtful:
        talk.ask(
            f"every {marks.decimal!r} stands before three digits; read as the decimal mark. If it groups thousands, "
            "export the log without grouping"
        )
    written = (
        raw.decimal if len(texts) < kinds.count("number") and raw.decimal == "," else marks.decimal
    )  # unquoted cells have points
    del texts
    table = raw.cells
    raw = replace(raw, cells=raw.lines.to_frame(), decimal=written, thousands=marks.thousands)
    columns: list[Column] = []
    spans = raw.spans or spans_of(table)
    clocks: Clocks = {}
    nothing: Array | None = None  # one for all columns in which nothing stands
    for j, (header, meaning, kind) in enumerate(zip(raw.headers, meanings, kinds, strict=True)):
        cells = table.drop_in_place(str(j))  # text and numbers of a whole log are not held at once
        if kind == "blank" and not header:
            continue
        if kind == "clock":
            clocks[header] = cells
            columns.append(Column(header, meaning, "clock", None))
        elif kind == "blank" and cells.null_count() == len(cells):
            nothing = np.full(table.height, np.nan) if nothing is None else nothing
            columns.append(Column(header, meaning, "empty", nothing))
        elif cells.dtype != pl.String:
            columns.append(_parsed(header, meaning, cells, spans[str(j)]))
            if meaning.unit is None and (unit := unit_of(raw.behind[j].strip()) if j < len(raw.behind) else None) is not None:
                columns[-1].unit, columns[-1].unit_from = unit, "header"
        else:
            columns.append(_numbers(header, meaning, cells, marks, raw, talk))
    return raw, columns, clocks


def _parsed(header: str, meaning: Meaning, cells: pl.Series, span: Span) -> Column:
    """A column the parser made; what is not finite is a missing value."""
    values = cells.to_numpy()
    low, high, spoilt = span
    if not (np.isfinite(low) and np.isfinite(high)):
        values = np.where(np.isfinite(values), values, np.nan)
        return Column(header, meaning, "number" if np.isfinite(values).any() else "empty", values)
    own = not spoilt and not cells.null_count()  # with a null ``values`` are a copy, and the column is not held twice
    return Column(header, meaning, "number", values, source=cells if own else None, span=(low, high))


def _numbers(header: str, meaning: Meaning, cells: pl.Series, marks: Marks, raw: RawLog, talk: Talk) -> Column:
    made = to_numbers(cells, marks)
    column = Column(header, meaning, made.kind, made.values.to_numpy())
    if made.unit is not None and meaning.unit is None:
        column.unit, column.unit_from = made.unit, "header"
    if made.garbled and made.kind == "number":
        line = int(raw.lines[made.garbled[0]])
        talk.warnings.append(no_numbers(talk.name, header, len(made.garbled), line, made.examples[0]))
    return column


def _without_blanks(raw: RawLog) -> RawLog:
    """Lines of delimiters alone are blank lines, not rows."""
    first = raw.cells[raw.cells.columns[0]]
    if not _may_lack(raw, first):
        return raw
    blank = missing(first)
    for name in raw.cells.columns[1:]:
        if not blank.any():
            return raw
        blank &= missing(raw.cells[name])
    keep = ~blank
    return (
        replace(
            raw,
            cells=_filtered(raw.cells, keep),
            lines=raw.lines.filter(keep),
            blocks=raw.blocks.filter(keep) if raw.blocks is not None else None,
            spans=None,
        )
        if blank.any()
        else raw
    )


def _filtered(cells: pl.DataFrame, keep: pl.Series) -> pl.DataFrame:
    """``cells``, which are used up, without the rows left out: a column at a time is held twice."""
    return pl.DataFrame([cells.drop_in_place(name).filter(keep) for name in cells.columns])


def without_repeats(raw: RawLog, talk: Talk) -> RawLog:
    """Rows that repeat the row before in every cell are taken out and counted.

    Parameters
    ----------
    raw
        Rows of each block are held against those before them in the same block.
    talk
        Takes the warning with their count and lines.
    """
    cells = raw.cells
    if cells.height < 2:
        return raw
    first = cells[cells.columns[0]]
    if not _ever_repeats(first, whole=not _may_lack(raw, first)):
        return raw
    same = cells.select(pl.all_horizontal(pl.all().eq_missing(pl.all().shift(1)))).to_series()
    same = same & pl.Series(np.arange(cells.height) > 0)
    if raw.blocks is not None:
        same = same & (raw.blocks == raw.blocks.shift(1)).fill_null(False)
    count = int(same.sum())
    if not count:
        return raw
    lines = raw.lines.filter(same)
    talk.warn(f"{counted(count, 'row')} left out (line {few(lines.to_list(), 5)}): the row before again, cell by cell")
    keep = ~same
    return replace(
        raw, cells=_filtered(cells, keep), lines=raw.lines.filter(keep),
        blocks=raw.blocks.filter(keep) if raw.blocks is not None else None, dropped=raw.dropped + count, spans=None,
    )  # fmt: skip


def _may_lack(raw: RawLog, column: pl.Series) -> bool:
    """Whether anything may be missing in a column of the log."""
    known = raw.spans.get(column.name) if raw.spans else None
    return known[2] if known else any_missing(column)


def _ever_repeats(cells: pl.Series, *, whole: bool) -> bool:
    """Whether any cell is the one before it again; ``whole``: none is missing."""
    if whole and cells.dtype == pl.Float64:
        values = cells.to_numpy()
        return bool((values[1:] == values[:-1]).any())
    return bool(cells.eq_missing(cells.shift(1))[1:].any())
