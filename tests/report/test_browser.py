"""A real browser looks: no accessibility fault, nothing wider than a phone, words large enough and apart, no address asked for."""

import json
import subprocess
from pathlib import Path
from typing import Any

import pytest

from pullbook.report.compare import compare_days, render_compare
from pullbook.report.day import render_day
from pullbook.report.day_row import summary
from pullbook.report.engine import render_engine
from pullbook.report.index import render_index
from tests.report.fixture import invented_day

HERE = Path(__file__).parent
SHOTS = HERE / "shots"

pytestmark = pytest.mark.browser


def looked_at(page: Path, name: str, *typed: str) -> dict[str, Any]:
    """What a person would see of a page, at phone and desk, by day and by night; pictures of it lie in tests/report/shots."""
    done = subprocess.run(
        ["node", str(HERE / "browser" / "look.js"), str(page), str(SHOTS / name), *typed],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    is_valid(page)
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def is_valid(page: Path) -> None:
    """Nothing for a strict checker of HTML to say."""
    checker = HERE / "browser" / "node_modules" / "html-validate" / "bin" / "html-validate.mjs"
    done = subprocess.run(
        ["node", str(checker), "--preset", "standard", str(page)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        cwd=page.parent,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]


def nothing_wrong(told: dict[str, Any]) -> None:
    assert told["asked"] == []
    assert told["first_stop"] == "skip", "the first stop of the Tab key leads past the links"
    checked = 0
    for name, seen in told["views"].items():
        assert seen.get("violations", []) == [], name
        checked += seen.get("checked", 0)
        assert seen["page_width"] <= seen["window_width"], name
        assert seen["wide"] == [], name
        assert seen["outside"] == [], name
        assert seen["overlaps"] == [], name
        assert seen["h1"] == 1
        assert seen["smallest_text"] >= 12.0
        if seen["smallest_word"]:
            assert seen["smallest_word"]["px"] >= 8.0, (name, seen["smallest_word"])
    assert checked > 20, "the checker did look"


def test_report(tmp_path: Path) -> None:
    day = invented_day()
    render_day(day.record, day.tables, tmp_path)
    nothing_wrong(looked_at(tmp_path / "report.html", "day"))
    for view in ("phone", "desk"):
        for part in (1, 2, 3):
            assert (SHOTS / "day" / f"{view}-{part}.png").stat().st_size > 10_000
    assert (SHOTS / "day" / "print.pdf").stat().st_size > 10_000


def test_index(tmp_path: Path) -> None:
    one = summary(invented_day().record)
    days = [{**one, "day": f"20{y}-04-0{d}", "logs_here": d > 1} for y in (29, 30) for d in (1, 2, 3)]
    told = looked_at(render_index(tmp_path, days), "index", "2030 BARGE 04-02")
    nothing_wrong(told)
    assert told["found"] == ["2030-04-02, Blue pump barge V8"]
    assert told["said"] == "1 day"


def test_engine(tmp_path: Path) -> None:
    one = summary(invented_day().record)
    days = [{**one, "day": f"2031-0{m}-01", "total_deg": 30.0 + m} for m in range(1, 8)]
    nothing_wrong(looked_at(render_engine(tmp_path, "Blue pump barge V8", days), "engine"))


def test_compare(tmp_path: Path) -> None:
    day = invented_day()
    later = {**day.record, "day": "2031-09-01"}
    curves = day.tables["setting_curves"]
    found = compare_days(day.record, later, "base 32", "stop 24", curves_a=curves, curves_b=curves)
    render_compare(day.record, later, found, tmp_path)
    nothing_wrong(looked_at(tmp_path / "compare.html", "compare"))
