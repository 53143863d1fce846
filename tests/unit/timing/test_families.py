"""Mechanical, locked and mapped curves: corners, hysteresis, days without a log, blanks."""

from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.unit.alignment.made import Sweep, day
from tests.unit.timing.test_scale import LOCKED, MAPPED, solve

from pullbook.arrays import Array
from pullbook.facts import EngineFacts, Ignition
from pullbook.measure.broken_line import fit
from pullbook.stages.align import align_day
from pullbook.stages.delivered import delivered_advance
from pullbook.timing.families import corners_of

WEIGHTS = EngineFacts(ignition=Ignition(kind="mechanical"))
SHEET = {"initial_deg": 14.0, "total_deg": 34.0}


def springs(n: Array) -> Array:
    """14° to 3000 rpm, all 34° in at 4500."""
    return np.interp(n, [3000.0, 4500.0], [14.0, 34.0])


def two_stage(n: Array) -> Array:
    """14° to 2800, 26° at 3500, 34° at 4900."""
    return np.interp(n, [2800.0, 3500.0, 4900.0], [14.0, 26.0, 34.0])


def noisy(curve: Any, number: int) -> Any:
    """The same curve with a logger's scatter."""
    rng = np.random.default_rng(number)
    return lambda n: curve(n) + rng.normal(0.0, 0.1, n.shape)


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


def test_sheet_alone_is_wide_and_has_no_shape() -> None:
    got = solve([Sweep("a", sheet=SHEET), Sweep("b", sheet={"initial_deg": 10.0, "total_deg": 30.0})], engine=WEIGHTS)
    a = got.delivered.filter(setting="a")
    assert a["lo_deg"].max() < 14.0  # type: ignore[operator]
    assert a["hi_deg"].min() > 34.0  # type: ignore[operator]
    assert a["advance_deg"].n_unique() == 1
    assert a["evidence"].to_list()[0] == ["sheet"]
    # both turned the same parts: how far they stand apart is known far better than where they stand
    at = got.pull_advance.with_row_index("at").filter(rpm=4000)["at"].to_list()
    apart = got.modes[at[0]] - got.modes[at[1]]
    assert np.sqrt(apart @ apart) < 1.5
    assert np.sqrt(got.modes[at[0]] @ got.modes[at[0]]) > 6.0


def test_locked_by_the_sheet_alone() -> None:
    got = solve([Sweep("34", sheet={"initial_deg": 34.0, "total_deg": 34.0})])
    row = got.delivered.filter(rpm=4000).to_dicts()[0]
    assert got.shapes["family"][0] == "locked"
    assert row["advance_deg"] == pytest.approx(34.0)
    assert row["hi_deg"] - row["lo_deg"] < 4.0


@pytest.mark.parametrize("sheet", [{}, {"total_deg": 34.0}])
def test_blank_where_nothing_is_known(sheet: dict[str, float]) -> None:
    got = solve([Sweep("a", sheet=sheet)])
    assert got.delivered["advance_deg"].null_count() == len(got.delivered) > 0
    assert got.pull_advance["advance_deg"].null_count() == len(got.pull_advance) > 0
    assert got.modes.shape[0] == len(got.pull_advance)
    assert not got.modes.any()
    assert any("delivered advance of a" in m for m in got.not_established)


def test_light_without_a_log_settles_a_locked_setting() -> None:
    strobe = [
        {"setting": "34", "rpm": n, "advance_deg": a, "source": "light"}
        for n, a in ((3000.0, 33.5), (4000.0, 34.5), (5000.0, 34.0))
    ]
    got = solve([Sweep("34")], engine=LOCKED, strobe=strobe)
    row = got.delivered.filter(rpm=4000).to_dicts()[0]
    assert row["advance_deg"] == pytest.approx(34.0, abs=0.15)
    assert row["hi_deg"] - row["lo_deg"] == pytest.approx(2 * 1.645 * 0.61 / np.sqrt(3.0), rel=0.15)
    assert row["evidence"] == ["strobe"]


def test_light_without_a_log_follows_springs_and_the_stop() -> None:
    strobe = [{"setting": "a", "rpm": float(n), "advance_deg": float(np.round(springs(np.array(n)) * 2) / 2), "direction": "up"}
              for n in (1500, 2500, 3200, 3600, 4000, 4400, 5000, 5600)]  # fmt: skip
    got = solve([Sweep("a", sheet=SHEET)], engine=WEIGHTS, strobe=strobe)
    rows = got.delivered.filter(direction="up")
    truth = springs(rows["rpm"].to_numpy().astype(float))
    inside = (rows["lo_deg"].to_numpy() <= truth) & (truth <= rows["hi_deg"].to_numpy())
    assert inside.mean() > 0.85
    assert np.sqrt(np.mean((rows["advance_deg"].to_numpy() - truth) ** 2)) < 0.7


def test_bench_readings_on_the_distributors_own_zero_need_the_initial() -> None:
    curve = [(0.0, 400.0), (4.0, 700.0), (8.0, 1100.0), (11.0, 1500.0), (11.0, 2200.0), (11.0, 2700.0)]
    strobe = [{"setting": "a", "rpm": n, "advance_deg": a, "source": "bench", "scale": "distributor"} for a, n in curve]
    got = solve([Sweep("a", sheet={"initial_deg": 10.0, "total_deg": 32.0})], engine=WEIGHTS, strobe=strobe)
    at = got.delivered.filter(setting="a", rpm=5000)
    assert at["advance_deg"][0] == pytest.approx(32.0, abs=0.6)


def test_a_setting_in_the_dark_is_lit_by_its_fellows() -> None:
    strobe = [{"setting": "a", "rpm": float(n), "advance_deg": float(springs(np.array(n))), "direction": "up"}
              for n in (2500, 3200, 3600, 4000, 4400, 5000, 5600)]  # fmt: skip
    got = solve(
        [Sweep("a", sheet=SHEET), Sweep("b", sheet={"initial_deg": 10.0, "total_deg": 30.0})], engine=WEIGHTS, strobe=strobe
    )
    at = got.delivered.filter(setting="b", rpm=3800).to_dicts()[0]
    assert at["advance_deg"] == pytest.approx(float(springs(np.array(3800.0))) - 4.0, abs=1.2)
    assert at["lo_deg"] < at["advance_deg"] < at["hi_deg"]


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


def test_words_about_a_day_without_a_log_fit_what_there_is() -> None:
    """Whoever read the light everywhere is not asked to read it; a locked setting is not said to be as little as its initial."""
    sheet = {"initial_deg": 32.0, "total_deg": 32.0}
    alone = solve([Sweep("32", sheet=sheet)])
    assert "advance of 32 is known from the sheet alone" in alone.warnings
    assert any("can a light be read" in q for q in alone.questions)
    out = solve([Sweep("32", lambda n: np.full_like(n, 32.0), sheet={"exclude": "oil leak"})])
    assert not any("No log holds the advance" in q for q in out.questions)
    lit = solve([Sweep("32", sheet=sheet)], strobe=[{"setting": "32", "rpm": 3000.0, "advance_deg": 32.0, "source": "light"}])
    assert any(q == "No log holds the advance: is there a channel for it?" for q in lit.questions)


def test_light_alone_tells_the_way_down() -> None:
    """Read rising and falling, without a log: 2° more on the way down, none of it in the way up, nothing past the stop."""
    speeds = [1000.0, 2000.0, 2700.0, 3100.0, 3500.0, 3900.0, 4300.0, 4800.0, 5500.0]
    read = {"setting": "a", "source": "light"}
    up = [read | {"rpm": n, "advance_deg": float(springs(np.array(n))), "direction": "up"} for n in speeds]
    down = [
        read | {"rpm": n, "advance_deg": float(springs(np.array(n))) + 2.0, "direction": "down"} for n in (3300.0, 3600.0, 4000.0)
    ]
    got = solve([Sweep("a", sheet=SHEET)], engine=WEIGHTS, strobe=[*up, *down])
    assert got.shapes["hysteresis_deg"].item() == pytest.approx(1.7, abs=0.5), "a degree's readings, half a degree believed before"
    rising_row = got.delivered.filter(direction="up", rpm=3600)["advance_deg"].item()
    assert rising_row == pytest.approx(float(springs(np.array(3600.0))), abs=0.6)
    falling_rows = got.delivered.filter(direction="down")
    assert falling_rows.filter(rpm=3600)["advance_deg"].item() == pytest.approx(rising_row + 1.7, abs=0.5)
    assert falling_rows["advance_deg"].max() == got.delivered.filter(direction="up")["advance_deg"].max()


def test_an_end_left_blank_follows_from_the_stop_of_all_other_settings() -> None:
    totals = {"10+20": 30.0, "14+20": 34.0, "18+20": 38.0}

    def seen(**blank: dict[str, float]) -> tuple[float | None, list[str]]:
        sheets = {s: {"initial_deg": t - 20.0, "total_deg": t} for s, t in totals.items()} | blank
        got = solve([Sweep(s, sheet=sheets[s]) for s in totals], engine=WEIGHTS)
        said = [w for w in got.warnings if "one end is blank" in w]
        return got.shapes.filter(setting="18+20")["initial_deg"][0], said

    initial, said = seen(**{"18+20": {"total_deg": 38.0}})
    assert initial == 18.0
    assert said[0].startswith("18+20: one end is blank on the sheet; initial to total is taken as 20°")
    assert seen()[1] == []
    said = seen(**{"18+20": {"total_deg": 38.0}, "14+20": {"initial_deg": 13.5, "total_deg": 34.0}})[1]
    assert "is taken as 20.2°, as" in said[0], "no more digits than a light is read to"
    initial, said = seen(**{"18+20": {"total_deg": 38.0}, "14+20": {"initial_deg": 18.0, "total_deg": 34.0}})
    assert (initial, said) == (None, [])
