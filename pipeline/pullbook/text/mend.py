"""Mending a messy log in bytes: odd lines are looked at one by one, all others stay as they lie.

A line is odd when its count of cells is not the table's, or when it holds a byte that no sampled row holds (a letter of a
repeated header, a quote, the other decimal mark, a NUL). It is blanked where it stands, and what it holds stands in a patch.
Where more than a few lines are odd the general way is better.
"""

import io
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.text.cells import is_label
from pullbook.text.encoding import to_utf8
from pullbook.text.layout import Layout
from pullbook.text.line_bytes import OddLines, groups_are_whole, may_be_cut, odd_lines
from pullbook.text.odd_rows import judge, remarks
from pullbook.text.quotes import often_quoted, unquote
from pullbook.text.short_rows import lengthen
from pullbook.text.spaced import tabs_for_spaces
from pullbook.text.spaces import plain_spaces
from pullbook.text.text import MARK, Text
from pullbook.text.units_behind import without_units

MOST_ODD = 0.04
FEW_SHORT = 2


@dataclass(slots=True)
class Mended:
    """Lines ready for the parser.

    ``data``: odd ones blanked (a reader that has parsed them may empty them); ``layout``: as they are now written; ``odd``: row
    numbers of the blanked, with the number of each one's line in ``patch`` (-1: no row); ``lines``: (rows,) where each row stood;
    ``blocks``: (rows,) headers above it; ``dropped``: rows left out; ``encoding``: told by every byte that is no ASCII.
    """

    data: bytes
    layout: Layout
    rows: int
    odd: tuple[tuple[int, int], ...]
    patch: bytes
    lines: npt.NDArray[np.int64]
    blocks: npt.NDArray[np.int64] | None
    dropped: int
    warnings: tuple[str, ...]
    encoding: str


def mend(text: Text, layout: Layout, *, name: str) -> Mended | None:
    """Bring a messy log to bytes the fast parser takes.

    Parameters
    ----------
    text
        Lines in any encoding that writes figures as ASCII does. Its ``data`` are used up: empty where they were changed.
    layout
        As judged.
    name
        The log's, for warnings.

    Returns
    -------
    Mended or None
        None where the general way must look at every row.
    """
    changed = not text.data.endswith(b"\n") or layout.delimiter == " " or any(layout.behind) or layout.leaves_blanks
    ready = _ready(text, layout)
    mended = None
    if ready is not None:
        changed = changed or ready is not layout
        mended = _mended(text, ready, name, aligned=layout.delimiter == " ")
    if mended is None and changed:
        text.data = b""
    return mended


def _ready(text: Text, layout: Layout) -> Layout | None:
    """``text`` with a line end at its end, tabs for spaces and without quotes; None where it cannot be mended."""
    whole = text.data.endswith(b"\n")
    if not whole:
        if may_be_cut(text.data, layout.offset):
            return None
        text.data += b"\n"
    if layout.delimiter == " ":
        layout = tabs_for_spaces(text, layout)
    if often_quoted(text.data, layout):
        unquoted = unquote(text.data, layout)
        if unquoted is None:
            return None
        text.data, layout = unquoted
    if any(layout.behind):
        bare = without_units(text.data, layout.offset, layout.delimiter, layout.behind)
        if bare is None:
            return None
        text.data = bare
    if layout.leaves_blanks and not lengthen(text, layout, ends_whole=whole):
        return None
    if layout.off_is_missing():
        return None
    if layout.thousands and (any(layout.clocks) or layout.thousands == layout.delimiter):
        return None
    if layout.thousands not in (None, ".", ",") and any(layout.words):
        return None
    return layout if layout.offset < len(text.data) else None


def _mended(text: Text, layout: Layout, name: str, *, aligned: bool) -> Mended | None:
    sign, usual = layout.delimiter.encode(), usual_bytes(layout)
    odd = odd_lines(text.data, layout.offset, sign, layout.head.width - 1, usual)
    if aligned and odd.uneven > FEW_SHORT:
        return None  # a column left blank: the place of the others tells which
    if layout.thousands and not groups_are_whole(np.frombuffer(text.data, np.uint8)[layout.offset :], layout.thousands):
        return None
    if len(odd.row) > MOST_ODD * odd.rows + 40:
        return None
    decoded, encoding = _decoded(text.data, layout.offset, odd)
    if decoded is None or (max(usual) > 127 and not encoding.startswith("utf-8")):
        return None
    judged = judge(decoded, text.data, layout, odd)
    if judged is None or len(judged.dropped) > 0.2 * odd.rows:
        return None
    lines = np.flatnonzero(judged.keep) + layout.head.first_data
    if not len(lines):
        return None
    block = np.searchsorted(np.array(judged.blocks) + layout.head.first_data, lines) if judged.blocks else None
    cut = bool(judged.dropped) and judged.dropped[-1] >= int(lines[-1])
    data = _blanked(text, odd, sign, layout.head.width - 1) if len(odd.row) else text.data
    text.data = b""
    if layout.thousands:
        data = data.translate(None, layout.thousands.encode())
    patches = {row: k for k, row in enumerate(judged.patches)}
    return Mended(
        data, layout, odd.rows, tuple((row, patches.get(row, -1)) for row in odd.row.tolist()),
        "".join(judged.patches.values()).encode(), lines, block, len(judged.dropped),
        tuple(remarks(name, judged.dropped, judged.noted, judged.garbled, cut=cut)), encoding,
    )  # fmt: skip


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


def _decoded(data: bytes, offset: int, odd: OddLines) -> tuple[list[str] | None, str]:
    """The odd lines as text, and the encoding: no other line below the head has a byte that is no ASCII.

    None where a NUL or a return within a line stands in one of them: the whole file must be cleaned.
    """
    parts = [data[a:b] for a, b in zip(odd.first.tolist(), odd.stop.tolist(), strict=True)]
    found, encoding = to_utf8(b"\n".join([data[:offset], *parts]))
    texts = plain_spaces(found).decode("utf-8", "replace").split("\n")[-len(parts) :] if parts else []
    if encoding is None or any("\x00" in text or "\r" in text[:-1] for text in texts):
        return None, ""
    return texts, encoding


def _blanked(text: Text, odd: OddLines, sign: bytes, count: int) -> bytes:
    """``text``'s data with noughts and delimiters in place of the odd lines: the parser takes each for a row."""
    buffer = io.BytesIO(text.data)
    text.data = b""  # where nobody else holds them they are written in place, without a copy
    with buffer.getbuffer() as memory:
        for a, b in zip(odd.first.tolist(), odd.stop.tolist(), strict=True):
            memory[a:b] = (sign * min(b - a, count)).rjust(b - a, b"0")
    return buffer.getvalue()
