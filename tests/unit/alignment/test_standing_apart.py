"""Pulls run cold or in another gear: told from temperatures and speeds, whatever their torque."""

from typing import Any

import numpy as np
import polars as pl
from tests.unit.alignment.made import Sweep, day

from pullbook.handover import AlignedDay
from pullbook.stages.align import align_day


def aligned(*sweeps: Sweep) -> AlignedDay:
    """These sweeps as a day, aligned."""
    return align_day(day(list(sweeps)))


def geared(ratio: float) -> Sweep:
    """A sweep whose roller turns once for so many turns of the engine."""
    return Sweep("a", channels={"roller_rpm": lambda n: n / ratio})


def at(**temperature: Any) -> Sweep:
    """A sweep whose log holds these temperatures throughout."""
    return Sweep("a", channels={name: (lambda n, t=t: np.full_like(n, t)) for name, t in temperature.items()})


def test_a_pull_in_another_gear_is_left_out_and_asked_about() -> None:
    got = aligned(geared(3.1), geared(3.12), geared(2.73), geared(3.1))
    assert got.pulls["status"].to_list() == ["used", "used", "left_out", "used"]
    assert got.pulls["reasons"][2].to_list() == [
        "engine and roller turned at 2.73 to 1, the other pulls at 3.10: another gear or entry"
    ]
    assert any(
        q.startswith("pull 3 (p3.csv): engine and roller turned at 2.73 to 1, in the other pulls at 3.10") for q in got.questions
    )


def test_two_gears_of_a_size_and_small_slips_stay() -> None:
    for ratios in ((3.1, 3.1, 2.7, 2.7), (3.1, 3.15, 3.08, 3.1)):
        got = aligned(*(geared(r) for r in ratios))
        assert got.pulls["status"].unique().to_list() == ["used"]
        assert not any("turned at" in q for q in got.questions)


def test_cold_pulls_are_warned_of_once() -> None:
    got = aligned(
        at(coolant_c=55.0, oil_c=48.0),
        at(coolant_c=70.0, oil_c=71.0),
        at(coolant_c=84.0, oil_c=85.0),
        at(coolant_c=85.0, oil_c=86.0),
    )
    cold = [w for w in got.warnings if "cold engine" in w]
    assert len(cold) == 1
    assert cold[0].startswith("coolant at the start: pull 1 (p1.csv) at 55 °C, where warm pulls of the day began at about 84 °C")


def test_the_sheets_word_goes_before_the_logs_and_warm_days_are_not_warned_of() -> None:
    warm = [at(coolant_c=t) for t in (76.0, 82.0, 85.0, 88.0)]
    assert not any("cold engine" in w for w in aligned(*warm).warnings)
    noted = [Sweep("a", sheet={"oil_c": t}) for t in (52.0, 80.0, 84.0, 86.0)]
    assert any("oil at the start: pull 1 (p1.csv) at 52 °C" in w for w in aligned(*noted).warnings)


def test_a_log_without_a_value_is_no_cold_engine() -> None:
    blank = Sweep("a", channels={"coolant_c": lambda n: np.full_like(n, np.nan)})
    got = aligned(blank, at(coolant_c=85.0), at(coolant_c=85.0))
    assert isinstance(got.pulls, pl.DataFrame)
    assert not any("cold engine" in w for w in got.warnings)
