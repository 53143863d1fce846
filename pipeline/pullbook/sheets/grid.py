"""Hand-kept sheets as a grid of text: .csv as any country's spreadsheet writes it, .xlsx without running anything in it."""

import csv
import io
import re
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pullbook.handover import Fault
from pullbook.sheets.guarded import MOST_SHEET, as_text, guarded_bytes

if TYPE_CHECKING:
    import pandas as pd

MOST_ROWS = 5_000
MOST_COLUMNS = 200
_MOST_CELL = 2_000
MOST_UNPACKED = 30_000_000
_MOST_MEMBERS = 500
_HEADER_WITHIN = 20


@dataclass(frozen=True, slots=True)
class Grid:
    """A sheet below its header. ``cells``: text, one row a filled line, its index the line as an editor or spreadsheet counts,
    its columns numbered from 0; ``headers``: what stands above each column; ``header_line``; ``warnings``: what to know;
    ``units``: the cells of a row of units under the headers, where there is one.
    """

    cells: "pd.DataFrame"
    headers: tuple[str, ...]
    header_line: int
    warnings: tuple[str, ...] = ()
    units: tuple[str, ...] = ()

    def heading(self, number: int) -> str:
        """A column's header with the unit that stands under it, where it has none of its own."""
        header, unit = self.headers[number], self.units[number] if self.units else ""
        return f"{header} ({unit.strip('[](){}<> ')})" if header and unit and not re.search(r"[\[({<]", header) else header


Row = tuple[int, list[str]]


def read_sheet_grid(path: Path, *, shown: str, knows: Callable[[str], object]) -> Grid | Fault:
    """The grid of a sheet.

    Parameters
    ----------
    path, shown
        The file and the name to show for it; ``.xlsx`` is a spreadsheet, everything else is text.
    knows
        What a header means to this sheet, nothing where it is unknown; the header row is the first with the most of them.

    Returns
    -------
    Grid or Fault
        The fault when the file cannot be read, is too large or has no header row.
    """
    content = guarded_bytes(path, shown=shown, most=MOST_SHEET)
    if isinstance(content, Fault):
        return content
    warnings: list[str] = []
    if path.suffix.lower() == ".xlsx":
        tables = _spreadsheet(content, shown, warnings)
    else:
        text = as_text(content, shown=shown)
        tables = text if isinstance(text, Fault) else _text_tables(text)
    if isinstance(tables, Fault):
        return tables
    best: tuple[int, int, list[Row]] = (0, 0, [])
    for rows in tables:
        for at, (_, cells) in enumerate(rows[:_HEADER_WITHIN]):
            score = len({c.casefold() for c in cells if c and knows(c)})
            if score > best[0]:
                best = (score, at, rows)
    score, at, rows = best
    if score == 0:
        filled = next((" | ".join(c for c in cells if c) for t in tables for _, cells in t if any(cells)), "")
        found = f"{filled[:80]!r}" if filled else "an empty sheet"
        return Fault(
            shown, None, None, found, "a row of column names, one of them `file`", "put the column names of docs/ in the first row"
        )
    if len(rows) - at - 1 > MOST_ROWS:
        warnings.append(f"{shown}: more than {MOST_ROWS} rows; the rest is left out")
    return _grid(rows[at : at + MOST_ROWS + 1], tuple(warnings))


def _grid(rows: list[Row], warnings: tuple[str, ...]) -> Grid:
    import pandas as pd

    header_line, headers = rows[0]
    width = max(len(cells) for _, cells in rows)
    table = pd.DataFrame(
        [cells + [""] * (width - len(cells)) for _, cells in rows[1:]],
        index=pd.Index([line for line, _ in rows[1:]], dtype="int64"), columns=range(width), dtype="str",
    )  # fmt: skip
    filled = (table != "").any(axis=1)
    names = tuple(headers + [""] * (width - len(headers)))
    return Grid(table[filled], names, header_line, warnings)


def _text_tables(text: str) -> list[list[Row]]:
    """The text cut by each delimiter a spreadsheet may use; the header decides which one is right."""
    hint = re.match(r"\s*sep=(.)\s*$", text.split("\n", 1)[0], re.IGNORECASE)
    delimiters = [hint[1]] if hint else [d for d in ";\t,|" if d in text] or [","]
    return [_cut(text, d) for d in delimiters]


def _cut(text: str, delimiter: str) -> list[Row]:
    rows: list[Row] = []
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    before = 0
    while len(rows) <= MOST_ROWS + _HEADER_WITHIN:
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error:  # a cell of more than 131,072 characters: its line is passed over
            before = reader.line_num
            continue
        rows.append((before + 1, [c.strip().strip("\u00a0")[:_MOST_CELL] for c in cells[:MOST_COLUMNS]]))
        before = reader.line_num
    return rows


def _spreadsheet(content: bytes, shown: str, warnings: list[str]) -> list[list[Row]] | Fault:
    remedy = "save the sheet again as .xlsx without a password, or as pulls.csv"
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            refused = _bomb(packed)
            sheets = [packed.read(m) for m in packed.namelist() if "worksheets/sheet" in m] if not refused else []
            formulas = any(b"<f>" in xml or b"<f " in xml for xml in sheets)
            del sheets
        if refused:
            return Fault(
                shown, None, None, refused, "a spreadsheet of a few rows", "save only the sheet itself, as .xlsx or as pulls.csv"
            )
        tables = _worksheets(content)
    except MemoryError:
        raise
    except Exception as wrong:  # whatever a broken or hostile spreadsheet sets off inside the library is the sheet's fault
        name = type(wrong).__name__
        return Fault(shown, None, None, f"a spreadsheet that cannot be opened ({name})", "a spreadsheet (.xlsx)", remedy)
    if formulas:
        warnings.append(f"{shown}: holds formulas; nothing is calculated, the values the spreadsheet saved last are used")
    return tables


def _bomb(packed: zipfile.ZipFile) -> str | None:
    """What makes a packed spreadsheet unfit to open, or None."""
    members = packed.infolist()
    if len(members) > _MOST_MEMBERS:
        return f"{len(members):,} packed files"
    if (unpacked := sum(m.file_size for m in members)) > MOST_UNPACKED:
        return f"{unpacked:,} bytes when unpacked"
    for member in members:
        if member.filename.lower().endswith((".xml", ".rels", ".vml")):
            with packed.open(member) as file:
                head = file.read(4096).replace(b"\x00", b"")
            if b"<!DOCTYPE" in head or b"<!ENTITY" in head:
                return f"entities declared in {member.filename[:60]!r}"
    return None


def _worksheets(content: bytes) -> list[list[Row]]:
    """The first sheets as rows of text; the one value of cells merged downwards holds for each of their rows."""
    import warnings as python_warnings

    import openpyxl

    with python_warnings.catch_warnings(), zipfile.ZipFile(io.BytesIO(content)) as packed:
        python_warnings.simplefilter("ignore")  # openpyxl warns of styles and extensions, which mean nothing here
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
        try:
            tables = []
            for sheet in book.worksheets[:10]:
                sheet.reset_dimensions()
                rows = sheet.iter_rows(max_row=MOST_ROWS + _HEADER_WITHIN, max_col=MOST_COLUMNS)
                table = [(line, [_cell(c.value, c.number_format) for c in cells]) for line, cells in enumerate(rows, start=1)]
                tables.append(_filled_down(table, _merged(packed, sheet)))
            return tables
        finally:
            book.close()


def _merged(packed: zipfile.ZipFile, sheet: Any) -> list[tuple[int, int, int]]:
    """(column, first row, last row) of cells merged downwards, from 1. Read from the file: the library that lists them
    makes every cell of a range first, and a range may be the whole sheet.
    """
    from openpyxl.utils.cell import column_index_from_string

    xml = packed.read(sheet._worksheet_path)
    found = re.findall(rb'<(?:\w+:)?mergeCell ref="([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})"', xml)[:MOST_ROWS]
    return [(column_index_from_string(a.decode()), int(top), int(bottom)) for a, top, b, bottom in found if a == b]


def _filled_down(rows: list[Row], merged: Iterable[tuple[int, int, int]]) -> list[Row]:
    for column, top, bottom in merged:
        last = min(bottom, len(rows))
        if top < last and column <= len(rows[top - 1][1]):
            for _, cells in rows[top:last]:
                cells += [""] * (column - len(cells))
                cells[column - 1] = rows[top - 1][1][column - 1]
    return rows


def _cell(value: object, number_format: str | None) -> str:
    """A spreadsheet's cell as the text a shop would have typed: 0.45 that is shown as 45 % is 45 %."""
    if value is None:
        return ""
    if isinstance(value, int | float) and not isinstance(value, bool) and "%" in (number_format or ""):
        return f"{100.0 * value:.10g}%"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.10g}" if value == value and abs(value) < 1e15 else str(value)
    if isinstance(value, time):
        return value.strftime("%H:%M:%S" if value.second else "%H:%M")
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%d %H:%M") if value.hour or value.minute else value.strftime("%Y-%m-%d")
    if isinstance(value, date):
        return value.isoformat()
    return str(value).strip()[:_MOST_CELL]
