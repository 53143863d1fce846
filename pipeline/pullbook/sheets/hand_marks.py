"""What a hand leaves in a sheet beside its cells: a row of units under the names, ditto marks, a file named once for many rows."""

import re
from dataclasses import replace

from pullbook.sheets.grid import Grid
from pullbook.sheets.words import fold, said, unaccented
from pullbook.vocabulary.units_text import unit_of

_DITTO = frozenset(said("ditto"))
_MARKS = re.compile(r"""[-–—\s.]*(?:["”“„″〃]|''|,,|‚‚)[-–—\s.]*""")
_FORM = re.compile(r"(?:h?h|u?u)[:.h](?:mm|min)(?:[:.]ss)?|yes/no|y/n|ja/nein|oui/non|si/no")


def with_units_row(grid: Grid) -> Grid:
    """The grid with a row of units right under the names taken for what it is: ``units`` of the columns, and no row.

    Parameters
    ----------
    grid
        As read; every filled cell of its first row has to be a unit or the form of a time for it to be such a row.
    """
    if grid.cells.empty:
        return grid
    first = tuple(str(c) for c in grid.cells.iloc[0])
    units = [c.strip("[](){}<> ") for c in first if c]
    told = sum(unit_of(u) is not None for u in units)
    if not told or any(unit_of(u) is None and not _FORM.fullmatch(u.casefold()) for u in units):
        return grid
    return replace(grid, cells=grid.cells.iloc[1:], units=first)


def without_dittos(grid: Grid) -> Grid:
    """The grid with ditto marks (``"``, ``do.``, ``idem``) replaced by what they stand under; one with nothing above it stays."""
    cells = grid.cells.copy()
    for number in cells.columns:
        above, column = "", cells[number].tolist()
        for k, text in enumerate(column):
            if above and is_ditto(text):
                column[k] = above
            elif text:
                above = text
        cells[number] = column
    return replace(grid, cells=cells)


def is_ditto(text: str) -> bool:
    """Whether a cell says "as above".

    Examples
    --------
    >>> [is_ditto(t) for t in ('"', "''", "-„-", "do.", "Ídem", "idle", "")]
    [True, True, True, True, True, False, False]
    """
    word = unaccented(text).strip()
    if _MARKS.fullmatch(text) is not None:
        return True
    # "do" and "id" are ditto marks by the point behind them: without it they are letters somebody wrote
    return bool(word) and (fold(text) in _DITTO or word in _DITTO) and (len(fold(text)) != 2 or word.endswith("."))


def with_file_above(grid: Grid, file: int, pull: int) -> tuple[Grid, tuple[int, ...]]:
    """The grid with the file of the row above where a row has none and its pull is the next one; and the lines that were filled.

    Parameters
    ----------
    grid
        As read.
    file, pull
        Columns of the file's name and of the number inside it.
    """
    names, filled = [str(name) for name in grid.cells[file]], []
    numbers = [int(n) if re.fullmatch(r"\d{1,3}", n) else 0 for n in (re.sub(r"\.0$", "", str(n)) for n in grid.cells[pull])]
    for k in range(1, len(names)):
        if not names[k] and names[k - 1] and numbers[k - 1] > 0 and numbers[k] == numbers[k - 1] + 1:
            names[k] = names[k - 1]
            filled.append(int(grid.cells.index[k]))
    cells = grid.cells.copy()
    cells[file] = names
    return replace(grid, cells=cells), tuple(filled)
