"""What must not change the footing of a day: clocks, units of torque, order of the tables, other pulls."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pullbook.air import factor
from pullbook.facts import Air, DayFacts
from pullbook.measure.local import centred_means
from pullbook.stages.align import align_day
from tests.unit.alignment.made import Sweep, day, hump

AIR = DayFacts(air=Air(pressure_kpa=98.0, temperature_c=22.0, humidity_pct=45.0))
FEW = settings(max_examples=20, deadline=None)


@FEW
@given(shift=st.floats(-1e5, 1e5), scale=st.floats(0.2, 5.0))
def test_clock_offset_and_torque_unit(shift: float, scale: float) -> None:
    """A log's clock may start anywhere, and torque in another unit is the same torque."""
    reading = day([Sweep("34"), Sweep("30", torque=lambda n: 0.97 * hump(n))], facts=AIR)
    moved = reading.samples.with_columns(pl.col("time_s") + shift, pl.col("torque_nm") * scale)
    a, b = align_day(reading), align_day(replace(reading, samples=moved))
    assert b.rows["torque_nm"].to_numpy() == pytest.approx(scale * a.rows["torque_nm"].to_numpy(), rel=1e-6)
    assert b.pulls["rpm_per_s"].to_numpy() == pytest.approx(a.pulls["rpm_per_s"].to_numpy(), rel=1e-5)


@FEW
@given(number=st.integers(0, 10_000))
def test_order_of_tables_does_not_matter(number: int) -> None:
    """Pulls may stand in the tables in any order; each pull's own rows stay in time."""
    reading = day([Sweep("34"), Sweep("30"), Sweep("32")], facts=AIR)
    order = np.random.default_rng(number).permutation(3)
    pulls = reading.pulls[order.tolist()]
    samples = pl.concat([reading.samples.filter(pull_id=p) for p in pulls["pull_id"]])
    assert align_day(replace(reading, pulls=pulls, samples=samples)).rows.equals(align_day(reading).rows)


@FEW
@given(drop=st.integers(0, 2))
def test_a_pull_stands_by_itself(drop: int) -> None:
    """Taking another pull away moves no row of those that stay."""
    sweeps = [Sweep("34"), Sweep("30"), Sweep("32", torque=lambda n: 1.01 * hump(n))]
    whole, fewer = day(sweeps, facts=AIR), [f"p{i + 1}" for i in range(3) if i != drop]
    part = replace(whole, pulls=whole.pulls.filter(pl.col("pull_id").is_in(fewer)))
    assert align_day(part).rows.equals(align_day(whole).rows.filter(pl.col("pull_id").is_in(fewer)))


@FEW
@given(slope=st.floats(-0.1, 0.1), level=st.floats(10.0, 900.0), number=st.integers(0, 10_000))
def test_centred_means_of_a_line_are_the_line(slope: float, level: float, number: int) -> None:
    """Wherever the samples fall inside a cell, a straight line comes back at the cell's centre."""
    x = np.random.default_rng(number).uniform(2000.0, 5000.0, 300)
    cell, mean, off, n = centred_means(x, level + slope * x, 100.0)
    assert mean == pytest.approx(level + slope * 100.0 * cell, abs=1e-6)
    assert np.abs(off).max() <= 50.0 + 1e-9
    assert n.sum() == 300


@FEW
@given(
    standard=st.sampled_from(["SAE J1349", "SAE J607", "ISO 1585", "DIN 70020"]),
    pressure=st.floats(80.0, 104.0),
    temperature=st.floats(-10.0, 45.0),
    vapour=st.floats(0.0, 3.0),
)
def test_thinner_air_needs_a_larger_factor(standard: str, pressure: float, temperature: float, vapour: float) -> None:
    """Lower pressure, warmer air and more vapour (but for DIN 70020) never lower a factor."""
    base = factor(standard, pressure, temperature, vapour)
    assert factor(standard, pressure - 1.0, temperature, vapour) > base
    assert factor(standard, pressure, temperature + 1.0, vapour) > base
    assert factor(standard, pressure, temperature, vapour + 0.1) >= base
