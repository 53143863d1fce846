"""Cells of a hand-kept sheet by column of the contract: words, numbers, plain file names; faults with line and header."""

import re
from dataclasses import replace
from pathlib import PureWindowsPath
from unicodedata import category

from pullbook.handover import Fault
from pullbook.sheets.grid import Grid
from pullbook.sheets.placed import Placed
from pullbook.sheets.spans import SPANS
from pullbook.sheets.typed_number import number_and_unit, typed_number
from pullbook.sheets.unit_slips import column_in, looks_like
from pullbook.wording import counted

_KINDS = {
    "kPa": ("pressure",), "°C": ("temperature", "angle"), "%": ("share",), "rpm": ("speed",),
    "degrees BTDC": ("angle", "advance"),
}  # fmt: skip
"""Kinds of units a cell may name behind its number; a bare ° is whichever the column's is."""


class SheetCells:
    """Cells of one sheet by column of the contract; ``faults``: what was looked at and cannot be used.

    Parameters
    ----------
    grid
        The sheet; its rows are handed in one by one, cells as text.
    placed
        Which of its columns is which.
    shown
        Its name in messages.
    """

    def __init__(self, grid: Grid, placed: Placed, shown: str) -> None:
        self.shown, self.headers, self.at = shown, grid.headers, placed.at
        self.faults: list[Fault] = []
        self._slips: dict[str, list[int]] = {}  # column with cells in another unit: where its fault stands, lines of the rest

    def header(self, name: str) -> str:
        """The column's header as written, or its name where it is absent."""
        return self.headers[self.at[name][0]] if name in self.at else name

    def text(self, row: tuple[str, ...], name: str, most: int = 500) -> str | None:
        """A cell's words, None where blank or the column is absent."""
        found = self.at.get(name)
        return (row[found[0]][:most] or None) if found else None

    def fault(self, line: int, name: str, found: str, expected: str, remedy: str) -> None:
        """Note a cell that cannot be used, under the header as written."""
        self.faults.append(Fault(self.shown, line, self.header(name), found, expected, remedy))

    def number(self, line: int, row: tuple[str, ...], name: str) -> float | None:
        """A cell's number in the contract's unit, None where blank; a fault where it is none or cannot be meant.

        Parameters
        ----------
        line, row
            The row, cells as text, and its line.
        name
            Column of the contract.
        """
        text = self.text(row, name)
        if text is None or text in ("-", "–", "—", "?", "n/a", "N/A"):
            return None
        lo, hi = SPANS[name].lo, SPANS[name].hi
        value = typed_number(text, thousands=hi >= 1000)
        if value is None:
            self.fault(line, name, repr(text[:60]), _wanted(name), "write the bare number")
            return None
        bare, unit = number_and_unit(text)
        convert = self.at[name][1].convert
        if unit is not None and unit.kind not in _KINDS.get(SPANS[name].unit, ()):
            self.fault(line, name, repr(text[:60]), _wanted(name), "write the bare number")
            return None
        if unit is not None and unit.kind != "angle":  # a cell's own unit counts for more than the header's
            convert = lambda v: round(unit.factor * v + unit.offset, 9)  # noqa: E731
        grouped = re.fullmatch(r"\d{1,3}[.,]\d{3}", bare) is not None
        if grouped and not lo <= convert(value) <= hi and lo <= convert(1000.0 * value) <= hi:
            value *= 1000.0  # 1.013 in a column of hPa groups thousands
        value = convert(value)
        if not lo <= value <= hi:
            self._off_scale(line, name, text, value)
            return None
        return value

    def _off_scale(self, line: int, name: str, text: str, value: float) -> None:
        """Note a number that cannot be meant; one in another unit is noted once a column, with how many more there are."""
        slip = looks_like(SPANS[name].unit, value, SPANS[name].lo, SPANS[name].hi)
        if slip is None:
            self.fault(line, name, repr(text[:60]), _wanted(name), "check the number and its unit")
            return
        if name in self._slips:
            self._slips[name].append(line)
            return
        other, meant = slip
        self._slips[name] = [len(self.faults)]
        hint = f"{value:g} looks like {other}: write {meant}, or name the column `{column_in(name, other)}`"
        self.fault(line, name, repr(text[:60]), _wanted(name), hint)

    def settle_slips(self) -> frozenset[str]:
        """Say once a column how many cells more are in the other unit; the columns that have such cells."""
        for at, *more in self._slips.values():
            if more:
                first = self.faults[at]
                self.faults[at] = replace(first, found=f"{first.found} (and {counted(len(more), 'cell')} more in that unit)")
        return frozenset(self._slips)

    def plain_name(self, line: int, row: tuple[str, ...], name: str) -> str | None:
        """A file name of the same folder; anything with a path in it is refused."""
        text = self.text(row, name, 1000)
        if text is None:
            return None
        if text[0] == "'" and text[1:].lstrip().startswith(("=", "+", "-", "@", "|", "%")):
            text = text[1:]  # the apostrophe that keeps a spreadsheet from running the cell
        bare = re.sub(r"\\x[0-9a-f]{2}", "", text)  # bytes that are no UTF-8, as they are shown everywhere
        control = any(
            category(c) in ("Cc", "Cs", "Zl", "Zp") for c in text
        )  # marks of direction and hard blanks are letters of a name
        if "/" in text or "\\" in bare or text in (".", "..") or PureWindowsPath(text).drive or control:
            self.fault(line, name, repr(text[:80]), "a plain file name of the same folder", "write the name alone, without a path")
            return None
        return text


def _wanted(name: str) -> str:
    span = SPANS[name]
    return f"a number from {span.lo} to {span.hi} {span.unit}".rstrip()
