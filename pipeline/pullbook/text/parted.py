"""Lines parted into cells, a slab at a time: cells as text are never held for the whole log."""

import re
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt
import polars as pl
from polars.exceptions import PolarsError

from pullbook.arrays import Mask
from pullbook.text.cells import DATED, NOON
from pullbook.text.slabs import Lines
from pullbook.text.text import MARK

MAX_COLUMNS = 1_000
MAX_CELLS = 20_000_000
_WORDED = r"^[ \"]*[^-+−.0-9,;\t| \"]"


class Table:
    """The cells of a log's lines.

    Parameters
    ----------
    lines
        Of the whole log.
    delimiter
        Of the file; a space stands for any run of spaces and tabs.
    width
        Cells a data row has, at least.

    Attributes
    ----------
    names
        Columns ``"0"``, ``"1"``, … that a slab of cells has.
    widths
        Shape (lines,): cells a line has, 0 where it is blank.
    worded, torn
        Shape (lines,): whether it begins with a letter or the like; whether a NUL or an end mark stood in it.
    """

    def __init__(self, lines: Lines, delimiter: str, width: int) -> None:
        self.lines = lines
        self._delimiter, self._sign = delimiter, "\t" if delimiter == " " else delimiter
        self._quoted = lines.has(b'"')
        count = len(lines)
        self.widths: npt.NDArray[np.int32] = np.empty(count, np.int32)
        self.worded: Mask = np.empty(count, bool)
        self.torn: Mask = np.zeros(count, bool)
        marked = lines.has(MARK)
        for first, some in lines.slabs():
            stop = first + len(some)
            self.widths[first:stop] = _count(self._ready(some), self._sign, quoted=self._quoted).to_numpy()
            self.worded[first:stop] = some.str.contains(_WORDED).to_numpy()
            if marked:
                self.torn[first:stop] = some.str.contains(MARK.decode(), literal=True).to_numpy()
        self.names = [str(k) for k in range(_table_width(self.widths, width))]
        self._whole: pl.DataFrame | None = None

    def slabs(self, columns: Sequence[str] | None = None, *, brief: bool = False) -> Iterator[tuple[int, pl.DataFrame]]:
        """(number of its first line from 0, its cells as text, one row a line) of every slab.

        ``columns``: those wanted, else all; ``brief``: of three slabs alone.
        """
        for first, some in self.lines.slabs(brief=brief):
            if len(some) < len(self.lines):
                yield first, self._cells(some, columns)
                continue
            if self._whole is None:
                self._whole = self._cells(some)
            yield first, self._whole

    def at(self, lines: Sequence[int]) -> pl.DataFrame:
        """Cells, as text, of the lines asked for (numbers from 0), one row each."""
        return self._cells(pl.Series(self.lines.at(lines), dtype=pl.String))

    def _ready(self, lines: pl.Series) -> pl.Series:
        some = _tabbed(lines) if self._delimiter == " " else lines
        return _paired(some, self._sign) if self._quoted else some

    def _cells(self, lines: pl.Series, columns: Sequence[str] | None = None) -> pl.DataFrame:
        return _parse(self._ready(lines), self._sign, self.names, columns, quoted=self._quoted)


def _tabbed(lines: pl.Series) -> pl.Series:
    """One tab for each run of spaces; date and time, and a clock and its AM or PM, are one cell."""
    loose = lines.str.strip_chars()
    if loose.str.contains(":", literal=True).any():
        loose = loose.str.replace_all(DATED, "${1}T${2}").str.replace_all(NOON, "${1}${2}")
    return loose.str.replace_all(r"[ \t]+", "\t")


def _paired(lines: pl.Series, sign: str) -> pl.Series:
    """Quotes taken off the lines in which they do not pair off around cells: there they mean nothing."""
    cell = rf' *(?:"[^"]*"|[^"{re.escape(sign)}]*) *'
    sound = lines.str.contains(rf"^{cell}(?:{re.escape(sign)}{cell})*$")
    bare = lines.str.replace_all('"', "", literal=True)
    return pl.select(pl.when(sound).then(lines.str.replace_all(r' *("[^"]*") *', "${1}")).otherwise(bare)).to_series()


def _count(lines: pl.Series, sign: str, *, quoted: bool) -> pl.Series:
    bare = lines.str.replace_all(r'"[^"]*"', "q") if quoted else lines
    count = bare.str.count_matches(sign, literal=True).cast(pl.Int32) + 1
    blank = lines.str.strip_chars(f' \t\x0c\x1a{sign}"') == ""
    return pl.select(pl.when(blank).then(pl.lit(0, pl.Int32)).otherwise(count)).to_series()


def _parse(lines: pl.Series, sign: str, names: list[str], columns: Sequence[str] | None, *, quoted: bool) -> pl.DataFrame:
    # the parser takes the width from the first line, so a line of blanks as wide as the table goes first
    wide = sign * (len(names) - 1) + ("-" if len(names) == 1 else "")
    data = f"{wide}\n{lines.str.join(chr(10)).item()}\n".encode()
    schema = dict.fromkeys(names, pl.String)

    def read(quote: str | None) -> pl.DataFrame:
        return pl.read_csv(
            data, separator=sign, has_header=False, quote_char=quote, schema=schema, truncate_ragged_lines=True,
            columns=None if columns is None else [int(c) for c in columns],
        )  # fmt: skip

    try:
        frame = read('"' if quoted else None)
    except PolarsError:
        frame = pl.DataFrame()
    if frame.height != len(lines) + 1:
        frame = read(None)
    frame = frame.slice(1, len(lines))
    return frame.with_columns(pl.all().str.strip_chars(' "' if quoted else " ")) if b" " in data or quoted else frame


def _table_width(widths: npt.NDArray[np.int32], width: int) -> int:
    """Columns to hold: the widest line's, but no single broken line may blow up the table."""
    widest = int(widths.max(initial=1))
    if widest * len(widths) > MAX_CELLS or widest > MAX_COLUMNS:
        found, times = np.unique(widths, return_counts=True)
        often = found[times >= max(2, len(widths) // 10_000)]
        widest = int(often[often <= MAX_COLUMNS].max(initial=1))
    return max(widest, width, 1)
