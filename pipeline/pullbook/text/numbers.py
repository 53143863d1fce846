"""Cells to numbers: decimal mark and thousands separator decided once per file, every cell that is no number accounted for."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import polars as pl

from pullbook.handover import Fault
from pullbook.text.cells import DATE, MISSING, SWITCH, TIME, is_filler, is_missing, is_number, is_value
from pullbook.vocabulary.units_text import Unit, unit_of

SLICE = 16_384
LEAST_SHARE = 0.05
"""Below this share of the marked cells, cells with the other decimal mark are damage; above it the file contradicts itself."""


@dataclass(frozen=True, slots=True)
class Marks:
    """Decimal mark and thousands separator of a file; ``doubtful``: nothing tells which of the two the only mark is."""

    decimal: str
    thousands: str | None
    doubtful: bool = False


@dataclass(frozen=True, slots=True)
class Numbers:
    """A column as numbers (shape: rows, null where missing). ``kind``: number, switch, text, empty.

    ``garbled``: rows whose cell is neither a number nor a word for a missing value; ``unit``: written behind every value.
    """

    values: pl.Series
    kind: str
    garbled: tuple[int, ...] = ()
    examples: tuple[str, ...] = ()
    unit: Unit | None = None


def is_numeric(cells: pl.Series) -> bool:
    """Whether a text column holds numbers, judged by cells from all over it."""
    known = cells.drop_nulls()
    step = max(1, known.len() // 400)
    some = [c for c in known.gather_every(step).head(500).to_list() if not is_filler(c)]
    return bool(some) and sum(is_number(c) or _with_unit(c) is not None for c in some) >= 0.5 * len(some)


@dataclass(slots=True)
class Votes:
    """Which sign is the decimal mark, voted for by cells, some at a time; ``first``: (column, row) of the first proof of each."""

    votes: dict[str, int] = field(default_factory=lambda: {".": 0, ",": 0})
    first: dict[str, tuple[str, int]] = field(default_factory=dict)
    groups: set[tuple[str, str]] = field(default_factory=set)  # (column, mark): cells that are groups of three and no more
    behind: set[tuple[str, str]] = field(default_factory=set)  # (column, mark): a mark behind the other one
    threes: set[tuple[str, str]] = field(default_factory=set)  # (column, mark): three digits behind a mark
    columns: list[str] = field(default_factory=list)

    def add(self, name: str, cells: pl.Series, at: int = 0) -> None:
        """Count cells of a column, the first of which is in row ``at``."""
        if name not in self.columns:
            self.columns.append(name)
        has = {m: cells.str.contains(m, literal=True).fill_null(False) for m in ".,"}
        for mark, other in ((".", ","), (",", ".")):
            if not has[mark].any():
                continue
            both = has[mark] & has[other]
            last = cells.str.contains(f"[{other}].*[{mark}]") & ~cells.str.contains(f"[{mark}].*[{other}]") if both.any() else both
            alone = has[mark] & ~has[other]
            groups = cells.str.contains(rf"^[-+−]?[1-9]\d{{0,2}}(?:[{mark}]\d{{3}})+$") & alone
            many = cells.str.contains(rf"[{mark}]\d{{3}}[{mark}]") & alone
            proof = ((alone & ~groups) | last.fill_null(False)) & ~many
            if (count := int(proof.sum())) and mark not in self.first:
                self.first[mark] = (name, at + int(proof.arg_max() or 0))
            self.votes[mark] += count
            self.votes[other] += int(many.sum())
            if groups.any():
                self.groups.add((name, mark))
            if last.fill_null(False).any():
                self.behind.add((name, mark))
            if cells.str.contains(rf"\d[{mark}]\d{{3}}").any():
                self.threes.add((name, mark))

    def verdict(self, speeds: set[str]) -> Marks | tuple[str, int]:
        """As by :func:`decide_marks`."""
        votes = dict(self.votes)
        grouped: dict[str, list[str]] = {".": [], ",": []}
        for name in self.columns:
            for mark, other in ((".", ","), (",", ".")):
                if (name, mark) in self.groups:
                    grouped[mark].append(name)
                if (name, mark) in self.behind and (name, other) in self.threes:
                    grouped[other].append(name)
        for mark, other in ((".", ","), (",", ".")):
            if 0 < votes[mark] <= LEAST_SHARE * votes[other]:
                votes[mark] = 0
        if votes["."] and votes[","]:
            lesser = min(votes, key=lambda m: votes[m])
            return self.first.get(lesser, next(iter(self.first.values())))
        if votes["."]:
            return Marks(".", "," if grouped[","] else None)
        if votes[","]:
            return Marks(",", "." if grouped["."] else None)
        for mark in ".,":  # nothing but groups of three: 3,787 rpm is 3787 and never 3.787
            if grouped[mark]:
                other = "," if mark == "." else "."
                if grouped[other]:  # both only ever before three digits: one groups, the other does not; rpm tells
                    mark = "." if any(n in speeds for n in grouped["."]) else ","
                    return Marks("," if mark == "." else ".", mark, doubtful=not any(n in speeds for n in grouped[mark]))
                if any(n in speeds for n in grouped[mark]):
                    return Marks(other, mark)
                return Marks(mark, None, doubtful=True)
        return Marks(".", None)


def decide_marks(columns: dict[str, pl.Series], speeds: set[str]) -> Marks | tuple[str, int]:
    """Which sign is the decimal mark, by every cell of every numeric column.

    Parameters
    ----------
    columns
        Text cells of the numeric columns, shape (rows,) each.
    speeds
        Columns whose heading speaks of rpm: a speed of 3.787 is 3787.

    Returns
    -------
    Marks or tuple
        (column, row) of the first cell of the lesser kind where both marks are used as decimals.

    Examples
    --------
    >>> decide_marks({"a": pl.Series(["2.878,3", "163,6"])}, set())
    Marks(decimal=',', thousands='.', doubtful=False)
    """
    votes = Votes()
    for name, cells in columns.items():
        votes.add(name, cells)
    return votes.verdict(speeds)


def kind_of(cells: pl.Series) -> str:
    """What a column holds, judged by cells from all over it: number, clock, other or blank."""
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
    """One text column as numbers under the file's marks."""
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


def mixed_marks(shown: str, header: str, line: int, cell: str, usual: str) -> Fault:
    """The fault of a log that writes decimals in two ways."""
    found = f"{cell!r} where most of the log has a decimal {'point' if usual == '.' else 'comma'}"
    return Fault(
        shown,
        line,
        header,
        found,
        "one decimal mark in the whole log",
        "export the log again with one setting; columns.yaml cannot settle it",
    )
