"""Tables aligned by spaces whose slow columns are left blank: the place of a number tells its column."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.text.line_bytes import Bytes, Places, pieces

BLANK = ord("-")
MOST_COLUMNS = 60
LOOKED_AT = 100
"""Whole rows a piece whose places are looked at."""
FEWEST = 3
"""Rows that leave the same columns blank from which it is a habit: a lone short row is broken."""


def fill_blanks(data: bytes) -> bytes:
    """Put a dash where a row leaves a column blank, so that every row has all its columns.

    Parameters
    ----------
    data
        Lines of a table aligned by spaces, as in the file, the last one with a line feed or not.

    Returns
    -------
    bytes
        As many lines; only rows that leave the same columns blank as at least two others are touched. The data as they
        were where the places of the columns overlap or tabs stand between them.
    """
    rows = Counter[int]()
    for look in _looks(data):
        rows.update(look.count[look.is_row].tolist())
    wide = max((count for count, n in rows.items() if n >= max(FEWEST, 0.05 * rows.total())), default=0)
    if not 2 <= wide <= MOST_COLUMNS or not any(2 <= count < wide for count in rows) or b"\t" in data:
        return data
    places = _places(data, wide)
    if places is None:
        return data
    bounds, ends = places
    patterns, last = Counter[int](), -1
    for look in _looks(data):
        short, pattern = look.blanks(bounds, wide)
        patterns.update(pattern.tolist())
        if look.is_row.any():
            at = int(np.flatnonzero(look.is_row)[-1])
            last = int(pattern[np.searchsorted(short, at)]) if at in short else -1
    usual = [p for p, n in patterns.items() if n >= FEWEST and p]
    out, left = [], rows.total()
    for look in _looks(data):
        left -= int(look.is_row.sum())
        short, pattern = look.blanks(bounds, wide)
        keep = np.isin(pattern, usual)
        if not left and last >= 0 and patterns[last] <= 0.2 * rows.total() and len(keep):
            keep[-1] = False  # the last row may be cut off
        out.append(look.filled(short[keep], pattern[keep], ends))
    return b"".join(out)


@dataclass(slots=True)
class _Look:
    """Some whole lines: where each begins and its line end begins, its words, and whether it begins with a number."""

    piece: Bytes
    starts: Places
    stops: Places
    count: Places
    first: Places  # number of each line's first word
    words: Places
    ends: Places
    is_row: np.ndarray

    def blanks(self, bounds: np.ndarray, wide: int) -> tuple[Places, np.ndarray]:
        """Short rows whose words stand in columns of their own, and the columns left blank, a bit each."""
        short = np.flatnonzero(self.is_row & (self.count >= 2) & (self.count < wide))
        if not len(short):
            return short, np.zeros(0, np.int64)
        count = self.count[short]
        row = np.repeat(np.arange(len(short)), count)
        edge = np.cumsum(count) - count
        word = np.arange(len(row)) - edge[row] + self.first[short][row]
        middle = 0.5 * (self.words[word] + self.ends[word]) - self.starts[short][row]
        column = np.searchsorted(bounds, middle)
        alone = np.ones(len(row), bool)
        alone[1:] = (np.diff(column) > 0) | (np.diff(row) > 0)
        taken = np.add.reduceat(np.int64(1) << column, edge)
        sound = np.add.reduceat(alone, edge) == count
        return short, np.where(sound, ((np.int64(1) << wide) - 1) & ~taken, 0)

    def filled(self, rows: Places, pattern: np.ndarray, ends: Places) -> bytes:
        """The lines with dashes in the columns their rows leave blank."""
        piece = self.piece.copy()
        places = self.starts[rows][:, None] + ends - 1
        blank = (pattern[:, None] >> np.arange(len(ends)) & 1).astype(bool)
        within = blank & (places < self.stops[rows][:, None])
        clear = np.isin(piece[np.clip(places[..., None] + (-1, 0, 1), 0, len(piece) - 1)], (10, 13, 32)).all(axis=2)
        sound: npt.NDArray[np.bool_] = np.all(clear | ~within, axis=1)  # a dash may touch no figure
        piece[places[within & sound[:, None]]] = BLANK
        beyond = (blank & ~within & sound[:, None]).sum(axis=1)
        at = np.repeat(self.stops[rows], 2 * beyond)
        return np.insert(piece, at, np.tile(np.array([32, BLANK], np.uint8), int(beyond.sum()))).tobytes()


def _looks(data: bytes) -> Iterator[_Look]:
    for a, b in pieces(data, 0):
        piece = np.frombuffer(data, np.uint8)[a:b]
        stops = np.flatnonzero(piece == 10)
        if not len(stops) or stops[-1] != len(piece) - 1:
            stops = np.r_[stops, len(piece)]
        starts = np.r_[0, stops[:-1] + 1]
        gap = (piece == 32) | (piece == 10) | (piece == 13) | (piece == 9)
        edges = np.flatnonzero(np.diff(np.r_[True, gap, True].astype(np.int8)))
        words, ends = edges[::2], edges[1::2]
        first: Places = np.asarray(np.searchsorted(words, starts), np.int64)
        count = np.diff(np.r_[first, len(words)]).astype(np.int64)
        lead = piece[words[np.minimum(first, max(len(words) - 1, 0))]] if len(words) else np.zeros(len(starts), np.uint8)
        then = piece[np.minimum(words[np.minimum(first, len(words) - 1)] + 1, len(piece) - 1)] if len(words) else lead
        signed = np.isin(lead, list(b"+-")) & (then >= 48) & (then <= 57)
        is_row = (count > 0) & (((lead >= 48) & (lead <= 57)) | signed)
        line_ends: Places = stops - ((stops > starts) & (piece[stops - 1] == 13)).astype(np.int64)
        yield _Look(piece, starts, line_ends, count, first, words, ends, is_row)


def _places(data: bytes, wide: int) -> tuple[np.ndarray, Places] | None:
    """Where one column ends and the next begins (wide - 1 bounds), and each one's usual end; None where they overlap."""
    begin, end = [], []
    for look in _looks(data):
        whole = np.flatnonzero(look.is_row & (look.count == wide))[:LOOKED_AT]
        word = look.first[whole][:, None] + np.arange(wide)
        begin.append(look.words[word] - look.starts[whole][:, None])
        end.append(look.ends[word] - look.starts[whole][:, None])
    begins, ends = np.concatenate(begin), np.concatenate(end)
    low, high = np.quantile(begins, 0.005, axis=0), np.quantile(ends, 0.995, axis=0)
    if (high[:-1] > low[1:]).any():
        return None
    return 0.5 * (high[:-1] + low[1:]), np.median(ends, axis=0).astype(np.int64)
