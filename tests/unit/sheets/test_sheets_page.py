"""docs/sheets.md keeps its word: both sheets it shows read the same, and the limits it names are the reader's."""

import re
from dataclasses import replace
from pathlib import Path

from pullbook.pulls import grouping
from pullbook.sheets import grid as sheet_grid
from pullbook.sheets import guarded
from pullbook.sheets.pull_sheet import read_pull_sheet

PAGE = Path(__file__).resolve().parents[3] / "docs" / "sheets.md"


def test_both_sheets_say_the_same(tmp_path: Path) -> None:
    blocks = re.findall(r"```csv\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    read = []
    for block in blocks:
        (tmp_path / "pulls.csv").write_text(block, encoding="utf-8")
        found = read_pull_sheet(tmp_path / "pulls.csv", shown="pulls.csv")
        assert found.faults == ()
        (row,) = found.rows
        read.append(row)
    plain, other = read
    assert other == replace(plain, file="run 1")
    assert (plain.total_deg, plain.pressure_kpa, plain.knock_lo_rpm) == (34.5, 97.25, 3300.0)


def test_limits_are_the_readers() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert f"yaml of {guarded.MOST_YAML // 1000} kB" in text
    assert f"sheet of {guarded.MOST_SHEET // 1_000_000} MB" in text
    assert f"{sheet_grid.MOST_ROWS:,} rows and {sheet_grid.MOST_COLUMNS} columns" in text
    assert f"{sheet_grid.MOST_UNPACKED // 1_000_000} MB unpacked" in text
    assert f"within {grouping.SAME_DEG}° of each other" in text
