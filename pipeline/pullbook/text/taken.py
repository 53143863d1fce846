"""Cells of the rows that stay, taken a slab at a time: columns of numbers become numbers at once, the others stay text.

Decimal mark and grouping are those of the whole file: they are guessed from the top, the middle and the end, every cell votes
while it is taken, and where the vote is another one the cells are taken again.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.text.end_to_end import EndToEnd
from pullbook.text.line_bytes import Places
from pullbook.text.marks import Marks, Votes, decide_marks
from pullbook.text.numbers import kind_of, plain_numbers, plain_table
from pullbook.text.parted import Table

WIDE, LOOKED_AT = 100, 100_000
"""Columns from which no more than so many cells of all of them are looked at to judge what each holds."""
TURNS = 6
"""How often cells are taken before all are left as text."""
Kinds = Sequence[tuple[Mask, Sequence[str]]]


@dataclass(frozen=True, slots=True)
class Taken:
    """``cells``: a column a title, numbers or text; ``lines``: shape (rows,), from 1; ``marks``: None where nothing became numbers;
    ``garbled``: title -> (count, line of the first, the first) of cells that are no number and are read as missing."""

    cells: pl.DataFrame
    lines: pl.Series
    marks: Marks | None
    garbled: dict[str, tuple[int, int, str]]


def take(table: Table, kinds: Kinds, speeds: set[str]) -> Taken:
    """Take the rows that fit.

    Parameters
    ----------
    table
        All lines' cells.
    kinds
        For each kind of header the lines that are rows under it, shape (lines,), and the titles of its columns from the first on.
    speeds
        Titles that speak of rpm.
    """
    titles = list(dict.fromkeys(title for _, keys in kinds for title in keys))
    some = pl.concat([rows for _, rows in _rows(table, kinds, titles, brief=True)])
    some = some.gather_every(max(1, some.width * some.height // LOOKED_AT)) if some.width > WIDE else some
    words = {t for t in titles if kind_of(some[t]) != "number"}
    marks = decide_marks({t: some[t] for t in titles if t not in words}, speeds)
    del some
    for _ in range(TURNS):
        if isinstance(marks, tuple) or marks.doubtful or len(words) == len(titles):
            break
        tried = _Try(table, kinds, titles, words, marks)
        if not tried.run():
            continue  # one column more is left as text
        for title, cells in tried.words.items():
            if kind_of(cells) == "number":
                tried.votes.add(EndToEnd({title: cells}))
        if (verdict := tried.votes.verdict(speeds)) == marks:
            return tried.taken(marks)
        marks = verdict
    everything = _Try(table, kinds, titles, set(titles), Marks(".", None))
    everything.run()
    return everything.taken(None)


class _Try:
    """One turn of taking all cells; ``left``: titles that are left as text, more are added where one proves to be no numbers."""

    def __init__(self, table: Table, kinds: Kinds, titles: Sequence[str], left: set[str], marks: Marks) -> None:
        self._all = (table, kinds, titles)
        self._left, self._marks = left, marks
        count = sum(int(rows.sum()) for rows, _ in kinds)
        self._numbers: dict[str, Array] = {t: np.empty(count) for t in titles if t not in left}
        self._words: dict[str, list[pl.Series]] = {t: [] for t in titles if t in left}
        self._lines = np.empty(count, np.int64)
        self._garbled: dict[str, tuple[int, int, str]] = {}
        self.votes = Votes()
        self.words: dict[str, pl.Series] = {}

    def run(self) -> bool:
        """Take all; False where a column must be left as text."""
        at = 0
        for lines, rows in _rows(*self._all):
            stop = at + rows.height
            self._lines[at:stop] = lines
            for title, parts in self._words.items():
                parts.append(rows[title])
            cells = EndToEnd({title: rows[title] for title in self._numbers})
            values, odd = plain_table(cells, self._marks)
            for title in odd:
                if (mended := self._mended(title, rows[title], lines)) is not None:
                    values[cells.names.index(title)] = mended.to_numpy()
            if not self._left.isdisjoint(self._numbers):
                return False
            self.votes.add(cells, at)
            for numbers, some in zip(self._numbers.values(), values, strict=True):
                numbers[at:stop] = some
            at = stop
        self.words = {t: pl.concat(parts, rechunk=False) for t, parts in self._words.items()}
        return True

    def _mended(self, title: str, cells: pl.Series, lines: Places) -> pl.Series | None:
        """Numbers of some cells among which others stand; None where the column must be left as text."""
        made = plain_numbers(cells, self._marks)
        if made is None:
            self._left.add(title)
            return None
        values, garbled = made
        if count := int(garbled.sum()):
            k = int(garbled.arg_max() or 0)
            before, line, cell = self._garbled.get(title, (0, int(lines[k]), str(cells[k])))
            self._garbled[title] = (before + count, line, cell)
        return values

    def taken(self, marks: Marks | None) -> Taken:
        """What was taken."""
        titles = self._all[2]
        columns = {t: pl.Series(self._numbers.pop(t)) for t in tuple(self._numbers)} | self.words
        cells = pl.DataFrame([columns[t].alias(str(j)) for j, t in enumerate(titles)])
        garbled = {t: self._garbled[t] for t in titles if t in self._garbled}
        return Taken(cells, pl.Series(self._lines), marks, garbled)


def _rows(table: Table, kinds: Kinds, titles: Sequence[str], *, brief: bool = False) -> Iterator[tuple[Places, pl.DataFrame]]:
    """(line numbers from 1, cells under their titles) of the rows of each slab; ``brief``: of three of them."""
    for first, cells in table.slabs(brief=brief):
        found, places = [], []
        for rows, keys in kinds:
            inside = rows[first : first + cells.height]
            own = cells.select(table.names[: len(keys)]).rename(dict(zip(table.names, keys, strict=False)))
            found.append(own.filter(pl.Series(inside)))
            places.append(first + 1 + np.flatnonzero(inside))
        if len(kinds) == 1:
            yield places[0], found[0]
            continue
        lines = np.concatenate(places)
        order = np.argsort(lines, kind="stable")
        yield lines[order], pl.concat(found, how="diagonal").select(titles)[order]
