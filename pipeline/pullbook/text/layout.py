"""The layout of a log judged from rows of its top, middle and end: delimiter, header, kinds of columns, marks."""

import re
from dataclasses import dataclass, replace

import polars as pl

from pullbook.text.cells import DATE, MISSING, SWITCH, TIME, decide_delimiter, is_blank, is_number, joined_stamps, split
from pullbook.text.header import Header, find_header, looks_like_names, speaks_of_speed
from pullbook.text.marks import Marks, decide_marks
from pullbook.text.units_behind import behind_values

HEAD = 20_000
FURTHEST = 400_000
"""Bytes from the top that are looked at for the layout: lines of many columns need more of them."""
TOP = 70
LEAST_TOP = 16
WINDOW = 1_500
MAX_WIDTH = 1_000
OFTEN_SHORT = 0.2
"""Share of short rows in the sample from which they are counted in the whole log."""
_SPACED = re.compile(r"(?<=\d)[ '_](?=\d{3}(?!\d))")
"""A sign between figures that groups thousands without being a mark of decimals anywhere."""
_PRINTED = re.compile("\\d[\u00a0\u202f\u2009\u2007\ufffd]\\d{3}")
"""A space of print that does, in bytes not cleaned yet; in CP1252 it is no UTF-8."""


@dataclass(frozen=True, slots=True)
class Layout:
    """``words``: which columns hold clock times or words (kept as text); ``tokens``: words for missing values met in the others.

    ``offset``: byte of the first data line; ``named``: columns that have a name; ``regular``: every sampled row was as wide as
    the first; ``preamble``: (line, text) above the header; ``rows``: sampled rows, as cells, without units behind their values;
    ``leaves_blanks``: many leave trailing blanks away; ``behind``: by column, the unit behind every value, blank where none is.
    """

    delimiter: str
    head: Header
    words: tuple[bool, ...]
    clocks: tuple[bool, ...]
    decimal: str
    thousands: str | None
    tokens: tuple[str, ...]
    offset: int
    named: int
    regular: bool
    preamble: tuple[tuple[int, str], ...]
    rows: tuple[tuple[str, ...], ...]
    leaves_blanks: bool
    behind: tuple[str, ...]
    above: str

    def off_is_missing(self) -> bool:
        """Whether a word for a missing value is one for a switch too, while there are columns of words it may mean that in."""
        worded = any(word and not clock for word, clock in zip(self.words, self.clocks, strict=True))
        return worded and any(token.casefold() in SWITCH for token in self.tokens)


def lay_out(data: bytes, head_lines: bytes | None = None) -> Layout | None:
    """Judge the layout; None where the sampled rows leave a doubt that only the whole file can settle.

    Parameters
    ----------
    data
        Lines that end in a line feed.
    head_lines
        The first lines as UTF-8, as many as in ``data``, where those have another encoding.
    """
    numbered, inner = _sampled(data, head_lines)
    delimiter = decide_delimiter([t for _, t in numbered] + inner)
    if delimiter is None or any(_PRINTED.search(t) for t in inner):
        return None
    if delimiter == " " and any(joined_stamps(t) != t for t in [t for _, t in numbered] + inner):
        return None
    head = find_header(numbered, delimiter)
    if head is None or head.line is None or head.width > MAX_WIDTH:
        return None
    if delimiter == "," and any(any(split(t, delimiter)[len(head.names) :]) for i, t in numbered if i == head.first_data):
        return None  # more cells than names: a comma may do two things at once
    below = (split(t, delimiter) for i, t in numbered if i > head.first_data)
    if not speaks_of_speed(head.names) and any(looks_like_names(c) and speaks_of_speed(c) for c in below):
        return None  # a table of other things stands above the log's own
    sample = [tuple(split(t, delimiter)) for t in [t for i, t in numbered if i >= head.first_data] + inner]
    if len(head.names) > head.width:  # the first rows may be short ones
        if delimiter == " " or not any(len(cells) == len(head.names) for cells in sample):
            return None
        head = replace(head, width=len(head.names))
    rows = tuple(cells for cells in sample if len(cells) == head.width)
    regular = len(rows) == len(sample)
    short = [cells for cells in sample if 2 <= len(cells) < head.width] if delimiter != " " else []
    if leaves_blanks := len(short) > OFTEN_SHORT * len(sample):
        rows += tuple((*cells, *[""] * (head.width - len(cells))) for cells in short)
    if len(rows) < (0.6 if delimiter != " " else 1.0) * len(sample):  # aligned by spaces, a row of another width may hold blanks
        return None
    behind = behind_values(rows, head.width) if delimiter != " " else ("",) * head.width
    if any(behind):
        rows = tuple(tuple(c.removesuffix(t) for c, t in zip(cells, behind, strict=True)) for cells in rows)
    words, clocks, tokens, numeric = _kinds(rows, head.width)
    marks = (_plain_marks(numeric) or decide_marks(numeric, set())) if numeric else None
    if marks is None or isinstance(marks, tuple) or marks.doubtful:
        return None
    spaced = {sign for column in numeric.values() for c in column.to_list() for sign in _SPACED.findall(c)}
    if len(spaced) + (marks.thousands is not None) > 1:
        return None
    named = max((k + 1 for k, name in enumerate(head.names) if name), default=0)
    thousands = next(iter(spaced), marks.thousands)
    return Layout(
        delimiter, head, words, clocks, marks.decimal, thousands, tokens, first_byte(data, head.first_data), named,
        regular, tuple((i, t.strip()) for i, t in numbered if i < (head.line or 0)), rows,
        leaves_blanks, behind, next((t for i, t in reversed(numbered) if i < (head.line or 0)), ""),
    )  # fmt: skip


def is_spaced(data: bytes) -> bool:
    """Whether the cells are parted by spaces alone, judged from the top, the middle and the end."""
    numbered, inner = _sampled(data)
    return decide_delimiter([t for _, t in numbered] + inner) == " "


def _sampled(data: bytes, head_lines: bytes | None = None) -> tuple[list[tuple[int, str]], list[str]]:
    """(number, text) of the first lines that are not blank; some from the middle and the end of a longer log."""
    known = data if head_lines is None else head_lines
    edge = top_bytes(known)
    top = known[:edge].decode("utf-8", "replace").split("\n")
    if len(data) > edge:
        top.pop()
    numbered = [(i + 1, t) for i, t in enumerate(top) if not is_blank(t)][:TOP]
    window = max(WINDOW, 5 * max((len(t) for _, t in numbered[-3:]), default=0))  # three whole lines and more
    starts = (len(data) // 2, len(data) - window)
    return numbered, [t for start in starts if start > edge for t in _whole_lines(data, start, window)]


def top_bytes(data: bytes) -> int:
    """How many bytes from the top are looked at: :data:`HEAD`, or :data:`LEAST_TOP` lines where those are longer."""
    at = 0
    for _ in range(LEAST_TOP):
        if (end := data.find(b"\n", at, FURTHEST)) < 0:
            break
        at = end + 1
    return max(HEAD, at)


def _plain_marks(numeric: dict[str, pl.Series]) -> Marks | None:
    """The usual case at a glance: one mark alone, and somewhere it cannot group thousands."""
    cells = [c for column in numeric.values() for c in column.to_list()]
    for mark, other in ((".", ","), (",", ".")):
        marked = [c for c in cells if mark in c]
        if any(other in c for c in cells) or not (marked or mark == ".") or any(c.count(mark) > 1 for c in marked):
            continue
        if not marked or any(not re.fullmatch(rf"[-+]?[1-9]\d{{0,2}}[{mark}]\d{{3}}", c) for c in marked):
            return Marks(mark, None)
    return None


def _whole_lines(data: bytes, start: int, window: int) -> list[str]:
    return [t for t in data[start : start + window].decode("utf-8", "replace").split("\n")[1:-1] if not is_blank(t)]


def first_byte(data: bytes, line: int) -> int:
    """Where a line begins, lines counted from 1."""
    at = 0
    for _ in range(line - 1):
        at = data.index(b"\n", at) + 1
    return at


def _kinds(
    rows: tuple[tuple[str, ...], ...], width: int
) -> tuple[tuple[bool, ...], tuple[bool, ...], tuple[str, ...], dict[str, pl.Series]]:
    words, clocks, tokens, numeric = [], [], set(), {}
    for k in range(width):
        filled = [c for row in rows if (c := row[k])]
        missing = {c for c in filled if c.casefold() in MISSING}
        rest = [c for c in filled if c not in missing]
        clock = any(TIME.fullmatch(c) or (DATE.fullmatch(c) and not is_number(c)) for c in rest[:20])
        word = clock or sum(map(is_number, rest)) < 0.9 * len(rest) or not rest
        words.append(word)
        clocks.append(clock)
        if not word:
            tokens |= missing
            numeric[str(k)] = pl.Series([c for c in rest if is_number(c)], dtype=pl.String)
    return tuple(words), tuple(clocks), tuple(sorted(tokens)), numeric
