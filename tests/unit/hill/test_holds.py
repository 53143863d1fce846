"""Holds of one run share what shifts a pull as a whole."""

import numpy as np
from tests.unit.alignment.made import Sweep, day

from pullbook.hill.day_table import day_table
from pullbook.stages.align import align_day
from pullbook.stages.delivered import delivered_advance


def held(setting: str, speed: float, file: str) -> Sweep:
    return Sweep(
        setting,
        rpm=(speed - 5.0, speed + 5.0),
        rate=2.0,
        kind="hold",
        advance=lambda n: float(setting) + 0.0 * n,
        sheet={"file": file},
    )


def test_holds_of_one_log_at_different_speeds_are_one_pull() -> None:
    runs = [("24", "a.csv"), ("30", "b.csv"), ("24", "c.csv")]
    reading = day([held(s, speed, file) for s, file in runs for speed in (3000.0, 4000.0, 5000.0)])
    aligned = align_day(reading)
    table = day_table(aligned, delivered_advance(reading, aligned))
    assert len(aligned.pulls) == 9
    assert table.setting == ("24", "30", "24")
    assert table.order.tolist() == [1.0, 2.0, 3.0], "drift goes with the runs: nine holds are no nine pulls of wear and heat"
    assert table.present.sum(axis=1).tolist() == [3, 3, 3]
    assert np.isfinite(table.advance[table.present]).all()


def test_a_speed_held_again_is_another_run() -> None:
    reading = day([held("24", speed, "a.csv") for speed in (3000.0, 4000.0, 3000.0, 4000.0)])
    aligned = align_day(reading)
    assert len(day_table(aligned, delivered_advance(reading, aligned)).pull_id) == 2
