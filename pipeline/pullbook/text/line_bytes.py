"""Counting in the bytes of a log's lines, piece by piece on two threads, so that little memory is touched."""

import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import TypeVar

import numpy as np
import numpy.typing as npt

PIECE = 1 << 20
THREADS = 2
_DECIMALS = re.compile(rb"[.,](\d*)$")
Bytes = npt.NDArray[np.uint8]
Places = npt.NDArray[np.int64]
T = TypeVar("T")


def _in_pieces(body: Bytes, edges: list[int], work: Callable[[Bytes, int], T]) -> list[T]:
    """``work(piece, where it starts)`` of every piece in order; the library lets go of the lock while it compares."""
    pieces = [(body[a:b], a) for a, b in zip(edges, [*edges[1:], len(body)], strict=True)]
    if len(pieces) < 8:
        return [work(*piece) for piece in pieces]
    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(lambda piece: work(*piece), pieces))


def count_in_lines(body: Bytes, sign: int, width: int) -> tuple[Places, Bytes]:
    """Where each line ends and how many delimiters it holds.

    Parameters
    ----------
    body
        Shape (bytes,), ends in a line feed; no line is longer than a piece.
    sign
        The delimiter's byte.
    width
        Delimiters a regular line holds, below 250.

    Returns
    -------
    tuple
        Shape (lines,) each. Counted in bytes, which is four times as fast: a line whose count wraps at 256 fails in the parser.
    """
    edges = [0]
    while edges[-1] + PIECE < len(body):  # every piece ends with a whole line
        piece = body[edges[-1] : edges[-1] + PIECE]
        edges.append(edges[-1] + len(piece) - int(np.argmax(piece[::-1] == 10)))
    found = _in_pieces(body, edges, partial(_count_piece, sign=sign, width=width))
    return np.concatenate([ends for ends, _ in found]), np.concatenate([counts for _, counts in found])


def _count_piece(piece: Bytes, at: int, *, sign: int, width: int) -> tuple[Places, Bytes]:
    stops = np.flatnonzero(piece == 10)
    found = piece == sign
    if np.count_nonzero(found) == width * len(stops):
        # taken as regular: where a long line makes up for a short one the strict parser refuses the long one
        return stops + at, np.full(len(stops), width, np.uint8)
    return stops + at, np.add.reduceat(found.view(np.uint8), np.r_[0, stops[:-1] + 1])


def strange_bytes(body: Bytes, usual: bytes) -> Places:
    """Positions of bytes that are not among the usual ones."""
    table = np.ones(256, bool)
    table[list(usual)] = False

    def look(piece: Bytes, at: int) -> Places:
        if not piece.tobytes().translate(None, usual):  # four times as fast as looking each byte up
            return np.zeros(0, np.int64)
        return np.flatnonzero(table[piece]) + at

    return np.concatenate(_in_pieces(body, list(range(0, len(body), PIECE >> 3)), look))


def groups_are_whole(body: Bytes, mark: str) -> bool:
    """Whether every grouping sign stands between a digit and exactly three digits."""
    at = np.flatnonzero(body == ord(mark))
    if not len(at):
        return True
    if at[0] < 1 or at[-1] > len(body) - 5:
        return False
    digit = np.zeros(256, bool)
    digit[48:58] = True
    return bool(
        digit[body[at - 1]].all()
        and digit[body[at + 1]].all()
        and digit[body[at + 2]].all()
        and digit[body[at + 3]].all()
        and not digit[body[at + 4]].any()
    )


def may_be_cut(data: bytes, offset: int) -> bool:
    """Whether a last line without a line end may be cut off: shorter than all before it, or with fewer decimals at its end.

    Parameters
    ----------
    data, offset
        Lines of a log, and where its first data line begins.
    """
    last, *before = [t.rstrip(b"\r") for t in reversed(data[max(offset, len(data) - 3000) :].split(b"\n")[1:])] or [b""]
    if not before or len(last) < min(map(len, before)):
        return True
    decimals = {len(m[1]) if (m := _DECIMALS.search(t)) else 0 for t in before}
    return len(decimals) == 1 and (len(m[1]) if (m := _DECIMALS.search(last)) else 0) < min(decimals)
