"""Pulls that are none of the day's: another unit, another engine; and sound ones that are not to be taken for a misfire."""

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.hill.made_table import table

from pullbook.hill.abnormal import find_abnormal
from pullbook.hill.day_table import DayTable
from pullbook.hill.odd_pulls import find_odd, likely_reason, pull_levels
from pullbook.hill.prior import Prior

DAY = [30.0, 22.0, 36.0, 26.0, 30.0, 22.0, 36.0, 26.0, 30.0]
PRIOR = Prior(0.006, 0.69, 3e-4, 0.37)


def raised(day: DayTable, pulls: list[int], by: float) -> DayTable:
    ln_torque = day.ln_torque.copy()
    ln_torque[pulls] += by
    return replace(day, ln_torque=ln_torque)


def test_two_pulls_in_another_unit_are_found_and_named() -> None:
    day = raised(table(DAY), [2, 3], np.log(1.3558))
    assert list(find_odd(day)) == [2, 3]
    found = find_abnormal(day, PRIOR)
    assert list(found.odd) == ["p2", "p3"]
    assert found.mask[[2, 3]].all()
    assert found.mask.sum() == 2 * len(day.rpm)
    assert "lb·ft" in found.table["why"][0]
    assert "unit of torque (" not in likely_reason(np.log(0.5))


def test_another_engine_is_judged_on_the_rows_that_most_pulls_share() -> None:
    """Three pulls of a weaker engine that revs higher: where they run alone they must not make the day's curve."""
    day = raised(table([*DAY, 30.0, 32.0, 34.0], rows=30), [9, 10, 11], np.log(0.5))
    present = day.present.copy()
    present[:9, 16:] = False
    present[9:, :8] = False
    day = replace(day, present=present)
    assert pull_levels(day)[9:] == pytest.approx(np.log(0.5), abs=0.03)
    assert list(find_odd(day)) == [9, 10, 11]


def test_timing_alone_never_makes_a_pull_odd_and_half_a_day_has_no_majority() -> None:
    assert find_odd(table([33.0, 33.0, 33.0, 15.0, 33.0], k=4e-4)) == {}
    assert find_odd(raised(table(DAY[:8]), [0, 1, 2, 3], 0.4)) == {}
    assert find_odd(table(DAY[:3])) == {}


def test_a_return_after_honest_drift_is_not_taken_for_a_misfire() -> None:
    """Eight pulls at 0.2 % each lie between the first pull and its return: 1.6 % that the model knows as drift."""
    day = table([26.0, 28.0, 30.0, 32.0, 34.0, 36.0, 38.0, 24.0, 26.0], sd=0.002, drift=-0.002)
    assert not find_abnormal(day, PRIOR).mask.any()
    fallen = raised(day, [8], -0.04)
    assert find_abnormal(fallen, PRIOR).mask[8].all()
