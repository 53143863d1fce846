"""Logs whose recorder leaves trailing blanks away: short rows made as long as the others, in bytes."""

import numpy as np
import numpy.typing as npt

from pullbook.text.layout import Layout
from pullbook.text.line_bytes import Bytes, Places, pieces
from pullbook.text.text import Text

HABIT = 0.25
"""Share of short rows from which they are a habit of the recorder and no damage."""
USUAL = 0.05
"""Share of rows of one length from which a last row of that length is whole."""
_NUMBER_BEGINS = np.zeros(256, bool)
_NUMBER_BEGINS[list(b"+-.0123456789,;\t| ")] = True


def lengthen(text: Text, layout: Layout, *, ends_whole: bool) -> bool:
    """Put the missing delimiters at the ends of short rows; a last row of an unusual length stays as it is: it may be cut off.

    Parameters
    ----------
    text
        Its data end in a line feed; they are used up and made anew.
    layout
        As judged; its delimiter is no space.
    ends_whole
        Whether the file ends in a line end.

    Returns
    -------
    bool
        False, and the data as they were, where short rows are no habit or hold quotes.
    """
    if b'"' in text.data[layout.offset :]:
        return False
    sign, full = layout.delimiter.encode(), layout.head.width - 1
    rows = numbered = 0
    short = np.zeros(full + 1, np.int64)
    for a, b in pieces(text.data, layout.offset):
        _, count, begins = _lines(np.frombuffer(text.data, np.uint8)[a:b], sign[0])
        rows += int(np.count_nonzero(begins >= 0))
        numbered += int(np.count_nonzero(begins == 1))
        short += np.bincount(count[(begins == 1) & (count < full)], minlength=full + 1)
    if rows <= 20 or short[1:].sum() <= HABIT * rows or numbered <= 0.5 * rows:
        return False
    data, text.data = text.data, b""
    out = [data[: layout.offset]]
    for a, b in pieces(data, layout.offset):
        piece = np.frombuffer(data, np.uint8)[a:b]
        stops, count, begins = _lines(piece, sign[0])
        missing = np.where((begins == 1) & (count > 0), np.maximum(full - count, 0), 0)
        if b == len(data) and missing[-1] and not (ends_whole and short[count[-1]] > USUAL * rows):
            missing[-1] = 0
        out.append(np.insert(piece, np.repeat(stops, missing), sign[0]).tobytes())
    del data
    text.data = b"".join(out)
    return True


def _lines(piece: Bytes, sign: int) -> tuple[Places, Places, npt.NDArray[np.int8]]:
    """Where each line's end begins, its count of delimiters, and how it begins (1: as rows do, 0: with a word, -1: blank)."""
    feeds = np.flatnonzero(piece == 10)
    starts = np.r_[0, feeds[:-1] + 1]
    stops = feeds - ((feeds > starts) & (piece[feeds - 1] == 13))
    upto = np.r_[0, np.cumsum(piece == sign)]
    count = upto[stops] - upto[starts]
    begins = np.where(stops - starts <= count, -1, _NUMBER_BEGINS[piece[starts]].astype(np.int8))
    return stops, count, begins.astype(np.int8)
