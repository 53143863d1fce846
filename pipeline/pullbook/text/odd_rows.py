"""Odd lines of a log, one by one: a repeated header, a remark, a broken row, or a row in another spelling."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pullbook.text.cells import DATE, TIME, is_label, is_missing, is_number, split
from pullbook.text.header import is_data, is_units_row, looks_like_names
from pullbook.text.layout import Layout
from pullbook.text.line_bytes import OddLines
from pullbook.text.text import MARK
from pullbook.wording import counted, few


@dataclass(slots=True)
class Judged:
    """What the odd lines are: ``keep`` (rows,) where a row stands; ``patches``: row -> line in the parser's spelling;
    ``blocks``: rows of repeated headers; ``dropped``, ``noted``, ``garbled``: lines left out, lines of words, cells by heading."""

    keep: npt.NDArray[np.bool_]
    patches: dict[int, str] = field(default_factory=dict)
    blocks: list[int] = field(default_factory=list)
    dropped: list[int] = field(default_factory=list)
    noted: list[tuple[int, str]] = field(default_factory=list)
    garbled: dict[str, list[tuple[int, str]]] = field(default_factory=dict)


def judge(texts: list[str], data: bytes, layout: Layout, odd: OddLines) -> Judged | None:
    """Look at the odd lines one by one; None where one asks for the general way.

    Parameters
    ----------
    texts
        The odd lines, decoded, in order.
    data
        The whole log, to look at what follows a line.
    layout
        Of the log.
    odd
        Where those lines stand.
    """
    head = layout.head
    out = Judged(np.ones(odd.rows, bool))
    after_names = -9
    for text, i, stop in zip(texts, odd.row.tolist(), odd.stop.tolist(), strict=True):
        line = head.first_data + i
        if not text.strip(f' \t\r\x0c\x1a"{layout.delimiter}'):
            out.keep[i] = False
            continue
        row = split(text, layout.delimiter)
        trimmed = row[: layout.named] if not any(re.search(r"\d", c) for c in row[layout.named :]) else row
        if looks_like_names(row) or (i - after_names <= 2 and is_units_row(row)):
            out.keep[i] = False
            if i - after_names <= 2 and is_units_row(row):
                continue
            if tuple(trimmed) != head.names[: layout.named]:
                if sum(c in head.names for c in row) < 0.5 * layout.named and not any(
                    is_data(split(t, layout.delimiter)) for t in _next(data, stop)
                ):
                    out.noted.append((line, text.replace("\t", " ")))
                    continue
                return None  # another header: its rows have another order
            out.blocks.append(i)
            after_names = edge = i
            while edge and not out.keep[edge - 1]:  # what stands right above a header is its preamble
                edge -= 1
            first = head.first_data + edge
            out.dropped, out.noted = [n for n in out.dropped if n < first], [n for n in out.noted if n[0] < first]
            continue
        if MARK.decode() in text or len(trimmed) != layout.named:
            out.keep[i] = False
            if MARK.decode() not in text and not is_data(row) and text.lstrip(' "')[:1] not in "+-.0123456789,;\t|":
                out.noted.append((line, text.replace("\t", " ")))
            else:
                out.dropped.append(line)
            continue
        if is_label(trimmed[0]) and (not layout.words[0] or layout.clocks[0]):  # a summary under the rows: "Max;5400;212"
            out.keep[i] = False
            out.noted.append((line, text.replace("\t", " ")))
            continue
        mended = _mended_row(trimmed, layout)
        if mended is None:
            return None
        for k, cell in mended[1]:
            out.garbled.setdefault(head.names[k], []).append((line, cell))
        out.patches[i] = layout.delimiter.join([*mended[0], *[""] * (head.width - layout.named)]) + "\n"
    return out


def _next(data: bytes, stop: int) -> list[str]:
    """Up to three lines after the line feed at ``stop``."""
    return [line.decode("utf-8", "replace") for line in data[stop + 1 : stop + 20_000].split(b"\n")[:3]]


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
    """What is said of rows left out, lines of words and cells that are no number.

    Parameters
    ----------
    name
        The log's bare name.
    dropped, noted
        Lines left out, and lines of words, with their text; from 1, in order.
    garbled
        Heading -> (line, cell) of every cell that is no number.
    cut
        Whether the last line left out is the log's last.
    """
    if dropped:
        kind = "the end of the log is cut off" if cut and len(dropped) == 1 else "broken or partial rows"
        yield f"{name}: {counted(len(dropped), 'row')} left out (line {few(dropped, 5)}): {kind}"
        if cut and len(dropped) > 1:
            yield f"{name}: the end of the log is cut off at line {dropped[-1]}"
    if noted:
        yield f"{name}: line {few([n for n, _ in noted], 5)} inside the log holds words, not values ({noted[0][1].strip()[:60]!r})"
    for header, cells in garbled.items():
        yield no_numbers(name, header, len(cells), *cells[0])


def no_numbers(name: str, header: str, count: int, line: int, cell: str) -> str:
    """What is said of a column's cells that are no number."""
    cells = f"{counted(count, 'cell')} {'is' if count == 1 else 'are'} no number"
    return f"{name}: column {header!r}: {cells}, the first on line {line} ({cell[:40]!r}); read as missing"
