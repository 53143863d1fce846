"""Numbers carry no more digits than they earn; outside text loses what cannot be shown."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pullbook.report.model import count_pulls, knock, left_out, logged_degrees, repeats_within
from pullbook.report.view import DayView
from pullbook.report.words import (
    between,
    clean,
    clean_all,
    degrees,
    number,
    percent,
    setting_degrees,
    short,
)
from pullbook.wording import inert


@pytest.mark.parametrize(
    ("said", "is_said"),
    [
        (degrees(31.46), "31°"),
        (degrees(31.46, 0.4), "31.5°"),
        (degrees(-4.0), "−4°"),
        (degrees(None), "not known"),
        (degrees(float("nan")), "not known"),
        (setting_degrees(14.04), "14°"),
        (setting_degrees(13.5), "13.5°"),
        (percent(1.26), "1.5 %"),
        (percent(1.24, 0.2), "1.2 %"),
        (percent(-0.2, 0.6), "0 %"),
        (percent(0.7, 0.6, signed=True), "+0.5 %"),
        (number(12345), "12\u202f345"),
        (number(-0.001, 1), "0.0"),
        (between(None, 3.0, "°"), "below 3°"),
        (between(2.0, None, "°"), "above 2°"),
        (between(None, None), "not known"),
    ],
)
def test_said(said: str, is_said: str) -> None:
    assert said == is_said


@given(st.text(max_size=80))
def test_clean_leaves_nothing_unprintable(text: str) -> None:
    shown = clean(text)
    assert shown.encode("utf-8").decode("utf-8") == shown
    assert not any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 or 0x202A <= ord(c) <= 0x202E for c in shown)
    assert clean(shown) == shown


@given(st.text(max_size=40), st.integers(4, 20))
def test_short_fits(text: str, longest: int) -> None:
    assert len(short(text, longest)) <= longest


@given(st.text(max_size=20))
def test_no_cell_starts_a_formula(text: str) -> None:
    assert not inert(text).startswith(("=", "+", "-", "@", "\t", "\r"))


def test_clean_all_goes_deep() -> None:
    assert clean_all({"a\x00": [1.5, math.inf, "b\u202ec", None, True]}) == {"a": [1.5, None, "bc", None, True]}


def test_pulls_of_one_fate_and_one_reason_are_one_line() -> None:
    def pull(order: int, status: str, reason: str) -> dict[str, object]:
        return {"order": order, "file": f"{order}.csv", "status": status, "reasons": [reason]}

    slipped = [pull(n, "part", "slip at 4300 to 5100 rpm") for n in (1, 2, 3, 4, 5)]
    pulls = [*slipped, pull(6, "left_out", "plug fouled")]
    assert left_out(DayView({"pulls": pulls}, {})) == [
        "Pulls 1, 2, 3, 4 and 5 used in part: slip at 4300 to 5100 rpm",
        "Pull 6 (6.csv) left out: plug fouled",
    ]
    assert left_out(DayView({"pulls": slipped[:2]}, {}))[0].startswith("Pulls 1 (1.csv) and 2 (2.csv) used in part")
    assert count_pulls(slipped) == "5 pulls used in part"
    assert count_pulls(pulls) == "5 pulls used in part and 1 left out"
    assert count_pulls([pull(1, "used", ""), *slipped[:2]]) == "1 pull used and 2 used in part"


def test_earlier_days_are_of_this_dyno_only_where_it_has_a_name() -> None:
    record = {"repeatability": {"pull_sd_pct": 0.5, "source": "archive"}, "conditions": {"dyno": "north cell"}}
    assert repeats_within(record).endswith("(from this day and earlier ones on this dyno)")
    assert repeats_within({**record, "conditions": {}}).endswith("(from this day and earlier ones of this engine, dyno not noted)")


def test_silence_says_how_many_listened() -> None:
    pulls = [{"pull_id": p} for p in "abc"]
    notes = [{"pull_id": p, "word": "not heard"} for p in "abc"]
    assert knock({"pulls": pulls, "knock": notes}) == "not heard, with somebody listening on all 3 pulls"
    assert knock({"pulls": pulls, "knock": notes[:2]}) == "not heard on the 2 pulls listened to, of 3 run"
    assert knock({"pulls": pulls[:1], "knock": notes[:1]}) == "not heard on the one pull run"
    assert knock({"pulls": pulls, "knock": []}) == "nobody was listening"


def test_a_log_that_nothing_settles_is_said_on_page_one() -> None:
    scale = {"log_minus_true_deg": 0.0, "lo_deg": -2.0, "hi_deg": 0.0}
    assert logged_degrees({"timing_scale": scale}) == (
        "the log may read up to 2° low: a light reading would settle it, and every degree here rests on it"
    )
    assert "3° low or 2° high" in str(logged_degrees({"timing_scale": scale | {"lo_deg": -3.0, "hi_deg": 2.0}}))
    assert logged_degrees({"timing_scale": scale | {"lo_deg": -0.4}}) is None
    assert logged_degrees({"timing_scale": {"lo_deg": None, "hi_deg": None}}) is None
    assert logged_degrees({}) is None
