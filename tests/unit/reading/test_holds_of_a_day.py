"""Days of steady speeds: holds as pulls, spark sweeps as settings, runs up the speeds as rows of the sheet."""

import polars as pl
import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log
from tests.unit.reading.shop import Shop, column


def test_rows_of_a_log_of_holds_count_the_holds(shop: Shop) -> None:
    shop.log("sweep.csv", plan=[(2, 3000, 1), (8, 3000, 1), (1, 3500, 1), (8, 3500, 1), (5, 1000, 0)])
    shop.text("pulls.csv", "file,pull,setting\nsweep.csv,1,A\nsweep.csv,2,B\n")
    day = shop.read()
    assert column(day, "kind") == ["hold", "hold"]
    assert column(day, "setting") == ["A", "B"]


def test_spark_sweep_at_steady_speed_is_one_setting_a_step(shop: Shop) -> None:
    samples = drive([(2, 3000, 1), (40, 3000, 1), (5, 1000, 0)])
    advance = pl.when(pl.col("time_s") < 15).then(20.0).when(pl.col("time_s") < 28).then(26.0).otherwise(32.0)
    write_log(shop.folder / "sweep.csv", samples.with_columns(advance_deg=advance))
    shop.text("pulls.csv", "file,setting,initial_deg,total_deg\nsweep.csv,spark sweep,10,20\n")
    day = shop.read()
    assert column(day, "setting") == ["hold 20°", "hold 26°", "hold 32°"]
    assert column(day, "total_deg") == [None, None, None], "what the row says was set is not what the steps ran"
    assert not any("repeats" in q for q in day.questions), "their advance tells the steps apart"


def test_runs_of_holds_have_a_row_each(shop: Shop) -> None:
    """Two runs up three speeds: the sheet has a row a run, not a row a hold."""
    steps = [step for n in (2000, 2500, 3000) for step in ((1, n, 1), (8, n, 1))]
    shop.log("holds.csv", plan=[*steps, (3, 1900, 0), *steps, (3, 1900, 0)])
    shop.text("pulls.csv", "file,pull,setting\nholds.csv,1,A\nholds.csv,2,B\n")
    day = shop.read()
    assert column(day, "kind") == ["hold"] * 6
    assert column(day, "setting") == ["A", "A", "A", "B", "B", "B"]
    assert any("6 holds in 2 runs up the speeds; each of the sheet's rows is one run" in w for w in day.warnings)


def test_runs_of_holds_with_a_row_each_are_no_spark_sweep(shop: Shop) -> None:
    steps = [step for n in (2000, 2500, 3000) for step in ((1, n, 1), (8, n, 1))]
    samples = drive([*steps, (3, 1900, 0), *steps, (3, 1900, 0)])
    middle = float(samples["time_s"].to_numpy()[-1]) / 2.0
    write_log(
        shop.folder / "holds.csv", samples.with_columns(advance_deg=pl.when(pl.col("time_s") < middle).then(20.0).otherwise(26.0))
    )
    shop.text("pulls.csv", "file,pull,setting\nholds.csv,1,A\nholds.csv,2,B\n")
    assert column(shop.read(), "setting") == ["A", "A", "A", "B", "B", "B"]


def test_holds_alike_in_speed_and_advance_are_asked_about(shop: Shop) -> None:
    shop.log("holds.csv", plan=[(2, 3000, 1), (8, 3000, 1), (2, 1500, 0), (2, 3000, 1), (8, 3000, 1), (5, 1000, 0)])
    shop.text("pulls.csv", "file,setting\nholds.csv,A\n")
    day = shop.read()
    assert column(day, "kind") == ["hold", "hold"]
    assert sum("2 pulls" in q and "repeats" in q for q in day.questions) == 1


def test_half_throttle_holds_are_told_by_the_torque_of_the_days_sweeps(shop: Shop) -> None:
    shop.log("sweep.csv")
    full = drive([(2, 3000, 1), (6, 3000, 1), (1, 3500, 1), (6, 3500, 1), (5, 1000, 0)], number=2)
    half = pl.when(pl.col("time_s") < 8.5).then(0.55 * pl.col("torque_nm")).otherwise(pl.col("torque_nm"))
    write_log(shop.folder / "steps.csv", full.with_columns(torque_nm=half), 30.0)
    day = shop.read()
    holds = day.pulls.filter(pl.col("kind") == "hold")
    assert holds.height == 1
    speeds = day.samples.filter(pl.col("kind") == "hold")["rpm"]
    assert speeds.median() == pytest.approx(3500, abs=30)


def test_a_sweep_at_part_load_beside_one_at_full_load_is_no_pull(shop: Shop) -> None:
    shop.log("session.csv", plan=[(3, 1800, 0.1), (5, 5000, 0.75), (6, 1800, 0), (10, 5800, 1), (7, 1500, 0)])
    samples = pl.read_csv(shop.folder / "session.csv")
    part = pl.col("Time [s]").is_between(3.0, 8.0)
    samples.with_columns(pl.when(part).then(pl.col("Torque [Nm]") * 0.45).otherwise(pl.col("Torque [Nm]")).round(1)).write_csv(
        shop.folder / "session.csv"
    )
    day = shop.read()
    assert [s.kind for s in day.logs[0].segments if s.kind in ("pull", "aborted")] == ["pull"]
    assert any("no full load, not counted as a pull" in w for w in day.logs[0].warnings)


def test_rows_that_lack_in_a_pull_are_named(shop: Shop) -> None:
    samples = drive(SWEEP)
    write_log(shop.folder / "whole.csv", samples, advance=30.0)
    write_log(shop.folder / "lacks.csv", samples.filter(~pl.col("time_s").is_between(7.95, 8.75)), advance=30.0)
    lacks, whole = shop.read().logs
    assert any("1 gap while the engine pulls: no row for 0.9 s before line 82" in w for w in lacks.warnings)
    assert not whole.warnings
