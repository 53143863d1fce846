"""Tables aligned by spaces brought to tabs in bytes, so that the short way can take them."""

from dataclasses import replace

import numpy as np

from pullbook.text.layout import Layout
from pullbook.text.line_bytes import pieces
from pullbook.text.text import Text

PIECE = 1 << 20


def tabs_for_spaces(text: Text, layout: Layout) -> Layout:
    """Put one tab for each run of spaces and tabs in the data lines, in place; runs at the ends of a line are taken out.

    Parameters
    ----------
    text
        Its data end in a line feed.
    layout
        With a space as delimiter.

    Returns
    -------
    Layout
        With a tab as delimiter.
    """
    data, text.data = text.data, b""
    whole = np.frombuffer(data, np.uint8)
    out = [data[: layout.offset]]
    for a, b in pieces(data, layout.offset, PIECE):
        piece = whole[a:b]
        space = (piece == 32) | (piece == 9)
        follows = np.empty(len(piece), bool)
        follows[0] = True
        follows[1:] = space[:-1] | (piece[:-1] == 10)
        piece = piece[~(space & follows)]
        space = (piece == 32) | (piece == 9)
        space[:-1] &= (piece[1:] != 10) & (piece[1:] != 13)
        ending = ((piece == 32) | (piece == 9)) & ~space
        piece[space] = 9
        out.append(piece[~ending].tobytes())
    del data, whole
    text.data = b"".join(out)
    return replace(layout, delimiter="\t")
