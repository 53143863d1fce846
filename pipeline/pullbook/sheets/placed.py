"""Which column of a sheet is which of the contract: by its header, by what a slip of the pen meant, by what its cells are."""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass

from pullbook.book import LOG_ENDINGS
from pullbook.sheets.by_grammar import meant_by, speaks_of
from pullbook.sheets.grid import Grid
from pullbook.sheets.typed_number import typed_number
from pullbook.sheets.words import SheetColumn, misspelt


@dataclass(frozen=True, slots=True)
class Placed:
    """``at``: column of the contract -> its number from 0 and what its header means; ``unknown``: (number, header) of all others
    that hold anything; ``warnings``: what was read for a header that says it with a slip."""

    at: dict[str, tuple[int, SheetColumn]]
    unknown: tuple[tuple[int, str], ...]
    warnings: tuple[str, ...]


def placed(grid: Grid, shown: str, column_of: Callable[[str], SheetColumn | None], columns: Collection[str]) -> Placed:
    """Find the columns of a sheet; of two with one meaning the first counts, the other is unknown.

    Parameters
    ----------
    grid
        The sheet.
    shown
        Its name in messages.
    column_of
        What a header means to this sheet; None where it is unknown.
    columns
        Names of the contract that the sheet may have.
    """
    at: dict[str, tuple[int, SheetColumn]] = {}
    unknown: list[tuple[int, str]] = []
    warnings: list[str] = []
    for number, header in enumerate(grid.headers):
        column = column_of(grid.heading(number)) if header else None
        if column is not None and column.name not in at:
            at[column.name] = (number, column)
        elif header or (grid.cells[number] != "").any():
            unknown.append((number, header or f"column {number + 1}"))
    for number, header in list(unknown):
        meant = misspelt(header, columns, at)
        if meant is not None and (column := column_of(meant)) is not None:
            at[meant] = (number, column)
            unknown.remove((number, header))
            warnings.append(f"{shown}: the column {header[:60]!r} is read as {meant}")
    for number, header in unknown if "file" in columns else ():
        column = meant_by(grid.heading(number), grid.cells[number]) if grid.headers[number] else None
        if column is not None and column.name not in at:
            at[column.name] = (number, column)
            warnings.append(f"{shown}: the column {header[:60]!r} is read as {column.name}, by its words and what stands in it")
    unknown = [(number, header) for number, header in unknown if number not in {n for n, _ in at.values()}]
    if "pull" in at and not _counts(grid.cells[at["pull"][0]]):
        unknown = sorted([*unknown, (at["pull"][0], grid.headers[at.pop("pull")[0]])])  # "Run" of names, "Essai" of labels
    if "file" in columns and "file" not in at and (named := _names_of_logs(grid, unknown)) is not None:
        at["file"] = (named[0], SheetColumn("file", float))
        unknown.remove(named)
        warnings.append(f"{shown}: the column {named[1][:60]!r} is read as file")
    if "setting" in at and "initial_deg" not in at and _labels(grid, unknown, column_of) is not None:
        number, _ = at["setting"]  # "Calage" of degrees beside a column of labels
        if (degrees := meant_by(grid.heading(number), grid.cells[number])) is not None and degrees.name == "initial_deg":
            at["initial_deg"] = (at.pop("setting")[0], degrees)
            warnings.append(
                f"{shown}: the column {grid.headers[number][:60]!r} is read as initial_deg, by its words and what stands in it"
            )
    if "pull" in columns and "setting" not in at and (label := _labels(grid, unknown, column_of)) is not None:
        at["setting"] = (label[0], SheetColumn("setting", float))
        unknown.remove(label)
        warnings.append(f"{shown}: the column {label[1][:60]!r} is read as setting")
    return Placed(at, tuple(unknown), tuple(warnings))


def _counts(cells: Iterable[str]) -> bool:
    """Whether most filled cells are numbers, as a count of pulls is."""
    filled = [text for text in cells if text]
    return sum(any(c.isdigit() for c in text) and typed_number(text.strip(" #.°")) is not None for text in filled) >= 0.5 * len(
        filled
    )


def _is(name: str, column: SheetColumn | None) -> bool:
    return column is not None and column.name == name


def _labels(
    grid: Grid, unknown: Iterable[tuple[int, str]], column_of: Callable[[str], SheetColumn | None]
) -> tuple[int, str] | None:
    """The one column left that speaks of how the engine was set, or is called a run and holds labels."""
    left = [(number, header) for number, header in unknown if (grid.cells[number] != "").any()]
    found = [
        (number, header)
        for number, header in left
        if speaks_of("setting", header)
        or (not _counts(grid.cells[number]) and (speaks_of("labels", header) or _is("pull", column_of(header))))
    ]
    return found[0] if len(found) == 1 else None


def _names_of_logs(grid: Grid, unknown: Iterable[tuple[int, str]]) -> tuple[int, str] | None:
    """Of the columns no header explains, the first in which most cells are names of logs, else the one that speaks of files."""
    left = [(number, header) for number, header in unknown if (grid.cells[number] != "").any()]
    for number, header in left:
        filled = [text for text in grid.cells[number] if text]
        if sum(text.casefold().endswith(LOG_ENDINGS) for text in filled) > 0.5 * len(filled):
            return number, header
    speaking = [column for column in left if speaks_of("file", column[1])]
    return speaking[0] if len(speaking) == 1 else None
