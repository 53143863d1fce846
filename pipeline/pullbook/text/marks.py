"""Which sign is the decimal mark of a log and which groups thousands: decided once for the whole file, by every cell."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import polars as pl

from pullbook.handover import Fault
from pullbook.text.end_to_end import EndToEnd

AT_ONCE = 100_000
"""Cells of several columns that are looked at together."""
LEAST_SHARE = 0.05
"""Below this share of the marked cells, cells with the other decimal mark are damage; above it the file contradicts itself."""


@dataclass(frozen=True, slots=True)
class Marks:
    """Decimal mark and thousands separator of a file; ``doubtful``: nothing tells which of the two the only mark is."""

    decimal: str
    thousands: str | None
    doubtful: bool = False


@dataclass(slots=True)
class Votes:
    """Which sign is the decimal mark, voted for by cells, some at a time.

    ``votes``: cells that prove each mark; ``first``: (column, row) of the first proof of each.
    """

    votes: dict[str, int] = field(default_factory=lambda: {".": 0, ",": 0})
    first: dict[str, tuple[str, int]] = field(default_factory=dict)
    groups: set[tuple[str, str]] = field(default_factory=set)  # (column, mark): cells that are groups of three and no more
    behind: set[tuple[str, str]] = field(default_factory=set)  # (column, mark): a mark behind the other one
    threes: set[tuple[str, str]] = field(default_factory=set)  # (column, mark): three digits behind a mark
    columns: dict[str, None] = field(default_factory=dict)

    def add(self, cells: EndToEnd, at: int = 0) -> None:
        """Count ``cells``, columns of text, the first of which are in row ``at`` from 0."""
        self.columns.update(dict.fromkeys(cells.names))
        flat = cells.flat
        has = {m: flat.str.contains(m, literal=True).fill_null(False) for m in ".,"}
        for mark, other in ((".", ","), (",", ".")):
            if not has[mark].any():
                continue
            both = has[mark] & has[other]
            last = flat.str.contains(f"[{other}].*[{mark}]") & ~flat.str.contains(f"[{mark}].*[{other}]") if both.any() else both
            last = last.fill_null(False)
            alone = has[mark] & ~has[other]
            threes = flat.str.contains(rf"\d[{mark}]\d{{3}}").fill_null(False)
            groups = many = threes
            if threes.any():
                groups = flat.str.contains(rf"^[-+−]?[1-9]\d{{0,2}}(?:[{mark}]\d{{3}})+$").fill_null(False) & alone
                many = flat.str.contains(rf"[{mark}]\d{{3}}[{mark}]").fill_null(False) & alone
            proof = ((alone & ~groups) | last) & ~many
            if (count := int(proof.sum())) and mark not in self.first:
                column, row = divmod(int(proof.arg_max() or 0), cells.rows)
                self.first[mark] = (cells.names[column], at + row)
            self.votes[mark] += count
            self.votes[other] += int(many.sum())
            for found, columns in ((groups, self.groups), (last, self.behind), (threes, self.threes)):
                columns |= {(name, mark) for name in cells.where(found)}

    def verdict(self, speeds: set[str]) -> Marks | tuple[str, int]:
        """What the votes come to, as by :func:`decide_marks`."""
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
    for some in _alike(columns):
        votes.add(some)
    return votes.verdict(speeds)


def _alike(columns: dict[str, pl.Series]) -> Iterator[EndToEnd]:
    """Columns of one length together, some at a time."""
    some: dict[str, pl.Series] = {}
    for name, cells in columns.items():
        if some and (len(next(iter(some.values()))) != len(cells) or len(some) * len(cells) > AT_ONCE):
            yield EndToEnd(some)
            some = {}
        some[name] = cells
    if some:
        yield EndToEnd(some)


def mixed_marks(shown: str, header: str, line: int, cell: str, usual: str) -> Fault:
    """The fault of a log that writes decimals in two ways.

    Parameters
    ----------
    shown, header, line, cell
        Where the first cell of the lesser kind stands.
    usual
        The mark most of the log has.
    """
    found = f"{cell!r} where most of the log has a decimal {'point' if usual == '.' else 'comma'}"
    return Fault(
        shown,
        line,
        header,
        found,
        "one decimal mark in the whole log",
        "export the log again with one setting; columns.yaml cannot settle it",
    )
