"""Names, notes and labels that are markup, formulas or marks that steer a screen stay text on the page and beside it."""

import csv
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from pullbook.report.content import PAGE_ONE, PAGE_THREE, PAGE_TWO
from pullbook.report.day import render_day
from tests.report.fixture import invented_day
from tests.report.parsed_page import XHTML, parsed

HOSTILE = "=1+1<script>alert(1)</script>\"'&{{7*7}}</svg>$x^2$ url(#a) id=\"x\" \x00\x1b\u202e=cmd|' /C calc'!A0"

FIGURES = len((*PAGE_ONE, *PAGE_TWO, *PAGE_THREE))  # the invented day has something for each of them


def hostile(value: Any, text: str) -> Any:
    """The value with ``text`` before each of its texts, however deep, but for the words that steer the report."""
    if isinstance(value, dict):
        return {k: hostile(v, text) for k, v in value.items()}
    if isinstance(value, list):
        return [hostile(v, text) for v in value]
    return text + value if isinstance(value, str) and value not in KEPT else value


KEPT = {"used", "part", "left_out", "up", "down", "both", "inside", "flat", "above_tested", "gain", "loss", "same", "cannot_tell",
        "mechanical", "heard", "not listened", "day", "archive", "sheet"}  # fmt: skip


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A report whose every name, note and label is hostile."""
    day = invented_day()
    where = tmp_path_factory.mktemp("attacked")
    tables = {
        name: t.with_columns([(HOSTILE + t[c]).alias(c) for c in ("setting", "pull_id") if c in t.columns])
        for name, t in day.tables.items()
    }
    render_day(hostile(day.record, HOSTILE), tables, where)
    return where


def test_markup_in_every_text_stays_text(attacked: Path) -> None:
    raw = (attacked / "report.html").read_text("utf-8")
    page = parsed(raw)
    assert "<script" not in raw
    assert "\x00" not in raw
    assert "\u202e" not in raw
    assert "{{7*7}}" in raw
    assert not list(page.iter(XHTML + "script"))
    assert len(list(page.iter("{http://www.w3.org/2000/svg}svg"))) == 2 * FIGURES, "one for the desk, one for the phone"
    for f in (attacked / "figures").glob("*.svg"):
        ET.fromstring(f.read_text("utf-8"))


def test_numbers_beside_the_pictures_start_no_formula(attacked: Path) -> None:
    files = list((attacked / "figures").glob("*.csv"))
    assert len(files) == FIGURES
    seen = 0
    for f in files:
        for row in csv.reader(f.read_text("utf-8-sig").splitlines()):
            for cell in row:
                seen += cell.startswith("'=")
                if cell[:1] in ("=", "+", "-", "@"):
                    float(cell)  # a plain negative number and nothing else
    assert seen > 20
