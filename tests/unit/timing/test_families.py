"""Mechanical, locked and mapped curves: corners, hysteresis, days without a log, blanks."""

from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.unit.alignment.made import Sweep, day
from tests.unit.timing.made_days import MAPPED, SHEET, WEIGHTS, noisy, solve, springs, two_stage

from pullbook.arrays import Array
from pullbook.measure.broken_line import fit
from pullbook.stages.align import align_day
from pullbook.stages.delivered import delivered_advance
from pullbook.timing.families import corners_of


def test_corners_of_a_spring_curve_with_intervals() -> None:
    got = solve([Sweep("a", noisy(springs, i), sheet=SHEET, hz=50.0) for i in range(2)], engine=WEIGHTS)
    shape = got.shapes.to_dicts()[0]
    assert shape["family"] == "mechanical"
    assert shape["lo_start_rpm"] < 3000.0 < shape["hi_start_rpm"]
    assert shape["lo_all_in_rpm"] < 4500.0 < shape["hi_all_in_rpm"]
    assert shape["hi_all_in_rpm"] - shape["lo_all_in_rpm"] < 120.0
    assert shape["knee_rpm"] is None
    assert shape["lo_total_deg"] < 34.0 < shape["hi_total_deg"]
    assert shape["lo_initial_deg"] < 14.0 < shape["hi_initial_deg"]


def test_a_knee_is_found_where_there_is_one() -> None:
    got = solve([Sweep("a", noisy(two_stage, i), sheet=SHEET, hz=50.0) for i in range(2)], engine=WEIGHTS)
    shape = got.shapes.to_dicts()[0]
    assert shape["lo_knee_rpm"] < 3500.0 < shape["hi_knee_rpm"]
    assert shape["knee_deg"] == pytest.approx(26.0, abs=0.6)
    assert shape["all_in_rpm"] == pytest.approx(4900.0, abs=40.0)


def test_a_corner_rounded_off_is_no_knee() -> None:
    """Weights meet their stop softly: the corner is blunt over 150 rpm."""

    def blunt(n: Array) -> Array:
        return np.mean([springs(n + off) for off in np.linspace(-75.0, 75.0, 11)], axis=0)

    for k in range(4):
        shape = solve(
            [Sweep("a", noisy(blunt, 10 * k + i), sheet=SHEET, hz=50.0) for i in range(3)], engine=WEIGHTS
        ).shapes.to_dicts()[0]
        assert shape["knee_rpm"] is None
        assert shape["start_rpm"] == pytest.approx(3000.0, abs=40.0)
        assert shape["all_in_rpm"] == pytest.approx(4500.0, abs=40.0)


def test_a_tilt_that_the_delay_leaves_open_hides_no_stop() -> None:
    """A flat that leans by what nobody knows of the delay is still the stop, and its corner is where all is in."""
    rpm = np.arange(2000.0, 6001.0, 100.0)
    leaning = np.interp(rpm, [1000.0, 3000.0], [10.0, 30.0]) + 0.0002 * (rpm - 3000.0)
    corners = corners_of(rpm, leaning, np.full(len(rpm), 0.02), tilt_sd=0.15)
    assert corners is not None
    assert corners.knee_rpm is None
    assert corners.all_in_rpm is not None
    assert corners.all_in_rpm[0] == pytest.approx(3000.0, abs=10.0)
    assert corners.total_deg == pytest.approx(30.3, abs=0.05)


def test_corners_outside_the_span_are_blank_and_initial_comes_from_the_stop() -> None:
    got = solve([Sweep("a", noisy(springs, 1), sheet=SHEET, rpm=(3400.0, 6100.0))], engine=WEIGHTS)
    shape = got.shapes.to_dicts()[0]
    assert shape["start_rpm"] is None
    assert shape["initial_deg"] == pytest.approx(shape["total_deg"] - 20.0)
    assert shape["hi_initial_deg"] - shape["lo_initial_deg"] > shape["hi_total_deg"] - shape["lo_total_deg"]


@pytest.mark.parametrize(
    ("curve", "family"),
    [
        (lambda n: 34.0 + 0.0 * n, "locked"),
        (springs, "mechanical"),
        (lambda n: np.interp(n, [2500, 3500, 4500, 5500], [20.0, 30.0, 24.0, 33.0]), "mapped"),
    ],
)
def test_family_is_seen_where_nobody_says(curve: Any, family: str) -> None:
    assert solve([Sweep("a", noisy(curve, 1))]).shapes["family"].to_list() == [family]


def test_hysteresis_is_down_minus_up_from_the_coast_downs() -> None:
    t = np.arange(0.0, 6.0, 0.05)
    rpm = 6000.0 - 550.0 * t
    down = np.minimum(springs(rpm) + 1.2 * ((rpm > 3000) & (rpm < 4500)), 34.0)
    coast = pl.DataFrame({"pull_id": "p1", "file": "p1.csv", "segment": 2, "kind": "coast_down", "time_s": t, "rpm": rpm,
                          "torque_nm": -40.0 + 0.0 * t, "advance_deg": down})  # fmt: skip
    got = solve([Sweep("a", springs, sheet=SHEET)], engine=WEIGHTS, coast_downs=coast)
    assert got.shapes["hysteresis_deg"][0] == pytest.approx(1.2, abs=0.15)
    at = got.delivered.filter(rpm=3800).sort("direction")
    assert at["direction"].to_list() == ["down", "up"]
    assert at["advance_deg"][0] - at["advance_deg"][1] == pytest.approx(1.2, abs=0.15)
    with_can = coast.with_columns(advance_deg=pl.col("advance_deg") + 12.0)
    assert solve([Sweep("a", springs, sheet=SHEET)], engine=WEIGHTS, coast_downs=with_can).shapes["hysteresis_deg"][0] is None


def test_light_at_distributor_speed_and_degrees_is_asked_about() -> None:
    crank = (2800, 3400, 3900, 4600, 5200, 5800)
    strobe = [{"setting": "a", "rpm": n / 2.0, "advance_deg": float(springs(np.array(float(n)))) / 2.0} for n in crank]
    got = solve([Sweep("a", springs, sheet=SHEET)], engine=WEIGHTS, strobe=strobe)
    assert any("scale: distributor" in q for q in got.questions)
    assert got.delivered.filter(rpm=5500, direction="up")["advance_deg"][0] == pytest.approx(34.0, abs=0.2)
    declared = solve([Sweep("a", springs, sheet=SHEET)], engine=WEIGHTS, strobe=[r | {"scale": "distributor"} for r in strobe])
    assert not any("scale: distributor" in q for q in declared.questions)
    assert declared.evidence.filter(pl.col("source") == "light")["used"].all()


def test_broken_line_without_noise_is_met() -> None:
    x = np.arange(2000.0, 6001.0, 100.0)
    line = fit(x, two_stage(x), np.full(x.shape, 0.1), 3, flat_left=True, flat_right=True)
    assert line is not None
    assert line.breaks == pytest.approx([2800.0, 3500.0, 4900.0], abs=1e-3)
    assert line(np.array([2000.0, 3500.0, 6000.0])) == pytest.approx([14.0, 26.0, 34.0], abs=1e-4)


def test_an_empty_day_delivers_nothing() -> None:
    reading = day([Sweep("a")])
    empty = replace(reading, pulls=reading.pulls.clear(), samples=reading.samples.clear())
    got = delivered_advance(empty, align_day(empty))
    assert got.delivered.is_empty()
    assert got.pull_advance.is_empty()
    assert got.modes.shape[0] == 0


def test_mapped_curves_are_taken_as_logged() -> None:
    table = lambda n: np.interp(n, [2500, 3500, 4500, 5500], [20.0, 30.0, 24.0, 33.0])  # noqa: E731
    got = solve([Sweep("a", table)], engine=MAPPED)
    row = got.delivered.filter(rpm=3500).to_dicts()[0]
    assert row["direction"] == "both"
    assert row["advance_deg"] == pytest.approx(29.7, abs=0.6)


def test_a_flat_log_of_weights_that_are_all_in_below_it_is_mechanical_by_the_sheet() -> None:
    flat = [Sweep("a", noisy(lambda n: np.full_like(n, 34.0), i), sheet=SHEET, rpm=(3400.0, 6000.0)) for i in range(2)]
    shape = solve(flat).shapes.row(0, named=True)
    assert shape["family"] == "mechanical"
    assert shape["initial_deg"] == pytest.approx(14.0, abs=0.5)
    same = solve([replace(s, sheet={"initial_deg": 34.0, "total_deg": 34.0}) for s in flat]).shapes.row(0, named=True)
    assert same["family"] == "locked"
    assert same["initial_deg"] == pytest.approx(34.0, abs=0.5)
    bare = solve([replace(s, sheet={}) for s in flat]).shapes.row(0, named=True)
    assert bare["family"] == "locked"
    assert bare["initial_deg"] is None, "nobody saw it below 3400 rpm"
    assert bare["total_deg"] == pytest.approx(34.0, abs=0.5)


def test_weights_on_their_way_down_do_not_pass_their_stop() -> None:
    coast = pl.DataFrame(
        {"pull_id": "p1", "time_s": np.arange(80) / 10, "rpm": np.linspace(6000.0, 2400.0, 80), "advance_deg": 34.0}
    )
    down = solve([Sweep("a", noisy(springs, 1), sheet=SHEET)], engine=WEIGHTS, coast_downs=coast).delivered.filter(direction="down")
    assert down.height > 0
    assert down["advance_deg"].max() == pytest.approx(34.0, abs=0.3)


def test_two_pulls_of_one_label_that_ran_apart_are_asked_about() -> None:
    """The one that ran like another setting is the odd one; the curve of the label is the other's."""
    sweeps = [
        Sweep(s, noisy(lambda n, a=a: np.full_like(n, a), i)) for i, (s, a) in enumerate((("32", 36), ("36", 36), ("32", 32)))
    ]
    got = solve(sweeps)
    (asked,) = (q for q in got.questions if "both are called '32'" in q)
    assert "+4.0°" in asked
    assert "as '36' did" in asked
    curve = got.delivered.filter(setting="32")["advance_deg"].to_numpy()
    assert curve == pytest.approx(np.full(len(curve), 32.0), abs=0.3)
    own = got.pull_advance.filter(pull_id="p1")["advance_deg"].to_numpy()
    assert own == pytest.approx(np.full(len(own), 36.0), abs=0.3)


def test_one_row_off_the_curve_at_the_edge_of_a_pull_is_no_start_of_the_curve() -> None:
    """Total 30 at 2700 rpm, already on the way at 2300: that row alone lies half a degree high, as the edge of a pull may."""
    rpm = np.arange(2300.0, 5701.0, 100.0)
    advance = np.minimum(30.0 - 1.2e-2 * (2720.0 - rpm), 30.0) + 0.04 * np.sin(rpm)
    advance[0] += 0.5
    corners = corners_of(rpm, advance, np.full(len(rpm), 0.05))
    assert corners is not None
    assert (corners.start_rpm, corners.initial_deg) == (None, None)
    assert corners.total_deg == pytest.approx(30.0, abs=0.05)
