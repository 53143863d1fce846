"""Looking for odd lines in the bytes of a log, piece by piece, so that little memory is touched."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

PIECE = 1 << 17
"""Bytes that stay in the cache while they are looked at several times."""
_DECIMALS = re.compile(rb"[.,](\d*)$")
Bytes = npt.NDArray[np.uint8]
Places = npt.NDArray[np.int64]
_DIGIT = np.zeros(256, bool)
_DIGIT[48:58] = True


@dataclass(frozen=True, slots=True)
class OddLines:
    """``rows``: lines in all; ``row``, ``first``, ``stop``: (odd,) number from 0, first byte and the line feed's place of each
    odd line; ``uneven``: how many of them are odd by their count of delimiters."""

    rows: int
    row: Places
    first: Places
    stop: Places
    uneven: int


def odd_lines(data: bytes, offset: int, sign: bytes, count: int, usual: bytes) -> OddLines:
    """Lines that hold another number of delimiters than all others, or a byte that the others do not hold.

    Parameters
    ----------
    data, offset
        Lines of a log, the last one with a line feed, and where the first data line begins.
    sign
        The delimiter.
    count
        Delimiters of a regular line. Up to 250 are counted in bytes: a line whose count wraps at 256 fails in the parser; so does
        the long line where one makes up for a short one in a piece that holds the right number in all.
    usual
        Bytes of regular lines.
    """
    kind = np.uint8 if count <= 250 else np.uint16
    table = np.ones(256, bool)
    table[list(usual)] = False
    whole = np.frombuffer(data, np.uint8)
    found: list[tuple[Places, Places, Places]] = []
    rows = uneven = 0
    for a, b in pieces(data, offset):
        piece = whole[a:b]
        lines = int(np.count_nonzero(piece == 10))
        even = int(np.count_nonzero(piece == sign[0])) == lines * count
        strange = data[a:b].translate(None, usual)  # four times as fast as looking each byte up
        if not even or strange:
            stops = np.flatnonzero(piece == 10)
            starts = np.r_[0, stops[:-1] + 1]
            odd = np.zeros(lines, bool) if even else np.add.reduceat((piece == sign[0]).view(np.uint8), starts, dtype=kind) != count
            uneven += int(odd.sum())
            if strange:
                odd[np.searchsorted(stops, np.flatnonzero(table[piece]))] = True
            at = np.flatnonzero(odd)
            found.append((at + rows, starts[at] + a, stops[at] + a))
        rows += lines
    row, first, stop = map(np.concatenate, zip(*found, strict=True)) if found else [np.zeros(0, np.int64)] * 3
    return OddLines(rows, row, first, stop, uneven)


def pieces(data: bytes, at: int, size: int = PIECE) -> Iterator[tuple[int, int]]:
    """(first byte, stop) of pieces of whole lines, of ``size`` bytes or one line where that is longer."""
    while at < len(data):
        stop = data.rfind(b"\n", at, at + size) + 1 or data.find(b"\n", at) + 1 or len(data)
        yield at, stop
        at = stop


def groups_are_whole(body: Bytes, mark: str) -> bool:
    """Whether every grouping sign ``mark`` of ``body``, bytes (n,), stands between a digit and exactly three digits."""
    return all_group(body, np.flatnonzero(body == ord(mark)))


def all_group(body: Bytes, at: Places, size: int = 1) -> bool:
    """Whether signs of ``size`` bytes at places ``at`` (k,), rising, of ``body`` stand between a digit and exactly three digits."""
    if not len(at):
        return True
    if at[0] < 1 or at[-1] > len(body) - size - 4:
        return False
    end = at + size
    three = all(_DIGIT[body[end + k]].all() for k in range(3))
    return bool(_DIGIT[body[at - 1]].all() and three and not _DIGIT[body[end + 3]].any())


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
