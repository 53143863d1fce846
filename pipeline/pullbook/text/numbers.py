"""Cells to numbers under the file's marks, every cell that is no number accounted for."""

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl

from pullbook.arrays import Array
from pullbook.text.cells import DATE, MISSING, SWITCH, TIME, is_filler, is_missing, is_number, is_value
from pullbook.text.end_to_end import EndToEnd
from pullbook.text.marks import Marks
from pullbook.vocabulary.units_text import Unit, unit_of

SLICE = 16_384


@dataclass(frozen=True, slots=True)
class Numbers:
    """A column as numbers: ``values`` (rows,), null where missing. ``kind``: number, switch, text, empty.

    ``garbled``: rows whose cell is neither a number nor a word for a missing value; ``unit``: written behind every value.
    """

    values: pl.Series
    kind: str
    garbled: tuple[int, ...] = ()
    examples: tuple[str, ...] = ()
    unit: Unit | None = None


def is_numeric(cells: pl.Series) -> bool:
    """Whether a text column, shape (rows,), holds numbers, judged by cells from all over it."""
    known = cells.drop_nulls()
    step = max(1, known.len() // 400)
    some = [c for c in known.gather_every(step).head(500).to_list() if not is_filler(c)]
    return bool(some) and sum(is_number(c) or _with_unit(c) is not None for c in some) >= 0.5 * len(some)


def kind_of(cells: pl.Series) -> str:
    """What a column, shape (rows,), holds, judged by cells from all over it: number, clock, other or blank."""
    if cells.dtype != pl.String:
        return "number"
    known = cells.drop_nulls()
    some = [c for c in known.gather_every(max(1, known.len() // 300)).head(400).to_list() if c]
    if not some:
        return "blank"
    timed = sum(bool(TIME.fullmatch(c) or DATE.fullmatch(c)) for c in some)
    if timed > 0.5 * len([c for c in some if not is_filler(c)] or some):
        return "clock"
    return "number" if is_numeric(cells) else "other"


def to_numbers(cells: pl.Series, marks: Marks) -> Numbers:
    """One text column, shape (rows,), as numbers under the file's marks, as written: no unit is applied."""
    blank = (cells.is_null() | (cells == "")).fill_null(True)
    if blank.all():
        return Numbers(pl.Series(cells.name, [None] * len(cells), dtype=pl.Float64), "empty")
    stripped = _with_points(cells, marks)
    values = _cast(stripped)
    failed = values.is_null() & ~blank
    if not failed.any():
        return Numbers(values, "number")
    if (switched := _switched(cells, failed, values)) is not None:
        return switched
    cleaned = _cleaned(stripped)
    values = _cast(cleaned)
    failed = values.is_null() & ~blank
    rows = failed.arg_true()
    words = cells.gather(rows)
    unique = words.unique().head(5000).to_list()
    low = {w: w.strip().casefold() for w in unique}
    if (switched := _switched(cells, failed, values)) is not None:
        return switched
    strange = [w for w, v in low.items() if not is_missing(v)]
    if not strange:
        return Numbers(values, "number" if values.drop_nulls().len() else "empty")
    units = {u.name for w in strange[:200] if (u := _with_unit(w)) is not None}
    if len(units) == 1 and all(_with_unit(w) for w in strange[:200]):
        values = _cast(cleaned.str.extract(r"^([-+]?\d*\.?\d+)", 1))
        return Numbers(values, "number", unit=_with_unit(strange[0]))
    odd = words.is_in(strange)
    garbled = rows.filter(odd)
    if garbled.len() > 0.5 * (len(cells) - int(blank.sum())):
        return Numbers(values, "text", tuple(garbled.head(20).to_list()), tuple(strange[:3]))
    return Numbers(values, "number", tuple(garbled.to_list()), tuple(words.filter(odd).head(5).to_list()))


def plain_table(cells: EndToEnd, marks: Marks) -> tuple[Array, list[str]]:
    """Columns of text as numbers, and the names of those in which other things than numbers and blanks stand.

    Parameters
    ----------
    cells
        Columns of text, some rows of them.
    marks
        Of the file.

    Returns
    -------
    tuple
        Shape (columns, rows), NaN where no number stands; names of columns of ``cells``.
    """
    values = _cast(_with_points(cells.flat, marks))
    return cells.parted(values), cells.where(values.is_null() & (cells.flat != "").fill_null(False))


def plain_numbers(cells: pl.Series, marks: Marks) -> tuple[pl.Series, pl.Series] | None:
    """Some cells of a column that holds numbers and words for missing values, damage apart.

    Returns
    -------
    tuple or None
        Numbers (null where none stands) and which cells are damage, shape (cells,) both; None where words stand for a switch,
        units stand behind values or most is no number: only the whole column can tell then (:func:`to_numbers`).
    """
    values = _cast(_with_points(cells, marks))
    failed = values.is_null() & (cells != "").fill_null(False)
    if not failed.any():
        return values, failed
    places = failed.arg_true()
    words = cells.gather(places)
    values = values.scatter(places, _cast(_cleaned(_with_points(words, marks))))
    failed = values.is_null() & failed
    unique = cells.filter(failed).unique().to_list()
    low = {word: word.strip().casefold() for word in unique}
    if any(v in SWITCH for v in low.values()):
        return None
    strange = [word for word, v in low.items() if not is_missing(v)]
    if any(_with_unit(word) for word in strange[:200]):
        return None
    garbled = failed & cells.is_in(strange)
    return (values, garbled) if int(garbled.sum()) <= max(3, 0.3 * (len(cells) - values.null_count())) else None


def _with_points(cells: pl.Series, marks: Marks) -> pl.Series:
    bare = cells.str.replace_all(marks.thousands, "", literal=True) if marks.thousands else cells
    return bare.str.replace_all(",", ".", literal=True) if marks.decimal == "," else bare


def _cleaned(cells: pl.Series) -> pl.Series:
    """Cells without thousands set apart by a space or an apostrophe, a minus of its own kind, a per cent sign."""
    grouped = cells.str.replace_all(r"[  '’_ ](\d{3})", "${1}")
    return grouped.str.replace("−", "-", literal=True).str.strip_suffix("%").str.strip_chars()


def _switched(cells: pl.Series, failed: pl.Series, values: pl.Series) -> Numbers | None:
    """A column whose cells without a number are words for a switch or a missing value; None where they are others."""
    words = pl.concat([some.filter(off).unique() for some, off in zip(_slices(cells), _slices(failed), strict=True)]).unique()
    low = {w: w.strip().casefold() for w in words.head(5000).to_list()}
    if not all(v in SWITCH or v in MISSING for v in low.values()) or not _is_switch(set(low.values()), values):
        return None
    means = [SWITCH.get(v) for v in low.values()]
    swapped = [some.replace_strict(list(low), means, return_dtype=pl.Float64, default=None) for some in _slices(cells)]
    return Numbers(values.fill_null(pl.concat(swapped)), "switch")


def _slices(cells: pl.Series) -> Iterator[pl.Series]:
    """Some cells at a time, so that what is made of them on the way is let go again."""
    for at in range(0, max(len(cells), 1), SLICE):
        yield cells.slice(at, SLICE)


def _cast(cells: pl.Series) -> pl.Series:
    values = cells.cast(pl.Float64, strict=False)
    return values.set(~values.is_finite(), None) if not values.is_finite().all() else values


def _is_switch(words: set[str], values: pl.Series) -> bool:
    """Two-way words, or one of them alone in a column without other numbers than 0 and 1."""
    sides = {SWITCH[w] for w in words if w in SWITCH}
    numbers = set(values.drop_nulls().head(1000).to_list())
    return numbers <= {0.0, 1.0} and (len(sides) == 2 or (bool(sides) and not (words <= MISSING)))


def _with_unit(cell: str) -> Unit | None:
    """The unit of a cell like ``88.4 °C``."""
    number = cell.strip().rstrip("°CFKabcdefghijklmnopqrstuvwxyzABDEGHIJLMNOPQRSTUVWXYZ·%/ ")
    tail = cell.strip()[len(number) :].strip()
    return unit_of(tail) if tail and is_value(number) else None
