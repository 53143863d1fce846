"""The ceiling to the contract's letter: notes cap, never lift; one tick matters; silence proves nothing."""

import numpy as np
import polars as pl
import pytest

from pullbook.columns import KNOCK, conform
from pullbook.findings.knock import Ceiling, _since_last_reading, ceiling, ticks

RUN = {3000: {"30": 30.0, "34": 34.0, "38": 38.0}, 3100: {"30": 30.0, "34": 34.0, "38": 38.0}}
ADVANCES = {s: {n: a for n, run in RUN.items() for t, a in run.items() if t == s} for s in ("30", "34", "38")}


def roof(notes: list[tuple[str, str, float | None, float | None]], *, limit: float | None = None, margin: float = 2.0) -> Ceiling:
    rows = [{"pull_id": "p", "setting": s, "rpm_lo": lo, "rpm_hi": hi, "word": w, "source": "sheet"} for s, w, lo, hi in notes]
    table = conform(pl.DataFrame(rows), KNOCK) if rows else pl.DataFrame(schema=KNOCK)
    return ceiling(table, ADVANCES, RUN, margin_deg=margin, limit_deg=limit, limit_note=None)


def test_without_a_note_the_most_advanced_setting_run() -> None:
    found = roof([("38", "not listened", None, None), ("34", "not heard", None, None)])
    assert found.table["advance_deg"].to_list() == [38.0, 38.0]
    assert found.caps == {}


@pytest.mark.parametrize("word", ["heard", "faint", "counted"])
def test_a_note_caps_its_own_rows(word: str) -> None:
    found = roof([("38", word, 3060.0, 3200.0)])
    assert found.table["advance_deg"].to_list() == [38.0, 34.0]  # min(38 − 2, 34) at 3100 alone
    assert found.caps == {3100: 34.0}


def test_the_margin_counts_where_it_is_the_lesser() -> None:
    assert roof([("34", "heard", None, None)], margin=5.0).table["advance_deg"].to_list() == [29.0, 29.0]


def test_silence_above_a_note_lifts_nothing() -> None:
    found = roof([("34", "faint", None, None), ("38", "not heard", None, None), ("38", "not listened", None, None)])
    assert found.table["advance_deg"].to_list() == [30.0, 30.0]


def test_nothing_run_below_the_note_leaves_the_margin() -> None:
    assert roof([("30", "heard", None, None)]).table["advance_deg"].to_list() == [28.0, 28.0]


def test_the_known_limit_always_binds() -> None:
    assert roof([], limit=35.0).table["advance_deg"].to_list() == [35.0, 35.0]
    assert roof([("38", "heard", None, None)], limit=33.0).table["advance_deg"].to_list() == [33.0, 33.0]
    assert roof([("38", "heard", None, None)], limit=36.0).table["advance_deg"].to_list() == [34.0, 34.0]


def test_a_single_tick_of_a_counter_is_a_tick() -> None:
    counter = np.concatenate([np.full(50, 12.0), np.full(30, 13.0)])
    found, why = ticks(counter)
    assert why is None
    assert found is not None
    assert np.flatnonzero(found).tolist() == [50]


def test_a_count_that_stood_high_before_the_pull_is_no_tick() -> None:
    found, _ = ticks(np.full(40, 7.0))
    assert found is not None
    assert not found.any()


def test_events_sample_by_sample_and_blanks_of_a_slow_channel() -> None:
    events = np.array([0, 0, 1, 0, 0, 2, 0, 0, 1, 0.0])
    found, _ = ticks(events)
    assert found is not None
    assert np.flatnonzero(found).tolist() == [2, 5, 8]
    slow = np.array([3.0, np.nan, np.nan, 4.0, np.nan])
    found, _ = ticks(slow)
    assert found is not None
    assert np.flatnonzero(found).tolist() == [3]


def test_a_level_is_not_judged_but_asked_about() -> None:
    found, why = ticks(np.array([0.31, 0.35, 0.9, 0.4]))
    assert found is None
    assert why is not None
    assert "no threshold" in why


def test_a_tick_may_have_happened_anywhere_since_the_channel_s_last_reading() -> None:
    slow = np.array([3.0, np.nan, np.nan, 4.0, np.nan, 4.0])
    found, _ = ticks(slow)
    assert found is not None
    assert np.flatnonzero(_since_last_reading(slow, found)).tolist() == [0, 1, 2, 3]
