"""Folders as shops keep them: complete, readable, the same each time, and the committed samples belong to the generator."""

import ast
import csv
from pathlib import Path

import pytest
import yaml
from tests.simulator.day import simulate
from tests.simulator.designs import STUDY
from tests.simulator.dialects import DIALECTS
from tests.simulator.make_samples import make, readme

HOME = Path(__file__).parents[3]


def _bytes(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.mark.parametrize("dialect", sorted(set(DIALECTS) - {"recorder"}))
def test_a_written_day_is_complete(tmp_path: Path, dialect: str) -> None:
    day = simulate(STUDY["noisy_roller" if dialect == "semicolon" else "wide"], 1)
    folder = day.write(tmp_path / "engine" / day.day, dialect)
    names = {p.name for p in folder.iterdir()}
    assert {"pulls.csv", "strobe.csv", "day.yaml"} <= names
    form = DIALECTS[dialect]
    with (folder / "pulls.csv").open(encoding="utf-8-sig", newline="") as sheet:
        rows = list(csv.DictReader(sheet, delimiter=form.sheet_delimiter))
    assert len(rows) == len(day.traces)
    assert {r["file"] for r in rows} <= names
    assert yaml.safe_load((tmp_path / "engine" / "engine.yaml").read_text(encoding="utf-8"))["cylinders"] > 0
    log = (folder / rows[0]["file"]).read_bytes().decode(form.encoding)
    assert log.count(form.newline) >= day.traces[0].rpm.size + 1
    again = day.write(tmp_path / "again" / day.day, dialect)
    assert _bytes(folder) == _bytes(again)


def test_samples_are_the_generators(tmp_path: Path) -> None:
    """Same files, all named in the README, under 6 MB; the same bytes where no library draws or rounds for us."""
    listing = make(tmp_path)
    made, kept = _bytes(tmp_path), _bytes(HOME / "sample_logs")
    assert set(made) | {"README.md"} == set(kept)
    assert set(made) == set(listing.lines)
    assert kept["README.md"].decode() == readme(listing)
    assert sum(map(len, kept.values())) < 6_000_000
    for name, content in made.items():
        assert content.count(b"\n") == kept[name].count(b"\n") or name.endswith(".png")


def test_nothing_in_the_package_knows_the_simulator() -> None:
    for source in sorted((HOME / "pipeline").rglob("*.py")):
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
            names = (
                [a.name for a in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
            assert not any(n == "tests" or n.startswith("tests.") for n in names), source
