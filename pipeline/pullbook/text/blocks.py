"""Which row belongs under which header of a log, and which rows are broken."""

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pullbook.text.cells import is_label, split
from pullbook.text.header import Header, find_header, is_data, is_units_row, known_names, looks_like_names
from pullbook.text.short_rows import HABIT, USUAL

ODD_LINES = 20_000
FEW_STRETCHES = 300


def headers_below(
    lines: pl.Series, frame: pl.DataFrame, number: pl.Series, body: pl.Series, head: Header, delimiter: str
) -> tuple[list[Header], list[int]]:
    """Headers repeated inside the log, and every line that belongs to one (names, units)."""
    starts = r"^[\s\"']*[-+−]?[.,]?\d"
    top = frame.slice(head.first_data - 1, 200)
    probes = [c for c in frame.columns[: head.width] if (top[c].str.contains(starts).mean() or 0.0) > 0.3][:2]  # type: ignore[operator]
    if not probes:
        return [head], []
    odd = body
    for column in probes:
        odd = odd & (~frame[column].str.contains(starts)).fill_null(True)
    headers, taken = [head], []
    if head.line is not None and head.first_data == head.line + 1:  # the same line again needs no second look, however often
        again = odd & (lines == lines[head.line - 1])
        odd = odd & ~again
        taken = number.filter(again).to_list()
        headers += [replace(head, line=n, first_data=n + 1) for n in taken]
    known: dict[tuple[str, ...], Header] = {head.names: head}
    previous: Header | None = None
    for line in number.filter(odd)[:ODD_LINES].to_list():
        original = lines[line - 1]
        cells = split(original, delimiter)
        if previous is not None and line - (previous.line or 0) <= 2 and is_units_row(cells):
            taken.append(line)
            headers[-1] = replace(previous, units=tuple(c or None for c in cells), first_data=line + 1)
        elif looks_like_names(cells) and (found := _header_at(line, original, cells, lines, delimiter, head, known)) is not None:
            previous = found
            headers.append(found)
            taken += range(line, found.first_data)
    return sorted(headers, key=lambda h: h.first_data), taken


def _header_at(
    line: int, text: str, cells: list[str], lines: pl.Series, delimiter: str, head: Header, known: dict[tuple[str, ...], Header]
) -> Header | None:
    """The header that begins on a line of words, where values follow it."""
    if (same := known.get(tuple(cells))) is not None and same.line is not None:
        gap = range(line + 1, line + same.first_data - same.line)
        first = next((n for n in gap if n <= len(lines) and is_data(split(lines[n - 1], delimiter))), gap.stop)
        return replace(same, line=line, first_data=first)
    below = [(line + 1 + j, t) for j, t in enumerate(lines[line : line + 60].to_list()) if t.strip()]
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
    """Rows under one kind of header: ``kept`` (with ``line``), line numbers of broken rows and of lines of words."""

    kept: pl.DataFrame
    broken: list[int]
    words: list[int]
    extra: int  # columns that have no name


def rows_of(
    header: Header, lines: pl.Series, frame: pl.DataFrame, widths: pl.Series, rows: pl.Series, delimiter: str, *, ends_whole: bool
) -> Rows:
    """Sort the rows under one kind of header.

    Parameters
    ----------
    lines, frame, widths
        Shape (lines,): the text, its cells, the count of cells (0: blank).
    rows
        Shape (lines,), whether a line stands under this header and is neither blank nor a header.
    ends_whole
        Whether the file ends in a line end.
    """
    named = max((k + 1 for k, name in enumerate(header.names) if name), default=1)
    number = pl.int_range(1, len(lines) + 1, eager=True)
    count = int(rows.sum())
    beyond = frame.columns[named:]
    extra = 0
    if beyond and header.width > named and count:
        filled = (
            frame.lazy().select(beyond).filter(rows).select((pl.all().is_not_null() & (pl.all() != "")).mean()).collect().row(0)
        )
        extra = max((j + 1 for j, share in enumerate(filled) if (share or 0.0) > 0.5), default=0)
    full = named + extra
    fits = rows & (widths <= len(frame.columns))
    if spill := beyond[extra:]:
        over = (
            frame.lazy()
            .select(pl.any_horizontal([pl.col(c).str.contains(r"\d").fill_null(False) for c in spill]))  # a remark may stand there
            .collect()
            .to_series()
        )
        fits = fits & ~over
    short = fits & (widths < full)
    fits = fits & (widths >= full)
    last = int(widths.gt(0).arg_true()[-1]) + 1
    worded = lines.str.contains(r"^[ \"]*[^-+−.0-9,;\t| \"]")
    if (numbered := float((rows & ~worded).sum()) / max(count, 1)) > 0.5:  # rows begin with a number: a short line of words is none
        short = short & ~worded
    if delimiter != " " and count > 20 and numbered and int(short.sum()) > HABIT * count:  # trailing blanks are left away
        usual = ends_whole and int((short & (widths == widths[last - 1])).sum()) > USUAL * count
        fits = fits | (short & (widths >= 2) & ((number != last) | usual))
    fits = fits & ~lines.str.contains("\x1a", literal=True)
    broken = number.filter(rows & ~fits).to_list()
    lettered = number.filter(rows & ~fits & worded).to_list()
    words = [n for n in lettered[:ODD_LINES] if not is_data(split(lines[n - 1], delimiter))] + lettered[ODD_LINES:]
    label = fits & frame["0"].str.contains(r"^\p{L}{2,}").fill_null(False)
    if 0 < (labels := int(label.sum())) <= min(0.1 * count, ODD_LINES):  # a summary under the rows: "Max;5400;212"
        found = [
            n for n, cell in zip(number.filter(label).to_list(), frame["0"].filter(label).to_list(), strict=True) if is_label(cell)
        ]
        words += found
        fits = fits & ~number.is_in(found) if labels else fits
    columns = frame.columns[:full]
    kept = _picked(frame.select(columns), fits).with_columns(line=number.filter(fits))
    if kept.height and not ends_whole and int(kept["line"][-1]) == last and _cut_short(kept, columns):
        kept, broken = kept.head(-1), [*broken, last]
    said = set(words)
    return Rows(kept, [n for n in broken if n not in said], words, extra)


def _picked(frame: pl.DataFrame, fits: pl.Series) -> pl.DataFrame:
    """Rows that fit: where few lines lie between them their stretches are strung together, without a copy of the cells."""
    edges = np.flatnonzero(np.diff(np.r_[False, fits.to_numpy(), False].astype(np.int8)))
    if not 0 < len(edges) <= 2 * FEW_STRETCHES:
        return frame.filter(fits)
    return pl.concat([frame.slice(a, b - a) for a, b in edges.reshape(-1, 2).tolist()], rechunk=False)


def _cut_short(kept: pl.DataFrame, columns: list[str]) -> bool:
    """Whether a last line without a line end stops inside its last number: fewer decimals than every row before."""
    last = kept[columns[-1]][-1]
    before = kept[columns[-1]].head(-1)
    before = before.filter(before.is_not_null() & (before != "")).tail(200)
    if before.len() < 3:
        return False
    if last is None or last == "":
        return before.len() > 0.9 * min(kept.height - 1, 200)
    decimals = before.str.extract(r"[.,](\d+)$", 1).str.len_chars().fill_null(0)
    tail = last.replace(",", ".").rpartition(".")[2] if "." in last or "," in last else ""
    return int(decimals.min() or 0) == int(decimals.max() or 0) > len(tail)  # type: ignore[arg-type]
