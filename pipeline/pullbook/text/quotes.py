"""Logs in which every cell stands in quotes: the quotes taken off in bytes, delimiters inside them kept apart."""

from dataclasses import replace

import numpy as np

from pullbook.text.layout import Layout

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
    body = np.frombuffer(data, np.uint8)[layout.offset :]
    sign = ord(layout.delimiter)
    out = [data[: layout.offset]]
    at, met = 0, False
    while at < len(body):
        piece = body[at : at + PIECE]
        if at + PIECE < len(body):
            piece = piece[: len(piece) - int(np.argmax(piece[::-1] == 10))]
        at += len(piece)
        quotes = piece == 34
        inside = (np.cumsum(quotes, dtype=np.uint8) & 1).astype(bool)
        if inside[piece == 10].any():
            return None
        within = inside & (piece == sign)
        if within.any():
            met = True
            if layout.delimiter == layout.decimal:
                piece = np.where(within, np.uint8(46), piece)
            elif layout.delimiter != layout.thousands or not _group(piece, within):
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


def _group(piece: np.ndarray, within: np.ndarray) -> bool:
    """Whether each delimiter inside quotes stands between a digit and exactly three digits."""
    at = np.flatnonzero(within)
    if at[0] < 1 or at[-1] > len(piece) - 5:
        return False
    digit = (piece >= 48) & (piece <= 57)
    return bool(
        digit[at - 1].all() and digit[at + 1].all() and digit[at + 2].all() and digit[at + 3].all() and not digit[at + 4].any()
    )
