"""What must not change the answer: the unit of torque, labels, the order of table rows; and what must be true of any day."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullbook.findings.effects import verdict
from pullbook.handover import AlignedDay, BestDay, DayReading, DeliveredDay
from pullbook.hill.prior import default
from pullbook.stages.align import align_day
from pullbook.stages.best import best_advance
from pullbook.stages.delivered import delivered_advance
from tests.simulator.day import simulate
from tests.simulator.designs import STUDY

Day = tuple[DayReading, AlignedDay, DeliveredDay]


@pytest.fixture(scope="module")
def day() -> Day:
    reading = simulate(STUDY["few_pulls"], 77).reading
    aligned = align_day(reading)
    return reading, aligned, delivered_advance(reading, aligned)


def solved(day: Day) -> BestDay:
    reading, aligned, delivered = day
    return best_advance(reading, aligned, delivered, default(reading.facts))


@pytest.fixture(scope="module")
def found(day: Day) -> BestDay:
    return solved(day)


@given(factor=st.floats(0.2, 5.0))
@settings(max_examples=4, deadline=None)
def test_a_constant_factor_on_torque_moves_nothing_but_torque(day: Day, found: BestDay, factor: float) -> None:
    reading, aligned, delivered = day
    rows = aligned.rows.with_columns(pl.col("torque_nm", "se_nm") * factor)
    other = solved((reading, replace(aligned, rows=rows), delivered))
    for column in ("best_deg", "lo_deg", "hi_deg", "least_deg"):
        a, b = (t[column].fill_null(0.0).to_numpy() for t in (found.best, other.best))
        assert np.abs(a - b).max() <= 0.02
    assert other.best["state"].to_list() == found.best["state"].to_list()
    ratio = (other.best["best_torque_nm"] / found.best["best_torque_nm"]).drop_nulls().to_numpy()
    assert ratio == pytest.approx(factor, rel=1e-3)


@given(seed=st.integers(0, 10**6))
@settings(max_examples=4, deadline=None)
def test_the_order_of_table_rows_does_not_matter(day: Day, found: BestDay, seed: int) -> None:
    reading, aligned, delivered = day
    shuffled = replace(
        aligned,
        rows=aligned.rows.sample(fraction=1.0, shuffle=True, seed=seed),
        pulls=aligned.pulls.sample(fraction=1.0, shuffle=True, seed=seed),
    )
    other = solved((reading, shuffled, delivered))
    assert other.best.equals(found.best)
    assert other.effects.sort("setting", "rpm_lo", "rpm_hi").equals(found.effects.sort("setting", "rpm_lo", "rpm_hi"))


def test_labels_are_only_labels(day: Day, found: BestDay) -> None:
    reading, aligned, delivered = day
    name = "run " + pl.col("setting")
    other = solved((
        reading, replace(aligned, pulls=aligned.pulls.with_columns(name.alias("setting"))),
        replace(delivered, delivered=delivered.delivered.with_columns(name.alias("setting"))),
    ))  # fmt: skip
    assert other.best.equals(found.best)
    assert other.effects["change_pct"].to_list() == found.effects["change_pct"].to_list()


def test_every_row_keeps_the_contract(found: BestDay) -> None:
    for row in found.best.iter_rows(named=True):
        inside = row["state"] == "inside"
        assert (row["best_deg"] is not None) == inside
        assert (row["lo_deg"] is not None) == (row["state"] in ("inside", "above_tested"))
        assert (row["hi_deg"] is not None) == (row["state"] in ("inside", "below_tested"))
        if inside:
            assert row["lo_deg"] <= row["best_deg"] <= row["hi_deg"]
            assert row["band_lo_deg"] < row["best_deg"] < row["band_hi_deg"]
        assert row["rpm"] % 100 == 0
    for row in found.effects.iter_rows(named=True):
        assert row["lo_pct"] <= row["change_pct"] <= row["hi_pct"]
        assert row["verdict"] == verdict(row["lo_pct"], row["hi_pct"], 0.5)
    assert found.own["pulls"] == 6


def test_a_day_of_pulls_costs_less_than_a_second_of_cpu(day: Day) -> None:
    import time

    began = time.process_time()
    solved(day)
    assert time.process_time() - began < 1.0
