"""The pull sheet: rows as the shop kept them, every cell checked, nothing dropped without a word."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pullbook.handover import Fault
from pullbook.sheets.cells import SheetCells
from pullbook.sheets.grid import read_sheet_grid
from pullbook.sheets.hand_marks import with_file_above, with_units_row, without_dittos
from pullbook.sheets.note_words import heard_in_notes, told_by_notes
from pullbook.sheets.placed import placed
from pullbook.sheets.row import SUMMARY, SheetRow
from pullbook.sheets.typed_number import typed_number
from pullbook.sheets.words import PULL_COLUMNS, fold, pull_column, said
from pullbook.wording import few

_KNOCK = said("knock")
OWN_COLUMN = "found"
"""A column `pullbook new` writes to tell pulls apart while the sheet is filled in; no note of the shop's."""
_YES, _NO = set(said("yes")), set(said("no")) | {""}
HOT_C = 40.0
"""Above this, a number in a column that holds °F elsewhere is taken for °F as well; below, nobody can tell."""


@dataclass(frozen=True, slots=True)
class PullSheet:
    """The pull sheet in the order of its rows, which is the order the pulls were run.

    ``unlit``: questions that a sheet of light readings answers.
    """

    shown: str
    rows: tuple[SheetRow, ...] = ()
    faults: tuple[Fault, ...] = ()
    questions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    unlit: tuple[str, ...] = ()


def read_pull_sheet(path: Path, *, shown: str) -> PullSheet:
    """pulls.csv or pulls.xlsx. Rows without a usable file name become faults; unknown columns are kept in ``notes``.

    Parameters
    ----------
    path, shown
        The file, opened for reading only, and its name in messages.
    """
    grid = read_sheet_grid(path, shown=shown, knows=pull_column)
    if isinstance(grid, Fault):
        return PullSheet(shown, faults=(grid,))
    grid = without_dittos(with_units_row(grid))
    columns = placed(grid, shown, pull_column, PULL_COLUMNS)
    if "file" not in columns.at:
        named = ", ".join(repr(h) for h in grid.headers if h)[:120]
        remedy = "name the column that holds the logs' file names `file`"
        return PullSheet(shown, faults=(Fault(shown, grid.header_line, None, f"the columns {named}", "a column `file`", remedy),))
    filled: tuple[int, ...] = ()
    if "pull" in columns.at:
        grid, filled = with_file_above(grid, columns.at["file"][0], columns.at["pull"][0])
    cells = SheetCells(grid, columns, shown)
    remarks: list[str] = []
    rows: list[SheetRow] = []
    asked: list[str] = []
    unfiled: list[int] = []
    notes: dict[int, str | None] = {}  # the notes' own column by line, without what stands in unknown columns
    for line, *values in grid.cells.itertuples():
        row = tuple(values)
        if cells.text(row, "file") is None:
            unfiled += [int(line)] if _only_planned(cells, int(line), row, remarks) else []
        elif (made := _pull_row(cells, int(line), row, columns.unknown, asked)) is not None:
            notes[made.line] = cells.text(row, "notes")
            rows.append(made)
    told = told_by_notes([(r, notes[r.line]) for r in rows], shown)
    rows, fahrenheit = _without_fahrenheit(_without_row_numbers(rows, cells), cells)
    if unfiled and rows:
        which = f"lines {unfiled[0]} to {unfiled[-1]}" if len(unfiled) > 1 else f"line {unfiled[0]}"
        asked.append(f"{shown} {which}: {len(unfiled)} planned without a file name. Were they run?")
    if filled:
        remarks.append(f"{shown} {_lines(filled)}: no file name, and the pull after the one above: the same file is meant")
    warnings = (*grid.warnings, *columns.warnings, *remarks, *fahrenheit, *told.warnings)
    return PullSheet(shown, tuple(rows), tuple(cells.faults), (*asked, *told.questions), warnings, told.unlit)


def pull_sheet_of(sheets: dict[str, Path], shown: Callable[[Path], str]) -> tuple[PullSheet | None, str | None, str | None]:
    """The pull sheet of a day folder, and a question or a warning where there are two.

    Parameters
    ----------
    sheets
        The sheets of the folder by their names in small letters.
    shown
        How a path is named to the operator.
    """
    one, other = (read_pull_sheet(p, shown=shown(p)) if (p := sheets.get(n)) else None for n in ("pulls.csv", "pulls.xlsx"))
    if one is None or other is None:
        return one or other, None, None
    if not one.rows and not one.faults and (other.rows or other.faults):  # as `new` left it, beside the one that was filled in
        return other, None, "pulls.csv names no log: pulls.xlsx is used. Take pulls.csv away"
    return one, "Both pulls.csv and pulls.xlsx are here: pulls.csv is used. Which one is right?", None


def _without_fahrenheit(rows: list[SheetRow], cells: SheetCells) -> tuple[list[SheetRow], list[str]]:
    """Rows without the temperatures that stand in one column with plain °F (57 among 61 and 64 is no 57 °C either); warnings."""
    slipped, taken, out = cells.settle_slips(), dict[str, list[float]](), []
    for row in rows:
        mine = row
        for name, value in (("temperature_c", row.temperature_c), ("oil_c", row.oil_c), ("coolant_c", row.coolant_c)):
            if name in slipped and value is not None and value > HOT_C:
                taken.setdefault(name, []).append(value)
                mine = replace(mine, **{name: None})  # type: ignore[arg-type]
        out.append(mine)
    return out, [
        f"{cells.shown}: {few([f'{v:g}' for v in values], 4)} in {cells.header(name)!r} would do as °C, but others of the column "
        "are °F: not used"
        for name, values in taken.items()
    ]


def _without_row_numbers(rows: list[SheetRow], cells: SheetCells) -> list[SheetRow]:
    """A column "run" that numbers the rows of a sheet with a log a row counts the day's pulls, not those inside a log."""
    named = fold(cells.header("pull")) == "pull"
    counts = [r.pull for r in rows] == list(range(1, len(rows) + 1)) and len({r.file for r in rows}) == len(rows) > 1
    return [replace(r, pull=None) for r in rows] if counts and not named else rows


def _lines(lines: Sequence[int]) -> str:
    return f"line {lines[0]}" if len(lines) == 1 else f"lines {', '.join(map(str, lines))}"


def _only_planned(cells: SheetCells, line: int, row: tuple[str, ...], remarks: list[str]) -> bool:
    """Whether a row without a file name is a pull that was planned; one that says more of it than a plan can is a fault, a sum or
    what stands alone in its row a remark.
    """
    planned = any(cells.text(row, name) for name in ("setting", "total_deg", "initial_deg"))
    first, *more = (text for text in row if text)
    if fold(first) in SUMMARY or not (more or planned):
        remarks.append(f"{cells.shown} line {line}: {first[:80]!r} stands where no row is and is taken as a remark")
        return False
    if any(cells.text(row, name) for name in ("time", "pull", "knock", "exclude")):
        cells.fault(line, "file", "a row without a file name", "the log's file name", "write it, or take the row away")
        return False
    return planned


def _pull_row(
    cells: SheetCells, line: int, row: tuple[str, ...], unknown: Sequence[tuple[int, str]], asked: list[str]
) -> SheetRow | None:
    """A row with a file name as the contract names its columns, questions put into ``asked``; None where the name is unusable."""
    file = cells.plain_name(line, row, "file")
    if file is None:
        return None
    pull = cells.number(line, row, "pull")
    if pull is not None and pull != round(pull):
        cells.fault(line, "pull", f"{pull:g}", "a whole number", "count the pulls in that file from 1")
        pull = None
    lo, hi = _knock_range(cells, line, row)
    numbers = ("initial_deg", "total_deg", "pressure_kpa", "temperature_c", "humidity_pct", "oil_c", "coolant_c")
    setting = cells.text(row, "setting", 200)
    if setting is not None and re.fullmatch(r"\d{4}-\d{2}-\d{2}( \d{2}:\d{2})?", setting):
        asked.append(f"{cells.shown} line {line}: the setting reads {setting!r}; did the spreadsheet turn a label into a date?")
    made = SheetRow(
        line=line, file=file, pull=None if pull is None else round(pull), setting=setting,
        **{name: cells.number(line, row, name) for name in numbers},
        baseline=_yes(cells, line, row), time=cells.text(row, "time", 60),
        knock=_knock(cells, line, row, asked), knock_lo_rpm=lo, knock_hi_rpm=hi,
        logger_file=cells.plain_name(line, row, "logger_file"), exclude=_reason(cells, row), notes=_notes(cells, row, unknown),
    )  # fmt: skip
    if (note := cells.text(row, "notes")) is None:
        return made
    made, question = heard_in_notes(made, note, cells.shown)
    asked += [] if question is None else [question]
    return made


def _yes(cells: SheetCells, line: int, row: tuple[str, ...]) -> bool:
    text = fold(cells.text(row, "baseline") or "")
    if text not in _YES | _NO:
        cells.fault(
            line, "baseline", repr(cells.text(row, "baseline")), "yes or blank", "write `yes` on the pulls of the reference setting"
        )
    return text in _YES


def _reason(cells: SheetCells, row: tuple[str, ...]) -> str | None:
    """Why a pull is left out; a plain no is none."""
    text = cells.text(row, "exclude")
    return None if text is None or fold(text) in _NO else text


def _knock(cells: SheetCells, line: int, row: tuple[str, ...], asked: list[str]) -> str:
    """The contract's word; a word nobody knows is taken as ``faint``, the careful side, and the question put into ``asked``."""
    text = cells.text(row, "knock")
    if text is None:
        if cells.text(row, "knock_rpm") is None:
            return "not listened"
        asked.append(f"{cells.shown} line {line}: knock_rpm without a word in knock: heard or faint? Until then: faint")
        return "faint"
    word = _KNOCK.get(fold(text)) or _KNOCK.get(text)
    if word is None:
        asked.append(
            f"{cells.shown} line {line}: knock says {text[:60]!r}; heard, faint, not heard or not listened? Until then: faint"
        )
        return "faint"
    return word


def _knock_range(cells: SheetCells, line: int, row: tuple[str, ...]) -> tuple[float | None, float | None]:
    text = cells.text(row, "knock_rpm")
    if text is None:
        return None, None
    ends = [typed_number(part, thousands=True) for part in re.split(r"\s*(?:-|–|—|…|\.\.+|to|bis|à)\s*", text.strip())]
    known = [e for e in ends if e is not None and 0 < e <= 25_000]
    if len(known) != len(ends) or len(ends) > 2 or known != sorted(known):
        cells.fault(
            line,
            "knock_rpm",
            repr(text[:60]),
            "a range of speeds such as 3300-3600",
            "write `low-high` in rpm; blank: the whole pull",
        )
        return None, None
    return known[0], known[-1]


def _notes(cells: SheetCells, row: tuple[str, ...], unknown: Sequence[tuple[int, str]]) -> str | None:
    """The notes, with what stands in unknown columns after them."""
    extra = [f"{header[:60]}: {row[number][:300]}" for number, header in unknown if row[number] and fold(header) != OWN_COLUMN]
    return "; ".join([*([note] if (note := cells.text(row, "notes", 2000)) else []), *extra]) or None
