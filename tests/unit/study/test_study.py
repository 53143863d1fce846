"""The study's own machinery: it resumes, passes over torn lines, counts what it says it counts."""

import json
from pathlib import Path

import numpy as np
import pytest
from tests.simulator.day import simulate
from tests.simulator.designs import STUDY
from tests.study.__main__ import MARKS, _todo, main
from tests.study.plain import highest_bin, parabola
from tests.study.regression import best_deg, regression_day, torque_nm
from tests.study.score import run_day
from tests.study.table import markdown, pick
from tests.unit.hill.made_table import table


def test_a_day_is_one_line_of_plain_numbers(tmp_path: Path) -> None:
    scored = run_day(simulate(STUDY["few_pulls"], 3))
    line = json.dumps({"number": 3} | scored, default=lambda v: v.item())
    (tmp_path / "few_pulls.jsonl").write_text(line + "\n" + line[: len(line) // 2], encoding="utf-8")
    inside = scored["best"]
    assert len(inside["error"]) == len(inside["covered"]) == len(inside["away"]) == inside["states"].get("inside", 0)
    assert sum(inside["states"].values()) == inside["rows"]
    assert min(inside["away"]) >= -1e-6
    assert set(scored["plain"]) == {"highest_bin", "parabola", "gaussian_process"}
    page = markdown(tmp_path)
    assert "1 days of 1 designs; 0 broke." in page
    assert "few_pulls" in page


def test_what_is_done_is_not_done_again(tmp_path: Path) -> None:
    (tmp_path / "wide.jsonl").write_text('{"number": 5}\n{"number": 6', encoding="utf-8")
    assert list(_todo(tmp_path, ["wide"], 5, 3)) == [("wide", 6), ("wide", 7)]


def test_results_go_between_the_marks(tmp_path: Path) -> None:
    page = tmp_path / "study.md"
    page.write_text(f"before\n{MARKS[0]}\nold\n{MARKS[1]}\nafter\n", encoding="utf-8")
    assert main(["--table", "--out", str(tmp_path), "--write", str(page)]) == 0
    text = page.read_text(encoding="utf-8")
    assert text.startswith("before\n")
    assert text.endswith("\nafter\n")
    assert "old" not in text


def test_values_are_picked_along_a_path() -> None:
    assert pick([{"a": {"b": [1, 2]}}, {"a": {}}, {}], "a", "b").tolist() == [1.0, 2.0]


def test_plain_methods_find_a_plain_best() -> None:
    day = table([25.0, 29.0, 33.0, 37.0, 41.0, 33.0], sd=0.0)
    assert highest_bin(day, "33").best == pytest.approx(np.full(12, 33.0), abs=0.01)
    found = parabola(day)
    assert found.best == pytest.approx(np.full(12, 33.0), abs=1.0)
    held = (found.lo <= 33.0) & (found.hi >= 33.0)
    assert held.mean() > 0.5


def test_the_regression_day_stands_on_the_published_formula() -> None:
    day = regression_day(0, noise=0.0)
    assert np.exp(day.ln_torque) == pytest.approx(torque_nm(day.rpm, day.advance), rel=2e-3)
    assert best_deg(3000.0) == pytest.approx(30.320080, abs=1e-6)
