"""Logs with the unit behind every value ("88.4 °C"): the units taken off in bytes, each only in its own column."""

import re
from collections.abc import Sequence

import numpy as np

from pullbook.text.cells import is_missing, is_number
from pullbook.text.line_bytes import pieces
from pullbook.vocabulary.units_text import unit_of

_BEHIND = re.compile(r"[-+]?(?:\d[\d.,]*|[.,]\d+)( ?[^\W\d_%°][^\s\d,;|]{0,9}| ?[°%][^\s\d,;|]{0,9})")
MARKS = bytes(range(1, 9)) + bytes(range(14, 26))
"""Bytes no log holds: each stands for the unit of one column while its places are proved."""


def behind_values(rows: Sequence[Sequence[str]], width: int) -> tuple[str, ...]:
    """What stands behind every value of each column, blank where that is nothing or not the same throughout.

    Parameters
    ----------
    rows
        Sampled rows, cells as text.
    width
        Cells a row has.
    """
    found = []
    for k in range(width):
        cells = [c for row in rows if not is_missing(c := row[k])]
        tails = {m[1] for c in cells if (m := _BEHIND.fullmatch(c))}
        tail = next(iter(tails), "")
        same = len(tails) == 1 and all(c.endswith(tail) or is_number(c) for c in cells)
        found.append(tail if same and unit_of(tail.strip()) is not None else "")
    return tuple(found)


def without_units(data: bytes, offset: int, delimiter: str, tails: Sequence[str]) -> bytes | None:
    """The data with the units taken off.

    Parameters
    ----------
    data, offset
        Lines, the last one with a line feed, and where the first data line begins.
    delimiter
        Of the file.
    tails
        By column, as :func:`behind_values` found them.

    Returns
    -------
    bytes or None
        None where a unit stands in a column that is not its own.
    """
    sign = delimiter.encode()
    spelled = sorted({t.encode() for t in tails if t}, key=len, reverse=True)
    if len(spelled) > len(MARKS) or data[offset:].translate(None, MARKS) != data[offset:]:
        return None
    own = np.array([MARKS[spelled.index(t.encode())] if t else 0 for t in tails], np.uint8)
    kinds = list(zip(spelled, (bytes([m]) for m in MARKS), strict=False))
    out = [data[:offset]]
    for a, b in pieces(data, offset):
        piece = data[a:b]
        for tail, mark in kinds:
            for end in (sign, b"\r\n", b"\n"):
                piece = piece.replace(tail + end, mark + end)
        if not _in_their_columns(np.frombuffer(piece, np.uint8), sign[0], own):
            return None
        out.append(piece.translate(None, MARKS))
    return b"".join(out)


def _in_their_columns(piece: np.ndarray, sign: int, own: np.ndarray) -> bool:
    """Whether each mark stands at the end of a cell of its own column."""
    marked = np.flatnonzero((piece < 32) & (piece != 9) & (piece != 10) & (piece != 13))
    if not len(marked):
        return True
    parts = np.flatnonzero((piece == sign) | (piece == 10))
    first = np.r_[0, np.flatnonzero(piece[parts] == 10)[:-1] + 1]  # number of each line's first cell
    cell = np.searchsorted(parts, marked)
    column = cell - first[np.searchsorted(first, cell, side="right") - 1]
    return bool((column < len(own)).all() and (own[np.minimum(column, len(own) - 1)] == piece[marked]).all())
