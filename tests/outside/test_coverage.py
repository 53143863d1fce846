"""Every row of the list of outside checks has a test: its number stands in the test's name or in its docstring."""

import ast
import re
from pathlib import Path

HERE = Path(__file__).parent

#: Row numbers by subject: the main job, air, humid air, units, angles, facts of the trade, statistics, a real log.
ROWS = [
    "M1a", "M1b", "M1c", "M1d", "M1e", "M2", "M3", "M4", "M5", "M6", "M7", "M8", "M9", "A1", "A2", "A3", "A4", "A5",
    "A6", "A6b", "A7", "A8", "A9", "A10", "A11", "A12", "A13", "H1", "H2", "H2b", "H3", "H4", "H5", "H6", "H6b", "H7",
    "U1", "U2", "U3", "U4", "U5", "K1", "K2", "K3", "K3b", "K4", "K5", "F1", "F2", "F3", "F4", "F5", "F6", "F7", "S1",
    "S2", "S3", "S4", "S5", "S5b", "S5c", "S6", "S7", "S8", "S9", "S10", "S11", "S12", "S13", "S14", "D1", "D2", "D3",
]  # fmt: skip


def named_rows() -> dict[str, list[str]]:
    """Row number -> tests that name it."""
    found: dict[str, list[str]] = {}
    for path in sorted(HERE.glob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.FunctionDef) or not node.name.startswith("test_"):
                continue
            words = {part.upper() for part in node.name.split("_")} | set(
                re.findall(r"\b[A-Z]\d+[a-e]?\b", ast.get_docstring(node) or "")
            )
            for row in ROWS:
                if row in words or row.upper() in {part.upper() for part in node.name.split("_")}:
                    found.setdefault(row, []).append(f"{path.name}::{node.name}")
    return found


def test_every_row_has_a_test() -> None:
    found = named_rows()
    assert [row for row in ROWS if row not in found] == []


def test_every_test_says_which_row_it_is() -> None:
    """A test in this folder without a row number is a check that nobody can trace."""
    traced = {name for names in named_rows().values() for name in names}
    every = {
        f"{path.name}::{node.name}"
        for path in HERE.glob("test_*.py")
        if path.name != Path(__file__).name
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }
    assert every - traced == set()


def test_data_files_have_their_provenance_beside_them() -> None:
    page = (HERE / "data" / "PROVENANCE.md").read_text(encoding="utf-8")
    notices = {"PROVENANCE.md", "NOTICE.md"}
    files = [p.relative_to(HERE / "data").as_posix() for p in (HERE / "data").rglob("*") if p.is_file() and p.name not in notices]
    assert [name for name in files if f"`{name}`" not in page] == []
    assert (HERE / "data" / "cc-by-sa-4.0" / "NOTICE.md").is_file()
