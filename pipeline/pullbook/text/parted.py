"""Lines parted into cells, some at a time, so that only the cells themselves are held whole."""

import re
from collections.abc import Iterator

import polars as pl
from polars.exceptions import PolarsError

SLICE = 100_000
MAX_COLUMNS = 1_000
MAX_CELLS = 20_000_000
_DATED = r"(\d{4}-\d{1,2}-\d{1,2}|\d{1,2}[./]\d{1,2}[./]\d{2,4}) +(\d{1,2}:\d{2})"


def part(lines: pl.Series, delimiter: str, width: int) -> tuple[pl.DataFrame, pl.Series]:
    """Text cells of every line and how many there are.

    Parameters
    ----------
    lines
        Shape (lines,).
    delimiter
        Of the file; a space stands for any run of spaces and tabs.
    width
        Cells a data row has, at least.

    Returns
    -------
    tuple
        One row a line, columns ``"0"``, ``"1"``, …; the count of cells, shape (lines,), 0 where a line is blank.
    """
    sign = "\t" if delimiter == " " else delimiter
    quoted = bool(lines.str.contains('"', literal=True).any())

    def ready() -> Iterator[pl.Series]:
        for at in range(0, max(len(lines), 1), SLICE):
            some = lines.slice(at, SLICE)
            some = _tabbed(some) if delimiter == " " else some
            yield _paired(some, sign) if quoted else some

    widths = pl.concat([_count(some, sign, quoted=quoted) for some in ready()])
    names = [str(k) for k in range(_table_width(widths, width))]
    return pl.concat([_parse(some, sign, names, quoted=quoted) for some in ready()], rechunk=False), widths


def _tabbed(lines: pl.Series) -> pl.Series:
    """One tab for each run of spaces; date and time, and a clock and its AM or PM, are one cell."""
    loose = lines.str.strip_chars()
    if loose.str.contains(":", literal=True).any():
        loose = loose.str.replace_all(_DATED, "${1}T${2}").str.replace_all(r"(\d) +([AaPp]\.?[Mm]\b)", "${1}${2}")
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


def _parse(lines: pl.Series, sign: str, names: list[str], *, quoted: bool) -> pl.DataFrame:
    # the parser takes the width from the first line, so a line of blanks as wide as the table goes first
    wide = sign * (len(names) - 1) + ("-" if len(names) == 1 else "")
    data = f"{wide}\n{lines.str.join(chr(10)).item()}\n".encode()
    schema = dict.fromkeys(names, pl.String)
    try:
        frame = pl.read_csv(
            data, separator=sign, has_header=False, quote_char='"' if quoted else None, schema=schema, truncate_ragged_lines=True
        )
    except PolarsError:
        frame = pl.DataFrame()
    if frame.height != len(lines) + 1:
        frame = pl.read_csv(data, separator=sign, has_header=False, quote_char=None, schema=schema, truncate_ragged_lines=True)
    frame = frame.slice(1, len(lines))
    return frame.with_columns(pl.all().str.strip_chars(' "' if quoted else " ")) if b" " in data or quoted else frame


def _table_width(widths: pl.Series, width: int) -> int:
    """Columns to hold: the widest line's, but no single broken line may blow up the table."""
    widest = int(widths.max() or 1)  # type: ignore[arg-type]
    if widest * widths.len() > MAX_CELLS or widest > MAX_COLUMNS:
        often = widths.value_counts().filter(pl.col("count") >= max(2, widths.len() // 10_000))
        widest = max((w for w in often[widths.name].to_list() if w <= MAX_COLUMNS), default=1)
    return max(widest, width, 1)
