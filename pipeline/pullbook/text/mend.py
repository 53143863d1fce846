"""Mending a messy log in bytes: odd lines are looked at one by one, all others keep their bytes.

A line is odd when its count of cells is not the table's, or when it holds a byte that no sampled row holds (a letter of a
repeated header, a quote, the other decimal mark, a NUL). Where more than a few lines are odd the general way is better.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.text.cells import DATE, TIME, is_label, is_missing, is_number, split
from pullbook.text.header import is_data, is_units_row, looks_like_names
from pullbook.text.layout import Layout
from pullbook.text.line_bytes import count_in_lines, groups_are_whole, may_be_cut, strange_bytes
from pullbook.text.quotes import often_quoted, unquote
from pullbook.text.spaced import tabs_for_spaces
from pullbook.text.text import MARK, Text
from pullbook.wording import counted, few

MOST_ODD = 0.04
FEW_SHORT = 2


@dataclass(frozen=True, slots=True)
class Mended:
    """``data``: rows alone, no grouping; ``lines``: (rows,) where each stood; ``blocks``: headers above it;
    ``delimiter``, ``decimal``: the signs the data have."""

    data: bytes
    lines: npt.NDArray[np.int64]
    blocks: npt.NDArray[np.int64] | None
    dropped: int
    delimiter: str
    decimal: str
    warnings: tuple[str, ...]


def mend(text: Text, layout: Layout, *, name: str) -> Mended | None:
    """Bring a messy log to bytes the fast parser takes; None where the general way must look at every row."""
    if not text.data.endswith(b"\n"):
        if may_be_cut(text.data, layout.offset):
            return None
        text.data += b"\n"
    aligned = layout.delimiter == " "
    if aligned:
        layout = tabs_for_spaces(text, layout)
    data = text.data
    if often_quoted(data, layout):
        bare = unquote(data, layout)
        if bare is None:
            return None
        data, layout = bare
    if any(layout.words[k] and not layout.clocks[k] and layout.tokens for k in range(layout.head.width)):
        return None
    if layout.thousands and (any(layout.clocks) or layout.thousands == layout.delimiter):
        return None
    if layout.thousands not in (None, ".", ",") and any(layout.words):
        return None
    body = np.frombuffer(data, np.uint8)[layout.offset :]
    if not len(body) or layout.head.width > 250:
        return None
    ends, cells = count_in_lines(body, ord(layout.delimiter), layout.head.width - 1)
    starts = np.r_[0, ends[:-1] + 1]
    odd = cells != layout.head.width - 1
    if aligned and np.count_nonzero(cells != layout.head.width - 1) > FEW_SHORT:
        return None  # a column left blank: the place of the others tells which
    strange = strange_bytes(body, usual_bytes(layout))
    if len(strange):
        odd[np.searchsorted(ends, strange)] = True
    if layout.thousands and not groups_are_whole(body, layout.thousands):
        return None
    if odd.sum() > MOST_ODD * len(odd) + 40:
        return None
    return _rebuild(data, layout, starts, ends, np.flatnonzero(odd).tolist(), name)


def usual_bytes(layout: Layout) -> bytes:
    """Bytes that the sampled regular rows may hold."""
    usual = set(b"0123456789+-.,eE \r\n" + (layout.delimiter + (layout.thousands or "")).encode())
    if layout.delimiter != ",":
        usual -= set(b",." if layout.thousands is None else b"") - set(layout.decimal.encode())
    for row in layout.rows:
        for k, cell in enumerate(row):
            if (layout.words[k] and not (layout.clocks[k] and is_label(cell))) or cell in layout.tokens:
                usual |= set(cell.encode())
    return bytes(usual - set(b'"' + MARK))


def _rebuild(
    data: bytes, layout: Layout, starts: npt.NDArray[np.int64], ends: npt.NDArray[np.int64], odd: list[int], name: str
) -> Mended | None:
    head, offset = layout.head, layout.offset
    gone = (layout.thousands or "").encode()
    view = memoryview(data)
    pieces: list[bytes | memoryview] = []
    keep = np.ones(len(starts), bool)
    blocks: list[int] = []
    dropped: list[int] = []
    noted: list[tuple[int, str]] = []
    garbled: dict[str, list[tuple[int, str]]] = {}
    at, after_names = 0, -9
    for i in odd:
        if i > at:
            pieces.append(_piece(view[offset + int(starts[at]) : offset + int(starts[i])], gone))
        at = i + 1
        line = head.first_data + i
        raw = data[offset + int(starts[i]) : offset + int(ends[i])]
        text = raw.decode("utf-8", "replace")
        if not text.strip(f' \t\r\x0c\x1a"{layout.delimiter}'):
            keep[i] = False
            continue
        row = split(text, layout.delimiter)
        trimmed = row[: layout.named] if not any(re.search(r"\d", c) for c in row[layout.named :]) else row
        if looks_like_names(row) or (i - after_names <= 2 and is_units_row(row)):
            keep[i] = False
            if i - after_names <= 2 and is_units_row(row):
                continue
            if tuple(trimmed) != head.names[: layout.named]:
                if sum(c in head.names for c in row) < 0.5 * layout.named and not any(
                    is_data(split(t, layout.delimiter)) for t in _next(data, offset, ends, i)
                ):
                    noted.append((line, text.replace("\t", " ")))
                    continue
                return None  # another header: its rows have another order
            blocks.append(i)
            after_names = edge = i
            while edge and not keep[edge - 1]:  # what stands right above a header is its preamble
                edge -= 1
            first = head.first_data + edge
            dropped, noted = [n for n in dropped if n < first], [n for n in noted if n[0] < first]
            continue
        if MARK in raw or len(trimmed) != layout.named:
            keep[i] = False
            if MARK not in raw and not is_data(row) and text.lstrip(' "')[:1] not in "+-.0123456789,;\t|":
                noted.append((line, text.replace("\t", " ")))
            else:
                dropped.append(line)
            continue
        if is_label(trimmed[0]) and (not layout.words[0] or layout.clocks[0]):  # a summary under the rows: "Max;5400;212"
            keep[i] = False
            noted.append((line, text.replace("\t", " ")))
            continue
        mended = _mended_row(trimmed, layout)
        if mended is None:
            return None
        for k, cell in mended[1]:
            garbled.setdefault(head.names[k], []).append((line, cell))
        pieces.append((layout.delimiter.join([*mended[0], *[""] * (head.width - layout.named)]) + "\n").encode())
    if at < len(starts):
        pieces.append(_piece(view[offset + int(starts[at]) :], gone))
    if len(dropped) > 0.2 * len(starts):
        return None
    lines = np.flatnonzero(keep) + head.first_data
    if not len(lines):
        return None
    block = np.searchsorted(np.array(blocks) + head.first_data, lines) if blocks else None
    last = bool(dropped) and dropped[-1] >= int(lines[-1])
    return Mended(
        b"".join(pieces),
        lines,
        block,
        len(dropped),
        layout.delimiter,
        layout.decimal,
        tuple(remarks(name, dropped, noted, garbled, cut=last)),
    )


def _next(data: bytes, offset: int, ends: npt.NDArray[np.int64], i: int) -> list[str]:
    stop = offset + int(ends[min(i + 3, len(ends) - 1)])
    return data[offset + int(ends[i]) + 1 : stop].decode("utf-8", "replace").split("\n")


def _piece(piece: memoryview, gone: bytes) -> bytes | memoryview:
    return bytes(piece).translate(None, gone) if gone else piece


def _mended_row(row: list[str], layout: Layout) -> tuple[list[str], list[tuple[int, str]]] | None:
    """Cells in the parser's spelling and what is no number; None where a cell contradicts the file's decimal mark."""
    out, odd = [], []
    for k, cell in enumerate(row):
        if layout.words[k]:
            fits = not layout.clocks[k] or TIME.fullmatch(cell) or DATE.fullmatch(cell) or is_number(cell) or not cell
            out.append(cell if fits else "")
            continue
        bare = re.sub(r"[  '’_ ](?=\d{3})", "", cell).replace("−", "-")
        if layout.thousands:
            bare = re.sub(rf"\{layout.thousands}(?=\d{{3}}(?!\d))", "", bare)
        elif layout.decimal == "." and layout.delimiter == "," and re.fullmatch(r"[-+]?[1-9]\d{0,2}(,\d{3})+(\.\d*)?", bare):
            return None  # quoted groups: the whole file must vote
        if layout.decimal == ",":
            if "." in bare:
                return None
            bare = bare.replace(",", ".")
        if re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", bare):
            out.append(bare.replace(".", layout.decimal))
            continue
        out.append("")
        if is_number(cell):
            return None
        if not is_missing(cell):
            odd.append((k, cell))
    return out, odd


def remarks(
    name: str, dropped: list[int], noted: list[tuple[int, str]], garbled: dict[str, list[tuple[int, str]]], *, cut: bool
) -> Iterable[str]:
    """What is said of rows left out, lines of words and cells that are no number."""
    if dropped:
        kind = "the end of the log is cut off" if cut and len(dropped) == 1 else "broken or partial rows"
        yield f"{name}: {counted(len(dropped), 'row')} left out (line {few(dropped, 5)}): {kind}"
        if cut and len(dropped) > 1:
            yield f"{name}: the end of the log is cut off at line {dropped[-1]}"
    if noted:
        yield f"{name}: line {few([n for n, _ in noted], 5)} inside the log holds words, not values ({noted[0][1].strip()[:60]!r})"
    for header, cells in garbled.items():
        line, cell = cells[0]
        odd = f"{len(cells)} cell(s) are no number, the first on line {line} ({cell[:40]!r})"
        yield f"{name}: column {header!r}: {odd}; read as missing"
