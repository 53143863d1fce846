"""A day written as a shop's folder reads back as the reading built in memory: studies stand for real folders."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from tests.simulator.day import simulate
from tests.simulator.designs import STUDY

from pullbook.book import Book
from pullbook.reading.day import read_day


@pytest.mark.parametrize(
    ("design", "dialect", "torque_step"),
    [("wide", "comma", 0.05), ("springs", "tab_units", 0.01), ("noisy_roller", "semicolon", 0.05)],
)
def test_folder_reads_as_the_memory_built_day(tmp_path: Path, design: str, dialect: str, torque_step: float) -> None:
    day = simulate(STUDY[design], 2)
    day.write(tmp_path / "logs" / day.engine_name / day.day, dialect)
    read, built = read_day(Book.at(tmp_path), day.engine_name, day.day), day.reading
    assert not read.errors
    same = ["order", "setting", "initial_deg", "total_deg", "baseline", "time", "pressure_kpa", "temperature_c", "knock", "usable"]
    assert read.pulls.select(same).equals(built.pulls.select(same))
    np.testing.assert_allclose(read.pulls["vapour_pressure_kpa"], built.pulls["vapour_pressure_kpa"], rtol=5e-3)
    for ours, theirs in zip(built.pulls["pull_id"], read.pulls["pull_id"], strict=True):
        a = built.samples.filter(pl.col("pull_id") == ours)
        b = read.samples.filter(pl.col("pull_id") == theirs)
        joined = a.join(b, on=pl.col("time_s").round(3), suffix="_read")  # where a pull begins and ends is the reader's to find
        assert joined.height > 0.93 * a.height
        assert float((joined["torque_nm"] - joined["torque_nm_read"]).abs().max() or 0.0) <= torque_step + 1e-9  # type: ignore[arg-type]
        if day.design.log_has_advance:
            np.testing.assert_allclose(joined["advance_deg"], joined["advance_deg_read"], atol=1e-9)
    light = ["setting", "rpm", "advance_deg", "direction"]
    assert read.strobe.select(light).equals(built.strobe.select(light))
    assert read.facts.zero_mark == built.facts.zero_mark
    assert read.engine_facts.ignition == built.engine_facts.ignition
