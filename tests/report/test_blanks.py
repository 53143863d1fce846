"""Any number may be missing: the page still stands, and says so in words."""

import copy
import re
from collections.abc import Iterator
from typing import Any

import polars as pl
import pytest

from pullbook.report.content import content
from pullbook.report.day import day_page
from pullbook.report.day_row import summary
from pullbook.report.drawing import svg
from pullbook.report.view import view
from tests.report.fixture import InventedDay, invented_day

KEYS = {"rpm", "order", "pull_id", "setting"}  # what a row is a row of; never missing


@pytest.fixture(scope="module")
def day() -> InventedDay:
    return invented_day()


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield (*path, key)
            yield from places(inner, (*path, key))
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from places(inner, (*path, i))


def without(record: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    """The record with every value at this place (whatever the row) taken out."""
    blank = copy.deepcopy(record)
    for path in list(places(blank)):
        if tuple(p for p in path if isinstance(p, str)) == names:
            target = blank
            for step in path[:-1]:
                target = target[step]
            target[path[-1]] = None
    return blank


def words(record: dict[str, Any], tables: dict[str, pl.DataFrame], *, painted: bool) -> str:
    said = content(view(record, tables))
    drawn = {name: svg(p, said.span, narrow=True) if painted else "" for name, p in said.pictures.items()}
    page = day_page(said, {name: (d, d) for name, d in drawn.items()}, [])
    return re.sub(r"<style>.*?</style>|<[^>]*>", " ", page, flags=re.S)


def is_clean(text: str) -> None:
    found = re.search(r"\b(None|nan|NaN|inf|null)\b", text)
    assert found is None, text[found.start() - 60 : found.end() + 20]


def test_any_one_thing_may_be_missing(day: InventedDay) -> None:
    names = {tuple(p for p in path if isinstance(p, str)) for path in places(day.record)}
    names = {n for n in names if n[-1] not in KEYS} - {("engine",), ("day",)}
    assert len(names) > 120
    for name in sorted(names):
        blank = without(day.record, name)
        is_clean(words(blank, day.tables, painted=False))
        assert summary(blank)["sentence"]


BLANKS = [
    "best", "best.best_deg", "best.lo_deg", "best.band_hi_deg", "delivered", "delivered.advance_deg", "delivered.lo_deg",
    "effects.change_pct", "effects.lo_pct", "advice.mechanical", "advice.mechanical.initial_deg", "advice.mechanical.strip.lo_pct",
    "advice.ceiling", "pulls.rpm_min", "timing_scale.delay_us",
]  # fmt: skip


@pytest.mark.parametrize("name", BLANKS)
def test_drawings_without(day: InventedDay, name: str) -> None:
    is_clean(words(without(day.record, tuple(name.split("."))), day.tables, painted=True))


@pytest.mark.parametrize("table", ["pulls", "setting_curves", "offsets", "residuals", "evidence", "surface"])
def test_tables_gone_empty_or_blank(day: InventedDay, table: str) -> None:
    rest = {n: t for n, t in day.tables.items() if n != table}
    is_clean(words(day.record, rest, painted=False))
    is_clean(words(day.record, rest | {table: day.tables[table].clear()}, painted=False))
    whole = day.tables[table]
    numbers = [pl.lit(None).cast(kind).alias(c) for c, kind in whole.schema.items() if c not in KEYS and kind.is_float()]
    is_clean(words(day.record, rest | {table: whole.with_columns(numbers)}, painted=True))
