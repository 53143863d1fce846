"""Lines to a table of cells: which lines are data, which row belongs under which header, which are broken.

The whole file is looked at with the library's vectors; only headings and odd lines are looked at one by one.
"""

import re
from dataclasses import replace

import numpy as np
import polars as pl

from pullbook.arrays import Mask
from pullbook.handover import Fault
from pullbook.text.aligned import fill_blanks
from pullbook.text.blocks import Array32, headers_below, named_of, rows_of, spilled
from pullbook.text.cells import decide_delimiter, is_blank, split
from pullbook.text.header import Header, find_header, looks_like_names, speaks_of_speed
from pullbook.text.layout import is_spaced
from pullbook.text.line_bytes import pieces
from pullbook.text.odd_rows import no_numbers, remarks
from pullbook.text.paired_commas import REMARK, may_be_pairs, pairs_proved
from pullbook.text.parted import MAX_CELLS, MAX_COLUMNS, Table
from pullbook.text.raw import MOST_CELLS, RawLog
from pullbook.text.slabs import Lines
from pullbook.text.taken import take
from pullbook.text.text import MARK, Text, line_feeds, too_many_lines
from pullbook.vocabulary.naming import understand

MAX_BYTES = 120_000_000
_SPLIT = "split the log into shorter files"
MAX_HEADERS = 30
HEAD_LINES = 400
_CONTROLS = bytes(c for c in range(32) if c not in b"\t\n\r\x0b\x0c" + MARK)
_NO_CONTROLS = bytes(MARK[0] if c in _CONTROLS else c for c in range(256))
_REMEDY = (
    "export the log again as CSV with one line of names above the numbers; a pull sheet is read as pulls.csv or pulls.xlsx "
    "alone, a light sheet as strobe.csv; a note in a .txt file needs nothing"
)


def read_grid(text: Text, *, shown: str) -> RawLog | Fault:
    """The general way from lines to cells, for any log.

    Parameters
    ----------
    text
        Clean lines; its ``data`` are let go.
    shown
        The log's name in messages.

    Returns
    -------
    RawLog or Fault
        Numbers for numeric columns, text for clocks, words and whatever leaves a doubt.
    """
    if (fault := too_many_lines(text.data, shown=shown)) is not None:
        return fault
    if len(text.data) > MAX_BYTES:
        return Fault(
            shown,
            None,
            None,
            f"{len(text.data) / 1e6:.0f} MB of a log too untidy for the fast way",
            f"at most {MAX_BYTES / 1e6:.0f} MB",
            _SPLIT,
        )
    data, text.data = text.data, b""  # let go as soon as the lines are made: both are a third of the memory
    data = line_feeds(data)
    if any(len(data[a:b].translate(None, _CONTROLS)) < b - a for a, b in pieces(data, 0)):
        data = data.translate(_NO_CONTROLS)
    if is_spaced(data):
        data = fill_blanks(data)
    lines, ends_whole = Lines(data), data.endswith((b"\n", MARK))
    del data
    sample = [(i + 1, t) for i, t in lines.sample(HEAD_LINES, 60) if not is_blank(t)]
    delimiter = decide_delimiter([t for _, t in sample])
    if delimiter is None:
        return no_table(shown, sample)
    head = find_header(sample, delimiter)
    if head is None:
        return no_table(shown, sample)
    if delimiter == "," and may_be_pairs(head):
        if (paired := pairs_proved(lines, head)) is not None:
            raw = read_grid(Text(paired, text.encoding, text.warnings), shown=shown)
            if isinstance(raw, RawLog) and raw.decided:
                return replace(raw, decimal=",", warnings=(*raw.warnings, f"{shown.rsplit('/', 1)[-1]}: {REMARK}"))
        found = f"{head.width} cells under {len(head.names)} names"
        expected = "as many cells as names (a comma seems to be decimal mark and separator at once)"
        return Fault(shown, head.first_data, None, found, expected, "export the log again with semicolons, tabs or decimal points")
    if delimiter == "," and (torn := _torn_apart(head, [split(t, ",") for i, t in sample if i >= head.first_data])) is not None:
        found, expected = f"{torn!r} in two cells", "as many cells as names (a comma seems to group thousands and to part cells)"
        return Fault(
            shown, head.first_data, None, found, expected, "export the log again with semicolons or tabs, or without grouping"
        )
    if head.width > MAX_COLUMNS:
        return Fault(
            shown,
            head.line or 1,
            None,
            f"{head.width} columns",
            f"at most {MAX_COLUMNS} columns",
            "export only the channels of the pull",
        )
    if (cells := len(lines) * head.width) > MAX_CELLS:
        found = f"{cells / 1e6:.0f} million cells, not all of them plain numbers"
        expected = f"at most {MAX_CELLS / 1e6:.0f} million cells (plain numbers: {MOST_CELLS / 1e6:.0f} million)"
        return Fault(shown, head.line or 1, None, found, expected, "export only the channels of the pull, or split the log")
    return _assemble(Table(lines, delimiter, head.width), head, delimiter, shown, text.warnings, ends_whole=ends_whole)


def _torn_apart(head: Header, rows: list[list[str]]) -> str | None:
    """A speed such as ``3,787`` that its own comma split in two, in rows with more cells than names; None where there is none."""
    rows = [r for r in rows if len(r) > len(head.names)]
    k = next((k for k, name in enumerate(head.names[:MAX_COLUMNS]) if speaks_of_speed([name])), None)
    if k is None or len(rows) < 10 or not all(re.fullmatch(r"\d{1,2}", r[k]) and re.fullmatch(r"\d{3}", r[k + 1]) for r in rows):
        return None
    return f"{rows[0][k]},{rows[0][k + 1]}"


def no_table(shown: str, sample: list[tuple[int, str]]) -> Fault:
    """The fault of a file in which no rows of numbers stand."""
    line, first = sample[0] if sample else (1, "")
    brief = first.strip()[:60]
    for delimiter in ("\t", ";", ",", "|", " "):
        cells = split(first, delimiter)
        if len(sample) <= 2 and len(cells) > 1 and looks_like_names(cells) and any(understand(c).quantity for c in cells):
            return _without_rows(shown, line, f"a header without rows ({brief})")
    return Fault(shown, line, None, f"no table of numbers ({brief!r} …)", "rows of numbers under a line of names", _REMEDY)


def _without_rows(shown: str, line: int | None, found: str) -> Fault:
    return Fault(shown, line, None, found, "rows of numbers below the names", "export the log again, or take the file out")


def _assemble(table: Table, head: Header, delimiter: str, shown: str, said: tuple[str, ...], *, ends_whole: bool) -> RawLog | Fault:
    """Put every row under its header, count what is broken."""
    lines, widths = table.lines, table.widths
    body = widths > 0
    body[: head.first_data - 1] = False
    headers, odd_lines, all_seen = headers_below(table, body, head, delimiter)
    if first := next(
        (k for k, h in enumerate(headers) if speaks_of_speed(h.names)), 0
    ):  # a table of other things above the log's own
        headers, head = headers[first:], headers[first]
        body[: head.first_data - 1] = False
    name = shown.rsplit("/", 1)[-1]
    starts = np.array([h.first_data for h in headers[1:]])
    block = np.searchsorted(starts, np.arange(1, len(lines) + 1), side="right").astype(np.int32) if len(headers) > 1 else None
    body[[n - 1 for n in odd_lines]] = False
    kinds = list(dict.fromkeys((h.names, h.width) for h in headers))
    if len(kinds) > MAX_HEADERS or not all_seen:
        found_there = f"{len(kinds)} different headers" if all_seen else "headers and lines of words without end"
        where = headers[min(1, len(headers) - 1)].line
        return Fault(shown, where, None, found_there, f"at most {MAX_HEADERS} different headers in one log", _SPLIT)
    dropped: list[int] = []
    notes: list[int] = []
    taken: list[tuple[Mask, list[str]]] = []
    spills = spilled(table, min(map(named_of, headers)))
    for kind in kinds:
        of_kind = [k for k, h in enumerate(headers) if (h.names, h.width) == kind]
        own = headers[of_kind[0]]
        under = body if block is None or len(kinds) == 1 else body & np.isin(block, of_kind)
        found = rows_of(own, table, under, spills, delimiter, ends_whole=ends_whole)
        dropped += found.broken
        notes += found.words
        taken.append((found.fits, _keys(own, found.columns, found.extra)))
    del spills, body
    by_title: dict[str, str | None] = {}
    for header in headers:
        for j, title in enumerate(_unique(header.names)):
            by_title.setdefault(title, header.units[j] if j < len(header.units) else None)
    if not any(fits.any() for fits, _ in taken):
        return _without_rows(shown, head.line, "a header without rows")
    rows = take(table, taken, {t for _, keys in taken for t in keys if _is_speed(t, by_title.get(t))})
    if len(headers) > 1:
        dropped = without_preambles(sorted(dropped), headers, {*notes, *odd_lines}, widths)
    cut = bool(dropped) and dropped[-1] == int(np.flatnonzero(widths)[-1]) + 1
    warnings = [
        *said,
        *remarks(name, dropped, [(n, lines[n - 1] if k == 0 else "") for k, n in enumerate(sorted(notes))], {}, cut=cut),
    ]
    titles = list(dict.fromkeys(title for _, keys in taken for title in keys))
    warnings += [no_numbers(name, _bare(title), *found) for title, found in rows.garbled.items()]
    top = head.line if head.line is not None else head.first_data
    preamble = tuple((i + 1, t.strip()) for i, t in enumerate(lines.some(0, min(top - 1, 200))) if not is_blank(t))
    marks = rows.marks
    return RawLog(
        headers=tuple(map(_bare, titles)), unit_row=tuple(by_title.get(t) for t in titles),
        cells=rows.cells, lines=rows.lines,
        blocks=pl.Series(block[rows.lines.to_numpy() - 1]).cast(pl.Int64) if block is not None else None,
        header_line=head.line, delimiter=delimiter, decimal=marks.decimal if marks else ".",
        thousands=marks.thousands if marks else None, decided=marks is not None, dropped=len(dropped), preamble=preamble,
        warnings=tuple(warnings), above=next((t for t in reversed(lines.some(max(top - 9, 0), min(top - 1, 8))) if t.strip()), ""),
    )  # fmt: skip


def _unique(names: tuple[str, ...] | list[str]) -> list[str]:
    """Keys for headings: the heading, the unit separator and a number where one stands twice."""
    seen: dict[str, int] = {}
    keys = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        keys.append(name if seen[name] == 1 else f"{name}\x1f{seen[name]}")
    return keys


def without_preambles(dropped: list[int], headers: list[Header], others: set[int], widths: Array32) -> list[int]:
    """Lines (from 1, rising) of broken rows less those right above a header: they are what stands above it, no rows.

    ``others``: further lines that are no rows; ``widths`` (lines,): cells a line has, 0 where it is blank.
    """
    odd, above = {*dropped, *others}, set()
    for header in headers[1:]:
        edge = (header.line or 1) - 1
        while edge in odd or (edge > 0 and widths[edge - 1] == 0):
            above.add(edge)
            edge -= 1
    return [n for n in dropped if n not in above]


def _keys(header: Header, columns: int, extra: int) -> list[str]:
    """Titles of the columns that belong to the table."""
    names = [*header.names, *(f"column {len(header.names) + 1 + j}" for j in range(extra))]
    return _unique([*names, *("" for _ in range(columns - len(names)))])[:columns]


def _bare(title: str) -> str:
    return title.rsplit("\x1f", 1)[0]


def _is_speed(title: str, unit: str | None) -> bool:
    return understand(_bare(title), unit_row=unit).quantity in ("rpm", "roller_rpm")
