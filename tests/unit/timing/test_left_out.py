"""A pull that was left out is left out of every estimate, but what it ran stays known: its knock must cap."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.unit.alignment.made import Sweep, day, hump

from pullbook.facts import DayFacts
from pullbook.handover import BestDay, DeliveredDay
from pullbook.hill.prior import default
from pullbook.stages.align import align_day
from pullbook.stages.best import best_advance
from pullbook.stages.delivered import delivered_advance


def sweep(advance: float, level: float, **sheet: Any) -> Sweep:
    return Sweep(
        f"{advance:g}",
        lambda n: np.full_like(n, advance),
        lambda n: hump(n) * (1 - 2.5e-4 * (advance - 35) ** 2) * level,
        sheet=sheet,
    )


def solved(**last: Any) -> tuple[DeliveredDay, BestDay]:
    runs = [(30, 1.001), (34, 0.998), (37, 1.002), (30, 0.999)]
    reading = day([*(sweep(a, level) for a, level in runs), sweep(38, 1.0, **last)], facts=DayFacts(correction="none"))
    aligned = align_day(reading)
    delivered = delivered_advance(reading, aligned)
    return delivered, best_advance(reading, aligned, delivered, default(reading.facts))


def test_knock_on_a_pull_that_was_left_out_caps_like_any_other() -> None:
    delivered, best = solved(exclude="it knocked", knock="heard")
    curve = delivered.delivered.filter(setting="38")["advance_deg"].to_numpy()
    assert curve == pytest.approx(np.full(len(curve), 38.0), abs=0.1)
    assert best.ceiling["advance_deg"].to_numpy() == pytest.approx(np.full(best.ceiling.height, 36.0), abs=0.05)
    assert best.ceiling["because"][0].startswith("knock heard at 38.0°")
    assert "38" not in best.effects["setting"].to_list()


def test_what_was_left_out_moves_no_estimate() -> None:
    """The day's timing scale and best advance are those of the day without that pull."""
    delivered, best = solved(exclude="fuel ran low")
    runs = [(30, 1.001), (34, 0.998), (37, 1.002), (30, 0.999)]
    reading = day([sweep(a, level) for a, level in runs], facts=DayFacts(correction="none"))
    aligned = align_day(reading)
    without = delivered_advance(reading, aligned)
    assert delivered.timing_scale == without.timing_scale
    again = best_advance(reading, aligned, without, default(reading.facts))
    assert best.best["best_deg"].to_list() == again.best["best_deg"].to_list()
    assert best.ceiling["advance_deg"].to_list() == again.ceiling["advance_deg"].to_list()


def test_a_pull_that_ran_another_curve_than_its_label_knocks_at_its_own() -> None:
    """Labelled 37, logged 34 and heard: the cap is below 34, whatever the label's other pulls ran."""
    runs = [(30, 1.001), (37, 1.002), (37, 0.998), (30, 0.999), (37, 1.0)]
    slip = sweep(34, 1.0, knock="heard")
    slip = replace(slip, setting="37")
    reading = day([*(sweep(a, level) for a, level in runs), slip], facts=DayFacts(correction="none"))
    aligned = align_day(reading)
    delivered = delivered_advance(reading, aligned)
    best = best_advance(reading, aligned, delivered, default(reading.facts))
    assert best.ceiling["advance_deg"].to_numpy() == pytest.approx(np.full(best.ceiling.height, 30.0), abs=0.05)
    assert best.ceiling["because"][0].startswith("knock heard at 34.0°")
