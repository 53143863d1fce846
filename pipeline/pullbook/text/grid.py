"""Lines to a table of cells: which lines are data, which row belongs under which header, which are broken.

The whole file is looked at with the library's vectors; only headings and odd lines are looked at one by one.
"""

import re

import polars as pl

from pullbook.handover import Fault
from pullbook.text.aligned import fill_blanks
from pullbook.text.blocks import headers_below, rows_of
from pullbook.text.cells import decide_delimiter, split
from pullbook.text.header import Header, find_header, looks_like_names, speaks_of_speed
from pullbook.text.layout import is_spaced
from pullbook.text.odd_rows import remarks
from pullbook.text.parted import MAX_COLUMNS, part
from pullbook.text.raw import RawLog
from pullbook.text.text import MARK, Text, line_feeds
from pullbook.vocabulary.naming import understand

MAX_BYTES = 120_000_000
_SPLIT = "split the log into shorter files"
MAX_HEADERS = 30
HEAD_LINES = 400
_NO_CONTROLS = bytes(MARK[0] if c < 32 and c not in b"\t\n\r\x0b\x0c" else c for c in range(256))
_REMEDY = (
    "export the log again as CSV with one line of names above the numbers; a pull sheet is read as pulls.csv or pulls.xlsx "
    "alone, a light sheet as strobe.csv; a note in a .txt file needs nothing"
)


def one_column(data: bytes) -> pl.Series:
    """Lines of ``data`` as text, one a line, blank ones too (shape: lines)."""
    frame = pl.read_csv(
        data, separator="\x1f", has_header=False, quote_char=None, schema={"t": pl.String}, truncate_ragged_lines=True
    )
    return frame["t"].fill_null("")


def spread(lines: pl.Series) -> list[tuple[int, str]]:
    """(line number, text) of non-blank lines from the top, the middle and the end."""
    count = len(lines)
    wanted = [*range(min(count, HEAD_LINES)), *range(max(HEAD_LINES, count // 2), min(count, count // 2 + 60))]
    wanted += range(max(HEAD_LINES, count // 2 + 60, count - 60), count)
    texts = lines.gather(wanted).to_list()
    return [(i + 1, t) for i, t in zip(wanted, texts, strict=True) if t.strip(" \t;,\x1a\x0c")]


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
        All cells as text.
    """
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
    data = line_feeds(data).translate(_NO_CONTROLS)
    if is_spaced(data):
        data = fill_blanks(data)
    lines, ends_whole = one_column(data), data.endswith((b"\n", MARK))
    del data
    sample = spread(lines)
    delimiter = decide_delimiter([t for _, t in sample])
    if delimiter is None:
        return no_table(shown, sample)
    head = find_header(sample, delimiter)
    if head is None:
        return no_table(shown, sample)
    if delimiter == "," and head.line is not None and 1.5 * len(head.names) <= head.width <= 2 * len(head.names):
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
    frame, widths = part(lines, delimiter, head.width)
    return _assemble(lines, frame, widths, head, delimiter, shown, text.warnings, ends_whole=ends_whole)


def _torn_apart(head: Header, rows: list[list[str]]) -> str | None:
    """A speed such as ``3,787`` that its own comma split in two, in rows with more cells than names; None where there is none."""
    rows = [r for r in rows if len(r) > len(head.names)]
    k = next((k for k, name in enumerate(head.names) if speaks_of_speed([name])), None)
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
            return Fault(
                shown,
                line,
                None,
                f"a header without rows ({brief})",
                "rows of numbers below the names",
                "export the log again, or take the file out",
            )
    return Fault(shown, line, None, f"no table of numbers ({brief!r} …)", "rows of numbers under a line of names", _REMEDY)


def _assemble(
    lines: pl.Series, frame: pl.DataFrame, widths: pl.Series, head: Header, delimiter: str, shown: str, said: tuple[str, ...],
    *, ends_whole: bool,
) -> RawLog | Fault:  # fmt: skip
    """Put every row under its header, count what is broken."""
    number = pl.int_range(1, len(lines) + 1, eager=True)
    body = (number >= head.first_data) & (widths > 0)
    headers, odd_lines = headers_below(lines, frame, number, body, head, delimiter)
    if first := next(
        (k for k, h in enumerate(headers) if speaks_of_speed(h.names)), 0
    ):  # a table of other things above the log's own
        headers, head = headers[first:], headers[first]
        body = body & (number >= head.first_data)
    warnings: list[str] = list(said)
    name = shown.rsplit("/", 1)[-1]
    starts = pl.Series([h.first_data for h in headers[1:]], dtype=pl.Int64)
    block = starts.search_sorted(number, side="right") if len(headers) > 1 else pl.zeros(len(lines), dtype=pl.UInt32, eager=True)
    plain = body & ~number.is_in(odd_lines) if odd_lines else body
    parts: list[pl.DataFrame] = []
    dropped: list[int] = []
    notes: list[int] = []
    kinds = list(dict.fromkeys((h.names, h.width) for h in headers))
    if len(kinds) > MAX_HEADERS:
        return Fault(shown, headers[1].line, None, f"{len(kinds)} different headers", f"at most {MAX_HEADERS} in one log", _SPLIT)
    for kind in kinds:
        of_kind = [k for k, h in enumerate(headers) if (h.names, h.width) == kind]
        rows = plain & block.is_in(of_kind) if len(kinds) > 1 else plain
        found = rows_of(headers[of_kind[0]], lines, frame, widths, rows, delimiter, ends_whole=ends_whole)
        dropped += found.broken
        notes += found.words
        parts.append(_keyed(found.kept, headers[of_kind[0]], found.extra))
    del frame
    cells = pl.concat(parts, how="diagonal").sort("line") if len(parts) > 1 else parts[0]
    if len(headers) > 1:
        cells = cells.with_columns(block=block.gather(cells["line"] - 1).cast(pl.Int64))
        dropped = without_preambles(sorted(dropped), headers, {*notes, *odd_lines}, widths)
    if cells.height == 0:
        return Fault(
            shown,
            head.line,
            None,
            "a header without rows",
            "rows of numbers below the names",
            "export the log again, or take the file out",
        )
    cut = bool(dropped) and dropped[-1] == int(widths.gt(0).arg_true()[-1]) + 1
    warnings += remarks(name, dropped, [(n, lines[n - 1] if k == 0 else "") for k, n in enumerate(sorted(notes))], {}, cut=cut)
    titles = [c for c in cells.columns if c not in ("line", "block")]
    by_title: dict[str, str | None] = {}
    for header in headers:
        for j, title in enumerate(_unique(header.names)):
            by_title.setdefault(title, header.units[j] if j < len(header.units) else None)
    top = head.line if head.line is not None else head.first_data
    preamble = tuple((i + 1, t.strip()) for i, t in enumerate(lines[: min(top - 1, 200)].to_list()) if t.strip(" \t;,\x1a"))
    return RawLog(
        headers=tuple(t.rsplit("\x1f", 1)[0] for t in titles), unit_row=tuple(by_title.get(t) for t in titles),
        cells=pl.DataFrame([cells[t].alias(str(j)) for j, t in enumerate(titles)]), lines=cells["line"],
        blocks=cells["block"] if len(headers) > 1 else None, header_line=head.line, delimiter=delimiter, decimal=".",
        thousands=None, dropped=len(dropped), preamble=preamble, warnings=tuple(warnings),
        above=next((t for t in reversed(lines[: top - 1].to_list()[-8:]) if t.strip()), ""),
    )  # fmt: skip


def _unique(names: tuple[str, ...] | list[str]) -> list[str]:
    """Keys for headings: the heading, the unit separator and a number where one stands twice."""
    seen: dict[str, int] = {}
    keys = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        keys.append(name if seen[name] == 1 else f"{name}\x1f{seen[name]}")
    return keys


def without_preambles(dropped: list[int], headers: list[Header], others: set[int], widths: pl.Series) -> list[int]:
    """Broken rows less those right above a header: they are what stands above it, no rows."""
    odd, above = {*dropped, *others}, set()
    for header in headers[1:]:
        edge = (header.line or 1) - 1
        while edge in odd or (edge > 0 and widths[edge - 1] == 0):
            above.add(edge)
            edge -= 1
    return [n for n in dropped if n not in above]


def _keyed(part: pl.DataFrame, header: Header, extra: int) -> pl.DataFrame:
    columns = [c for c in part.columns if c != "line"]
    names = [*header.names, *(f"column {len(header.names) + 1 + j}" for j in range(extra))]
    keys = _unique([*names, *("" for _ in range(len(columns) - len(names)))])[: len(columns)]
    return part.rename(dict(zip(columns, keys, strict=True)))
