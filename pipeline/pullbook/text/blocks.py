"""Which row belongs under which header of a log, and which rows are broken."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Mask
from pullbook.text.cells import is_label, split
from pullbook.text.header import Header, find_header, is_data, is_units_row, known_names, looks_like_names
from pullbook.text.parted import Table
from pullbook.text.short_rows import HABIT, USUAL
from pullbook.text.slabs import Lines

ODD_LINES = 20_000
MOST_KINDS = 100
"""Different headers after which no more are looked for: the log is refused for far fewer."""
Array32 = npt.NDArray[np.int32]


def headers_below(table: Table, body: Mask, head: Header, delimiter: str) -> tuple[list[Header], list[int], bool]:
    """Headers repeated inside the log, every line that belongs to one (names, units), and whether all lines could be looked at.

    Parameters
    ----------
    table
        All lines' cells.
    body
        Shape (lines,), whether a line stands below the first header's names and is not blank.
    head, delimiter
        The first header and the file's delimiter.
    """
    lines = table.lines
    starts = r"^[\s\"']*[-+−]?[.,]?\d"
    top = table.at(range(head.first_data - 1, min(head.first_data + 199, len(lines))))
    probes = [c for c in table.names[: head.width] if (top[c].str.contains(starts).mean() or 0.0) > 0.3][:2]  # type: ignore[operator]
    if not probes:
        return [head], [], True
    odd = body & (table.widths >= 2)
    same = head.line is not None and head.first_data == head.line + 1  # the same line again needs no second look, however often
    first_line = lines[head.line - 1] if head.line is not None else ""
    again: list[int] = []
    for (first, cells), (_, texts) in zip(table.slabs(probes), lines.slabs(), strict=True):
        stop = first + cells.height
        for column in probes:
            odd[first:stop] &= (~cells[column].str.contains(starts)).fill_null(True).to_numpy()
        odd[first:stop] &= texts.str.contains(r"\p{L}").to_numpy()
        if same and odd[first:stop].any():
            alike = odd[first:stop] & (texts == first_line).to_numpy()
            odd[first:stop] &= ~alike
            again += (first + np.flatnonzero(alike) + 1).tolist()
    headers = [head, *(replace(head, line=n, first_data=n + 1) for n in again)]
    taken = again.copy()
    known: dict[tuple[str, ...], Header] = {head.names: head}
    previous: Header | None = None
    remarks: set[str] = set()
    looked_at = 0
    for at in np.flatnonzero(odd).tolist():
        line, original = at + 1, lines[at]
        if original in remarks:
            continue
        looked_at += 1 if len(known) <= MOST_KINDS else ODD_LINES
        if looked_at > ODD_LINES:
            break
        cells_of = split(original, delimiter)
        if not is_units_row(cells_of) and not _may_be_header(cells_of, head, known):
            remarks.add(original)
            continue
        if previous is not None and line - (previous.line or 0) <= 2 and is_units_row(cells_of):
            taken.append(line)
            headers[-1] = replace(previous, units=tuple(c or None for c in cells_of), first_data=line + 1)
        elif looks_like_names(cells_of) and (found_at := _header_at(line, original, cells_of, lines, delimiter, head, known)):
            previous = found_at
            headers.append(found_at)
            taken += range(line, found_at.first_data)
    return sorted(headers, key=lambda h: h.first_data), taken, looked_at <= ODD_LINES


def _may_be_header(cells: list[str], head: Header, known: dict[tuple[str, ...], Header]) -> bool:
    """Whether words are names of channels rather than a remark, wherever they stand."""
    if tuple(cells) in known:
        return True
    return looks_like_names(cells) and (sum(c in head.names for c in cells) >= 0.5 * len(head.names) or known_names(cells) >= 2)


def _header_at(
    line: int, text: str, cells: list[str], lines: Lines, delimiter: str, head: Header, known: dict[tuple[str, ...], Header]
) -> Header | None:
    """The header that begins on a line of words, where values follow it."""
    if (same := known.get(tuple(cells))) is not None and same.line is not None:
        gap = range(line + 1, line + same.first_data - same.line)
        first = next((n for n in gap if n <= len(lines) and is_data(split(lines[n - 1], delimiter))), gap.stop)
        return replace(same, line=line, first_data=first)
    below = [(line + 1 + j, t) for j, t in enumerate(lines.some(line, 60)) if t.strip()]
    if not any(is_data(split(t, delimiter)) for _, t in below[:3]):
        return None
    shared = sum(c in head.names for c in cells)
    if shared < 0.5 * len(head.names) and known_names(cells) < 2:
        return None  # words, but no names of channels: a remark
    found = find_header([(line, text), *below], delimiter)
    if found is None or found.line != line:
        if shared < 0.5 * len(head.names):
            return None
        found = Header(line, tuple(cells), (None,) * len(cells), line + 1, head.width)
    known[tuple(cells)] = found
    return found


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows under one kind of header: ``fits`` (lines,), the lines that are whole rows; ``columns``: how many cells of each belong
    to the table, the last ``extra`` of them without a name; line numbers of broken rows and of lines of words."""

    fits: Mask
    columns: int
    extra: int
    broken: list[int]
    words: list[int]


def rows_of(header: Header, table: Table, rows: Mask, spills: Array32, delimiter: str, *, ends_whole: bool) -> Rows:
    """Sort the rows under one kind of header.

    Parameters
    ----------
    table
        All lines' cells.
    rows
        Shape (lines,), whether a line stands under this header and is neither blank nor a header.
    spills
        As by :func:`spilled`.
    ends_whole
        Whether the file ends in a line end.
    """
    named, widths, worded = named_of(header), table.widths, table.worded
    count = int(rows.sum())
    extra = _nameless(table, header, rows) if header.width > named and count else 0
    full = min(named + extra, len(table.names))
    fits = rows & (widths <= len(table.names)) & (spills <= full)
    short = fits & (widths < full)
    fits &= widths >= full
    last = int(np.flatnonzero(widths)[-1])
    if (numbered := float((rows & ~worded).sum()) / max(count, 1)) > 0.5:  # rows begin with a number: a short line of words is none
        short &= ~worded
    if delimiter != " " and count > 20 and numbered and int(short.sum()) > HABIT * count:  # trailing blanks are left away
        usual = ends_whole and int((short & (widths == widths[last])).sum()) > USUAL * count
        short &= widths >= 2
        if not usual:
            short[last] = False
        fits |= short
    fits &= ~table.torn
    broken = (np.flatnonzero(rows & ~fits) + 1).tolist()
    lettered = np.flatnonzero(rows & ~fits & worded)
    words = [n + 1 for n in lettered[:ODD_LINES].tolist() if not is_data(split(table.lines[n], delimiter))]
    words += (lettered[ODD_LINES:] + 1).tolist()
    if labels := _labelled(table, fits, count):
        words += [n + 1 for n in labels]
        fits[labels] = False
    if not ends_whole and fits[last] and _cut_short(table, fits, full):
        fits[last] = False
        broken.append(last + 1)
    said = set(words)
    return Rows(fits, full, extra, [n for n in broken if n not in said], words)


def named_of(header: Header) -> int:
    """Columns up to the last one with a name."""
    return max((k + 1 for k, name in enumerate(header.names) if name), default=1)


def spilled(table: Table, named: int) -> Array32:
    """Shape (lines,): columns up to the last one beyond ``named`` in which a figure stands (a remark may stand there); else 0."""
    out = np.zeros(len(table.lines), np.int32)
    if beyond := table.names[named:]:
        for first, cells in table.slabs(beyond):
            reach = [pl.when(pl.col(c).str.contains(r"\d").fill_null(False)).then(int(c) + 1).otherwise(0) for c in beyond]
            out[first : first + cells.height] = cells.select(pl.max_horizontal(reach)).to_series().to_numpy()
    return out


def _nameless(table: Table, header: Header, rows: Mask) -> int:
    """Columns beyond the named that are filled in more than half of the rows."""
    beyond = table.names[named_of(header) :]
    filled = np.zeros(len(beyond))
    for first, cells in table.slabs(beyond) if beyond else ():
        some = cells.select(beyond).filter(pl.Series(rows[first : first + cells.height]))
        filled += some.select((pl.all().is_not_null() & (pl.all() != "")).sum()).row(0)
    return max((j + 1 for j, n in enumerate(filled.tolist()) if n > 0.5 * rows.sum()), default=0)


def _labelled(table: Table, fits: Mask, count: int) -> list[int]:
    """Lines (from 0) that are a summary under the rows ("Max;5400;212"), where they are few."""
    if not (fits & table.worded).any():
        return []
    found: list[tuple[int, str]] = []
    for first, cells in table.slabs(["0"]):
        label = cells["0"].str.contains(r"^\p{L}{2,}").fill_null(False).to_numpy() & fits[first : first + cells.height]
        at = np.flatnonzero(label)
        found += zip((first + at).tolist(), cells["0"].gather(at).to_list(), strict=True)
        if len(found) > min(0.1 * count, ODD_LINES):
            return []
    return [n for n, cell in found if is_label(cell)]


def _cut_short(table: Table, fits: Mask, columns: int) -> bool:
    """Whether a last line without a line end stops inside its last number: fewer decimals than every row before."""
    places = np.flatnonzero(fits)
    cells = table.at(places[-201:].tolist())[table.names[columns - 1]]
    last, before = cells[-1], cells.head(-1)
    before = before.filter(before.is_not_null() & (before != ""))
    if before.len() < 3:
        return False
    if last is None or last == "":
        return before.len() > 0.9 * min(len(places) - 1, 200)
    decimals = before.str.extract(r"[.,](\d+)$", 1).str.len_chars().fill_null(0)
    tail = last.replace(",", ".").rpartition(".")[2] if "." in last or "," in last else ""
    return int(decimals.min() or 0) == int(decimals.max() or 0) > len(tail)  # type: ignore[arg-type]
