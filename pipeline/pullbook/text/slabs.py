"""The lines of a log, cut out of its bytes some at a time: the text of a whole log is never held a second time."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator

import polars as pl

from pullbook.text.line_bytes import pieces

LOOKED_AT, FEWEST = 300_000, 6
"""Characters of a sample's head, and lines that every part of it has at least."""
PARTS, LEAST, MOST = 60, 1 << 17, 1 << 20
"""Slabs a log is cut into, and bytes a slab has at least and at most: what is made of one slab is held beside the whole log."""


def one_column(data: bytes) -> pl.Series:
    """Lines of ``data`` (UTF-8) as text, blank ones too, shape (lines,)."""
    lead = b"-\n"  # the parser would pass over blank lines at the top
    frame = pl.read_csv(
        lead + data, separator="\x1f", has_header=False, quote_char=None, schema={"t": pl.String}, truncate_ragged_lines=True
    )
    return frame["t"].fill_null("").slice(1)


class Lines:
    """The lines of ``data``, counted from 0 here; ``len`` is how many there are.

    Parameters
    ----------
    data
        UTF-8, lines ending in a line feed, the last one with or without.
    """

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._cuts = list(pieces(data, 0, min(max(len(data) // PARTS, LEAST), MOST)))
        self._first, at = [], 0
        for a, b in self._cuts:
            self._first.append(at)
            at += data.count(b"\n", a, b)
        self._count = at + (not data.endswith(b"\n"))
        self._near: tuple[int, pl.Series] = (-1, pl.Series(dtype=pl.String))

    def __len__(self) -> int:
        return self._count

    def __getitem__(self, line: int) -> str:
        k = bisect_right(self._first, line) - 1
        return str(self.slab(k)[line - self._first[k]])

    def slab(self, k: int) -> pl.Series:
        """The lines of one slab, shape (lines in it,); the last one asked for is remembered."""
        if self._near[0] != k:
            self._near = (k, one_column(self._data[slice(*self._cuts[k])]))
        return self._near[1]

    def slabs(self, *, brief: bool = False) -> Iterator[tuple[int, pl.Series]]:
        """(number of its first line, its lines) of every slab; ``brief``: of the first, the middle and the last one."""
        count = len(self._first)
        for k in sorted({0, count // 2, count - 1}) if brief else range(count):
            yield self._first[k], self.slab(k)

    def some(self, first: int, count: int) -> list[str]:
        """Up to ``count`` lines from ``first`` on."""
        out: list[str] = []
        while len(out) < count and first + len(out) < len(self):
            k = bisect_right(self._first, first + len(out)) - 1
            out += self.slab(k).slice(first + len(out) - self._first[k], count - len(out)).to_list()
        return out

    def at(self, lines: Iterable[int]) -> list[str]:
        """The lines asked for, quickest in their order."""
        return [self[line] for line in lines]

    def sample(self, head: int, inner: int) -> Iterator[tuple[int, str]]:
        """(number from 0, text) of ``head`` lines from the top, ``inner`` from the middle and from the end, in order, none twice;
        fewer of them where they are long."""
        count, done = len(self), 0
        for first, most, share in ((0, head, 1), (count // 2, inner, 8), (count - inner, inner, 8)):
            held, done = 0, max(done, first)
            for line in range(done, min(first + most, count)):
                text, done = self[line], line + 1
                yield line, text
                held += len(text)
                if held > LOOKED_AT // share and line >= first + FEWEST:
                    break

    def has(self, sign: bytes) -> bool:
        """Whether ``sign`` stands anywhere."""
        return sign in self._data
