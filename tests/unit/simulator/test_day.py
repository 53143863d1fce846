"""A day is what its design says, the same each time, and the shop sees the truth only through its instruments."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from tests.simulator.day import Bench, simulate, simulate_season
from tests.simulator.design import Design
from tests.simulator.designs import STRESS, STUDY, WIDE
from tests.simulator.dyno import run_pull, wander
from tests.simulator.ignition import Curve

from pullbook.columns import FOUND_PULLS, SAMPLES, STROBE

QUIET = replace(WIDE, name="quiet", pull_sd_pct=(0.0, 0.0), drift_pct=(0.0, 0.0), wander_pct=(0.0, 0.0), noise_pct=(0.0, 0.0))


def test_same_number_same_day() -> None:
    a, b, c = simulate(WIDE, 5).reading, simulate(WIDE, 5).reading, simulate(WIDE, 6).reading
    assert a.samples.equals(b.samples)
    assert a.pulls.equals(b.pulls)
    assert a.strobe.equals(b.strobe)
    assert not a.samples.equals(c.samples)


def test_pull_by_pull_is_the_same_as_the_whole_day() -> None:
    bench = Bench(WIDE, 5)
    labels = list(bench.nominal)
    for i in WIDE.order:
        bench.pull(labels[i])
    assert bench.day().reading.samples.equals(simulate(WIDE, 5).reading.samples)


def test_a_policy_may_ask_for_another_setting() -> None:
    bench = Bench(WIDE, 5)
    base = bench.nominal[bench.baseline].curve
    bench.pull(bench.baseline)
    bench.pull(bench.turned_to(base.total_deg + 3))
    day = bench.day()
    assert day.reading.pulls["total_deg"].to_list() == [base.total_deg, base.total_deg + 3]
    assert day.reading.pulls["initial_deg"].to_list() == [base.initial_deg, base.initial_deg + 3]
    assert day.reading.pulls["baseline"].to_list() == [True, False]
    assert set(day.truth.curves) == set(day.reading.pulls["setting"])


@pytest.mark.parametrize("name", [*STUDY, *STRESS])
def test_design_keeps_its_promises(name: str) -> None:
    design = (STUDY | STRESS)[name]
    day = simulate(design, 1)
    reading, truth = day.reading, day.truth
    assert 6 <= reading.pulls.height <= 14
    assert list(reading.pulls.columns)[: len(FOUND_PULLS)] == list(FOUND_PULLS)
    assert list(reading.samples.columns)[: len(SAMPLES)] == list(SAMPLES)
    assert reading.strobe.schema == pl.Schema(STROBE)
    assert reading.pulls["baseline"].sum() >= 1
    assert set(reading.samples["kind"].unique()) <= {"pull", "aborted"}
    assert 1.5e-4 < truth.curvature() < 4.2e-4
    assert truth.effect_pct(truth.baseline) == 0.0
    best = truth.best(truth.rows)
    assert np.all((best > 10) & (best < 56))
    assert np.all(np.isfinite(reading.samples["torque_nm"].to_numpy()))


def test_unbracketed_days_leave_the_best_outside() -> None:
    for number in range(8):
        truth = simulate(STUDY["unbracketed"], number).truth
        middle = np.array([sum(truth.span_rpm) / 2])
        tested = [float(truth.delivered(s, middle)[0]) for s in truth.curves]
        best = float(truth.best(middle)[0])
        assert best > max(tested) - 0.5 or best < min(tested) + 0.5


def test_second_day_shares_engine_and_dyno_only() -> None:
    first, second = simulate_season(WIDE, 3)
    assert first.truth.engine.engine == second.truth.engine.engine
    assert first.truth.dyno == second.truth.dyno
    assert first.engine_name == second.engine_name
    assert first.day < second.day
    assert first.truth.offsets != second.truth.offsets


def test_level_of_a_pull_is_offset_plus_drift() -> None:
    """Two noise-free days that differ in offsets and drift alone differ by just these."""
    loud = replace(QUIET, pull_sd_pct=(0.5, 0.5), drift_pct=(0.2, 0.2), inertia_kg_m2=(0.0, 0.0), lag_s=(0.0, 0.0))
    still = replace(loud, pull_sd_pct=(0.0, 0.0), drift_pct=(0.0, 0.0))
    a, b = simulate(loud, 2), simulate(still, 2)
    for i, offset in enumerate(a.truth.offsets):
        open_ = a.traces[i].throttle_pct == 100
        got = float(np.mean(a.traces[i].torque_nm[open_]) / np.mean(b.traces[i].torque_nm[open_]) - 1)
        assert got == pytest.approx(offset + 0.002 * i, abs=2e-4)


def test_read_torque_is_the_engines_less_inertia_and_late_by_the_lag() -> None:
    bench = Bench(replace(QUIET, inertia_kg_m2=(0.2, 0.2), lag_s=(0.15, 0.15), rpm_noise=0.0, rate_hz=50.0), 4)
    label = next(iter(bench.nominal))
    trace, air = bench.pull(label), bench.airs[0]
    curve = bench.curve(bench.nominal[label])
    steady = (trace.phase == 1) & (trace.rpm > bench.map.engine.rpm_lo + 600)
    late = np.interp(trace.time_s - 0.15, trace.time_s, trace.rpm)
    rate = np.gradient(late, trace.time_s)
    whole = trace.torque_nm + 0.2 * 2 * np.pi / 60 * rate
    expected = bench.map.torque_nm(late, curve.advance_deg(late), air) * (1 + bench.offsets[0])
    error = (whole / expected - 1)[steady]
    assert abs(error.mean()) < 5e-4
    assert error.std() < 4e-3  # rpm is written to whole numbers


def test_logged_advance_carries_offset_and_delay() -> None:
    design = replace(WIDE, log_offset_deg=(2.0, 2.0), log_delay_us=(60.0, 60.0), ignition="locked", log_step_deg=0.1)
    day = simulate(design, 1)
    for trace, setting in zip(day.traces, day.truth.pull_settings, strict=True):
        true = day.truth.delivered(setting, trace.rpm)
        got = trace.advance_deg - true - 2.0 - 6e-6 * trace.rpm * 60.0
        assert abs(got.mean()) < 0.06


def test_light_reads_the_mark_and_the_stop_finds_it() -> None:
    design = replace(WIDE, mark_error_deg=(1.5, 1.5), light_readings=400, ignition="locked", stop_reading_sd_deg=0.0)
    day = simulate(design, 1)
    off = [x.advance_deg - float(day.truth.delivered(x.setting, np.array(x.rpm))) for x in day.light]
    assert np.mean(off) == pytest.approx(1.5, abs=0.12)
    assert 0.45 < np.std(off) < 0.7
    assert all(float(x.advance_deg * 2).is_integer() for x in day.light)
    assert day.stop is not None
    assert (day.stop[0] - day.stop[1]) / 2 == pytest.approx(1.5, abs=0.13)


def test_wander_has_its_size_and_reach() -> None:
    rpm = np.arange(2000.0, 6000.0, 100.0)
    draws = np.array([wander(np.random.default_rng(i), rpm, 0.003, 300.0) for i in range(600)])
    assert draws.std() == pytest.approx(0.003, rel=0.08)
    near = np.mean(draws[:, 3:] * draws[:, :-3]) / draws.var()
    assert near == pytest.approx(np.exp(-1), abs=0.06)


def test_air_the_shop_writes_down_is_near_the_truth_but_not_it() -> None:
    day = simulate(STUDY["hot_day"], 2)
    off = np.array([r.temperature_c - (float(a.inlet_k) - 273.15) for r, a in zip(day.sheet, day.truth.pull_airs, strict=True)])
    assert off.std() < 0.06  # one gauge error all day
    assert day.sheet[-1].temperature_c - day.sheet[0].temperature_c > 6


def test_knock_notes_follow_the_truth() -> None:
    heard = 0
    for day in (simulate(STUDY["knock_limited"], number) for number in range(4)):
        for row, setting in zip(day.sheet, day.truth.pull_settings, strict=True):
            if row.knock[0] == "heard":
                heard += 1
                assert day.truth.knocks(setting, day.truth.rows).any()
    assert heard > 0
    wide = simulate(WIDE, 4)
    assert {r.knock[0] for r in wide.sheet} == {"not heard"}


def test_counter_ticks_only_where_it_knocks() -> None:
    day = simulate(STUDY["knock_limited"], 4)
    for trace, setting, air in zip(day.traces, day.truth.pull_settings, day.truth.pull_airs, strict=True):
        ticked = np.diff(trace.knock, prepend=0.0) > 0
        index = day.truth.engine.knock_index(trace.rpm, day.truth.delivered(setting, trace.rpm), float(air.inlet_k))
        assert np.all(index[ticked] > 0.97)


def test_aborted_and_spoiled_pulls() -> None:
    day = simulate(replace(QUIET, aborted=(1,), spoiled=(3,), excluded=(3,)), 2)
    reading = day.reading
    assert reading.pulls["kind"].to_list()[:3] == ["pull", "aborted", "pull"]
    tops = [t.rpm.max() for t in day.traces]
    assert tops[1] < tops[0] - 500
    assert reading.pulls["exclude"].null_count() == reading.pulls.height - 1
    repeat = next(i for i, s in enumerate(day.truth.pull_settings) if s == day.truth.pull_settings[3] and i != 3)
    rpm = day.truth.rows
    levels = [np.interp(rpm, t.rpm[t.phase == 1], t.torque_nm[t.phase == 1]) for t in (day.traces[3], day.traces[repeat])]
    assert np.min(levels[0] / levels[1]) < 0.96


def test_weights_lag_on_the_way_down() -> None:
    curve = Curve("mechanical", 10.0, 34.0, 1200.0, 3000.0, None, 1.0)
    rpm = np.array([800.0, 2100.0, 2990.0, 4000.0])
    np.testing.assert_allclose(curve.advance_deg(rpm), [10.0, 22.0, 33.8667, 34.0], atol=1e-3)
    np.testing.assert_allclose(curve.advance_deg(rpm, down=True), [10.0, 23.0, 34.0, 34.0], atol=1e-3)


def test_knee_and_table() -> None:
    knee = Curve("mechanical", 10.0, 34.0, 1000.0, 4000.0, (2000.0, 28.0))
    assert float(knee.advance_deg(np.array(1500.0))) == 19.0
    table = Curve("mapped", 10.0, 30.0, points=((1000.0, 10.0), (3000.0, 30.0)))
    assert float(table.advance_deg(np.array(2000.0))) == 20.0
    assert float(table.moved(2.0).advance_deg(np.array(5000.0))) == 32.0


def test_pull_needs_no_day() -> None:
    """A trace is made from its own stream alone."""
    bench = Bench(Design("alone"), 1)
    air, curve = bench.air(0), Curve("locked", 30.0, 30.0)
    one, two = (run_pull(np.random.default_rng(1), bench.design, bench.dyno, bench.map, curve, air, 0.0) for _ in range(2))
    np.testing.assert_array_equal(one.torque_nm, two.torque_nm)
    assert np.all(np.diff(one.time_s) > 0)
