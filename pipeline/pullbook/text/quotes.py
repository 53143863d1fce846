"""Logs in which every cell stands in quotes: the quotes taken off in bytes, delimiters inside them kept apart."""

from dataclasses import replace

import numpy as np

from pullbook.text.layout import Layout
from pullbook.text.line_bytes import all_group, pieces

PIECE = 1 << 20
OFTEN = 0.02


def often_quoted(data: bytes, layout: Layout) -> bool:
    """Whether more than a few of the first data lines hold quotes."""
    lines = data[layout.offset : layout.offset + 20_000].split(b"\n")
    return sum(b'"' in line for line in lines) > OFTEN * len(lines)


def unquote(data: bytes, layout: Layout) -> tuple[bytes, Layout] | None:
    """Take the quotes off the data lines.

    Parameters
    ----------
    data
        Ends in a line feed.
    layout
        As judged with the quotes on.

    Returns
    -------
    tuple or None
        The data and the layout they now have (a comma that stood inside quotes as decimal mark is a point, one that grouped
        thousands is gone); None where quotes do not pair off within a line, or a delimiter inside them is neither.
    """
    if layout.delimiter == layout.decimal and data.find(b".", layout.offset) >= 0:
        return None  # a point beside the decimal comma groups thousands that no sampled row reached
    whole = np.frombuffer(data, np.uint8)
    sign = ord(layout.delimiter)
    out = [data[: layout.offset]]
    met = False
    for a, b in pieces(data, layout.offset, PIECE):
        piece = whole[a:b]
        quotes = piece == 34
        inside = (np.cumsum(quotes, dtype=np.uint8) & 1).astype(bool)
        if inside[piece == 10].any():
            return None
        within = inside & (piece == sign)
        if within.any():
            met = True
            if layout.delimiter == layout.decimal:
                piece = np.where(within, np.uint8(46), piece)
            elif layout.delimiter != layout.thousands or not all_group(piece, np.flatnonzero(within)):
                return None
            else:
                quotes |= within
        out.append(piece[~quotes].tobytes())
    changed = layout
    if layout.delimiter == layout.decimal:
        changed = replace(layout, decimal=".")
    elif met and layout.delimiter == layout.thousands:
        changed = replace(layout, thousands=None)
    return b"".join(out), changed
