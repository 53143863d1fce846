"""Rows of one label that say different things: a slip of the pen is asked about, not averaged."""

import polars as pl
from tests.unit.timing.made_days import CHECKED, LOCKED, logs, solve

from pullbook.facts import DayFacts
from pullbook.timing.sheet_entries import sheet_entry


def rows(totals: list[float | None]) -> pl.DataFrame:
    n = len(totals)
    return pl.DataFrame(
        {"pull_id": [f"p{i}" for i in range(n)], "order": list(range(1, n + 1)), "file": [f"{i}.csv" for i in range(n)],
         "initial_deg": [None] * n, "total_deg": totals},
        schema_overrides={"initial_deg": pl.Float64, "total_deg": pl.Float64},
    )  # fmt: skip


def test_the_label_says_which_row_is_wrong() -> None:
    entry, questions, warnings = sheet_entry(rows([38.0, 28.0]), "38 total", None)
    assert entry.total_deg == 38.0
    assert "38° for pull 1 (0.csv), 28° for pull 2 (1.csv)" in questions[0]
    assert "as the label says" in questions[0]
    assert warnings == []


def test_where_nothing_tells_it_is_asked_all_the_same() -> None:
    entry, questions, _ = sheet_entry(rows([38.0, 28.0]), "springs B", None)
    assert entry.total_deg == 33.0
    assert "nothing tells" in questions[0]


def test_the_log_tells_where_the_label_does_not() -> None:
    sweeps = logs({"hot": 28.0, "cold": 34.0})
    twice = [*sweeps, *logs({"hot": 28.0}, total_deg=38.0, initial_deg=38.0)]
    got = solve(twice, engine=LOCKED, facts=DayFacts(zero_mark=CHECKED))
    assert any("28° is taken, as the log has it" in q for q in got.questions)


def test_a_hand_on_the_distributor_is_a_warning_as_before() -> None:
    entry, questions, warnings = sheet_entry(rows([32.0, 33.0, 32.0]), "base", None)
    assert (entry.total_deg, questions) == (32.0, [])
    assert "the median is taken" in warnings[0]
