"""The timing-light sheet: readings as the light or the bench gave them."""

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pullbook.columns import STROBE, conform
from pullbook.handover import Fault
from pullbook.sheets.cells import SheetCells
from pullbook.sheets.grid import read_sheet_grid
from pullbook.sheets.hand_marks import with_units_row, without_dittos
from pullbook.sheets.placed import placed
from pullbook.sheets.words import STROBE_COLUMNS, fold, said, strobe_column

#: words a column may hold, and what a blank means (None: the day says)
_WORDS: dict[str, tuple[tuple[str, ...], str | None]] = {
    "direction": (("up", "down"), None), "source": (("light", "bench"), "light"),
    "scale": (("crank", "distributor"), "crank"), "vacuum": (("off", "on"), None),
}  # fmt: skip
_ALSO = said("light")


@dataclass(frozen=True, slots=True)
class StrobeSheet:
    """``readings``: STROBE, one row a usable reading."""

    readings: pl.DataFrame
    faults: tuple[Fault, ...] = ()
    warnings: tuple[str, ...] = ()


def read_strobe(path: Path, *, shown: str) -> StrobeSheet:
    """strobe.csv: timing-light and bench readings, as read (nothing doubled, no zero mark applied).

    Parameters
    ----------
    path, shown
        The file, opened for reading only, and its name in messages.
    """
    empty = conform(pl.DataFrame(), STROBE)
    grid = read_sheet_grid(path, shown=shown, knows=strobe_column)
    if isinstance(grid, Fault):
        return StrobeSheet(empty, (grid,))
    grid = without_dittos(with_units_row(grid))
    columns = placed(grid, shown, strobe_column, STROBE_COLUMNS)
    missing = [name for name in ("setting", "rpm", "advance_deg") if name not in columns.at]
    if missing:
        named = ", ".join(repr(h) for h in grid.headers if h)[:120]
        fault = Fault(
            shown,
            grid.header_line,
            None,
            f"the columns {named}",
            "the columns setting, rpm, advance_deg",
            f"add {', '.join(missing)}",
        )
        return StrobeSheet(empty, (fault,))
    cells, readings = SheetCells(grid, columns, shown), []
    for line, *values in grid.cells.itertuples():
        row = tuple(values)
        rpm, advance = cells.number(int(line), row, "rpm"), cells.number(int(line), row, "advance_deg")
        if rpm is None or advance is None:
            if not any(f.line == line for f in cells.faults):
                cells.fault(
                    int(line), "rpm", "a reading without rpm or advance", "both numbers", "fill them in or take the row away"
                )
            continue
        chosen = {name: _word(cells, int(line), row, name, known, default) for name, (known, default) in _WORDS.items()}
        readings.append({"setting": cells.text(row, "setting", 200), "rpm": rpm, "advance_deg": advance, **chosen})
    table = pl.DataFrame(readings, schema=STROBE) if readings else empty
    return StrobeSheet(table, tuple(cells.faults), (*grid.warnings, *columns.warnings))


def _word(cells: SheetCells, line: int, row: tuple[str, ...], name: str, known: tuple[str, ...], default: str | None) -> str | None:
    text = cells.text(row, name)
    if text is None:
        return default
    word = _ALSO.get(fold(text), fold(text))
    if word not in known:
        cells.fault(line, name, repr(text[:60]), " or ".join(known), "write one of them or leave it blank")
        return default
    return word
