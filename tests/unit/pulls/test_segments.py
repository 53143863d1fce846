"""A log cut into pulls, holds, coast-downs, blips and idle running, at any rate and with any channels."""

import itertools
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from tests.unit.reading.driven import SWEEP, Plan, drive

from pullbook.handover import Segment
from pullbook.measure.spikes import without_spikes
from pullbook.pulls import motion
from pullbook.pulls.segments import day_top, find_segments, mark_aborted

DAY: Plan = [
    (6, 900, 0.1), (0.6, 3000, 0.2), (1.2, 1000, 0), (3, 1500, 0.3), (2, 1800, 0.3), (12, 5800, 1), (9, 1500, 0), (5, 1200, 0.1),
    (4, 1800, 0.3), (8, 4000, 1), (5, 1500, 0), (3, 1800, 0.3), (12, 5850, 1), (8, 1200, 0),
]  # fmt: skip
"""A blip, a pull from 12.8 to 24.8 s, an aborted one from 42.8 to 50.8 s, a pull from 58.8 to 70.8 s, coast-downs after each."""


def kinds(segments: tuple[Segment, ...]) -> list[str]:
    return [s.kind for s in segments if s.kind != "idle"]


@pytest.mark.parametrize("channels", ["torque", "torque and throttle", "throttle", "neither"])
@pytest.mark.parametrize("hz", [2.0, 5.0, 10.0, 50.0, 1000.0])
def test_every_kind_is_found_at_every_rate(hz: float, channels: str) -> None:
    samples = drive(DAY, hz, torque="torque" in channels, throttle="throttle" in channels)
    segments = find_segments(samples)
    assert kinds(segments) == ["blip", "pull", "coast_down", "aborted", "coast_down", "pull", "coast_down"]
    for found, (start, end) in zip(
        [s for s in segments if s.kind in ("pull", "aborted")], [(12.8, 24.8), (42.8, 50.8), (58.8, 70.8)], strict=True
    ):
        assert found.start_s == pytest.approx(start, abs=max(0.5, 2 / hz))
        assert found.end_s == pytest.approx(end, abs=max(0.5, 2 / hz))


def test_one_hertz_still_finds_the_pulls() -> None:
    assert [k for k in kinds(find_segments(drive(DAY, 1.0))) if k in ("pull", "aborted")] == ["pull", "aborted", "pull"]


@pytest.mark.parametrize("rate", [15.0, 50.0, 400.0, 1800.0])
def test_sweeps_slow_and_fast(rate: float) -> None:
    seconds = 3000 / rate
    segments = find_segments(drive([(3, 1800, 0.3), (1, 1800, 1), (seconds, 4800, 1), (7, 1500, 0)], 20.0))
    (pull,) = (s for s in segments if s.kind == "pull")
    assert pull.end_s == pytest.approx(4 + seconds, abs=1.0 if rate < 100 else 0.3)
    assert pull.rpm_max == pytest.approx(4800, abs=25)


def test_segments_tile_the_log() -> None:
    samples = drive(DAY, 20.0)
    segments = find_segments(samples)
    assert segments[0].first == 0
    assert segments[-1].stop == samples.height
    assert all(a.stop == b.first and a.segment + 1 == b.segment for a, b in itertools.pairwise(segments))
    assert sum(s.rows for s in segments) == samples.height


def test_spikes_and_dropouts_of_speed_are_no_segments() -> None:
    samples = drive(SWEEP)
    rpm = samples["rpm"].to_numpy().copy()
    rpm[[20, 66, 90, 120, 180]] *= 2
    rpm[70:73] = 0
    rpm[100] = 65535
    spiked = find_segments(samples.with_columns(rpm=pl.Series(rpm)))
    clean = find_segments(samples)
    assert [(s.kind, s.first, s.stop) for s in spiked] == [(s.kind, s.first, s.stop) for s in clean]
    assert max(s.rpm_max or 0 for s in spiked) < 6000


def test_holds_of_a_step_test() -> None:
    plan: Plan = [(3, 1500, 0.3)]
    for rpm in (2000, 2500, 3000, 3500):
        plan += [(0.8, rpm, 1), (6, rpm, 1)]
    segments = find_segments(drive([*plan, (6, 1000, 0)], 20.0))
    holds = [s for s in segments if s.kind == "hold"]
    assert [round((s.rpm_min or 0) + (s.rpm_max or 0), -2) / 2 for s in holds] == [2000, 2500, 3000, 3500]
    assert not [s for s in segments if s.kind in ("pull", "aborted")]


@pytest.mark.parametrize(("hz", "noise"), [(10.0, 15.0), (20.0, 15.0), (100.0, 8.0)])
def test_short_holds_between_steps_keep_their_length(hz: float, noise: float) -> None:
    """2.6 s at each speed: the turning points of noise lie well inside a hold, the hold begins where the step ends."""
    plan: Plan = [(3, 2000, 0.3)]
    for rpm in (2250, 2750, 3000, 2750, 2250):
        plan += [(0.7, rpm, 1), (2.6, rpm, 1)]
    holds = [s for s in find_segments(drive([*plan, (6, 1000, 0)], hz, noise=noise)) if s.kind == "hold"]
    assert [s.start_s for s in holds] == pytest.approx([3.7, 7.0, 10.3, 13.6, 16.9], abs=0.4)
    assert [s.end_s for s in holds] == pytest.approx([6.3, 9.6, 12.9, 16.2, 19.5], abs=0.4)


def test_steps_of_a_spark_sweep_are_cut_where_the_advance_steps() -> None:
    samples = drive([(2, 3000, 1), (18, 3000, 1), (5, 1000, 0)], 50.0)
    t = samples["time_s"].to_numpy()
    advance = 20 + 3.0 * np.searchsorted([8.0, 12.5, 16.6], t) + np.random.default_rng(2).normal(0, 0.15, len(t))
    holds = [s for s in find_segments(samples.with_columns(advance_deg=advance)) if s.kind == "hold"]
    assert [s.start_s for s in holds[1:]] == pytest.approx([8.0, 12.5, 16.6], abs=0.15)
    assert holds[-1].end_s == pytest.approx(20.0, abs=0.3)


def test_spark_sweep_at_steady_speed_is_cut_at_each_step_of_advance() -> None:
    samples = drive([(3, 1500, 0.3), (2, 3000, 1), (60, 3000, 1), (6, 1000, 0)])
    time = samples["time_s"].to_numpy()
    steps = np.select([time < 15, time < 25, time < 35, time < 45], [20.0, 24.0, 28.0, 32.0], 26.0)
    steps += np.random.default_rng(1).normal(0, 0.2, len(time))
    holds = [s for s in find_segments(samples.with_columns(advance_deg=pl.Series(steps))) if s.kind == "hold"]
    ran = [float(np.median(steps[s.first : s.stop])) for s in holds]
    assert ran == pytest.approx([20, 24, 28, 32, 26], abs=0.2)


@pytest.mark.parametrize("way_s", [0.0, 1.5, 6.0])
def test_nothing_lies_between_the_steps_of_a_spark_sweep(way_s: float) -> None:
    """At one speed and loaded throughout it is all hold; what was on its way from step to step is not measured on."""
    samples = drive([(2, 3000, 1), (40, 3000, 1), (5, 1000, 0)])
    t = samples["time_s"].to_numpy()
    advance = np.interp(t, [15, 15 + max(way_s, 0.01), 28, 28 + max(way_s, 0.01)], [20.0, 26.0, 26.0, 32.0])
    segments = find_segments(samples.with_columns(advance_deg=advance))
    assert [s.kind for s in segments] == ["idle", "hold", "hold", "hold", "coast_down"]
    for hold, level in zip(segments[1:4], (20.0, 26.0, 32.0), strict=True):
        ran = hold.settled(samples.with_columns(advance_deg=advance))["advance_deg"]
        assert np.abs(ran.to_numpy() - level).max() < 0.8
        assert 0 < ran.len() < hold.rows
    assert segments[1].end_s == pytest.approx(15 + way_s / 2, abs=0.4)


def test_part_throttle_holds_and_sweeps_are_not_used() -> None:
    plan: Plan = [(3, 2000, 0.3), (6, 2000, 0.3), (8, 4000, 0.3), (10, 5800, 1), (5, 1500, 0), (8, 3500, 0.3)]
    segments = find_segments(drive(plan, throttle=True))
    assert kinds(segments) == ["pull", "coast_down"]


def test_rev_limiter_ends_the_pull() -> None:
    samples = drive([(3, 1800, 0.3), (10, 5800, 1), (3, 5800, 1), (6, 1500, 0)], 20.0)
    time, rpm, torque = (samples[c].to_numpy().copy() for c in ("time_s", "rpm", "torque_nm"))
    cut = (time > 13) & (time < 16)
    swing = np.sin(time * 2 * np.pi * 4)
    rpm[cut] = 5750 + 60 * swing[cut]
    torque[cut] = np.where(swing[cut] > 0, -20, 200)
    segments = find_segments(samples.with_columns(rpm=pl.Series(rpm), torque_nm=pl.Series(torque)))
    assert kinds(segments) == ["pull", "coast_down"]
    assert next(s.end_s for s in segments if s.kind == "pull") == pytest.approx(13.0, abs=0.3)


def test_truncated_end_keeps_the_pull() -> None:
    segments = find_segments(drive(SWEEP).head(110))
    assert kinds(segments) == ["pull"]
    assert segments[-1].stop == 110


def test_restart_and_gap_begin_new_segments() -> None:
    one = drive(SWEEP)
    again = pl.concat([one, drive(SWEEP, number=2).with_columns(recording=pl.lit(1, dtype=pl.Int64))])
    segments = find_segments(again)
    assert kinds(segments) == ["pull", "coast_down"] * 2
    assert any(s.first == one.height for s in segments)
    assert [s.start_s for s in segments if s.kind == "pull"][1] == pytest.approx(4.0, abs=0.5 + 1.2)
    gapped = find_segments(pl.concat([one.slice(0, 60), one.slice(110)]))
    assert any(s.first == 60 for s in gapped), "nothing is joined across a gap of 5 s"


def test_no_clock_print_out_is_one_pull() -> None:
    table = pl.DataFrame({"rpm": np.arange(2800, 5601, 200.0), "torque_nm": 200.0})
    (pull,) = find_segments(table)
    assert (pull.kind, pull.start_s, pull.end_s, pull.rows) == ("pull", None, None, 15)
    (falling,) = find_segments(table[::-1])
    assert falling.kind == "pull"
    assert [s.kind for s in find_segments(pl.concat([table, table]))] == ["pull", "pull"]


def test_no_clock_trace_is_still_cut() -> None:
    segments = find_segments(drive(SWEEP).drop("time_s"))
    assert kinds(segments) == ["pull", "coast_down"]
    assert all(s.start_s is None for s in segments)


@pytest.mark.parametrize("hz", [5.0, 10.0, 50.0, 500.0])
@pytest.mark.parametrize("noise", [2.0, 15.0])
def test_a_trace_without_a_clock_is_cut_at_any_rate(hz: float, noise: float) -> None:
    """Noise breaks a rise into scraps; idle, the way up and the way down are no part of the pull."""
    whole = drive([(5, 900, 0.1), (2, 2000, 0.3), (9, 5800, 1), (8, 1500, 0)], hz, noise=noise)
    for samples in (whole, whole.filter(pl.col("time_s") < 16)):
        (pull,) = (s for s in find_segments(samples.drop("time_s")) if s.kind == "pull")
        assert pull.first / hz == pytest.approx(7, abs=max(0.4, 2 / hz))
        assert pull.stop / hz == pytest.approx(16, abs=max(0.4, 2 / hz))
        assert not [s for s in find_segments(samples.drop("time_s")) if s.kind == "hold"]


def test_nothing_to_cut() -> None:
    assert find_segments(pl.DataFrame()) == ()
    assert find_segments(pl.DataFrame({"time_s": [0.0, 1.0]})) == ()
    assert find_segments(pl.DataFrame({"rpm": pl.Series([None, None], dtype=pl.Float64)})) == ()
    assert [s.kind for s in find_segments(pl.DataFrame({"time_s": [0.0], "rpm": [900.0]}))] == ["idle"]


def test_aborted_needs_both_conditions() -> None:
    def top(rpm: float) -> Segment:
        return Segment(1, "pull", 0.0, 10.0, 2000.0, rpm, 0, 100)

    day = [(top(6000.0),), (top(6000.0),), (top(4790.0),), (top(4810.0),)]
    assert day_top(day) == pytest.approx(5405.0)
    assert [mark_aborted(log, 6000.0)[0].kind for log in day] == ["pull", "pull", "aborted", "pull"]
    assert mark_aborted((top(1500.0),), 1990.0)[0].kind == "pull", "within 500 rpm of the median top"
    assert mark_aborted((replace(top(5900.0), kind="aborted"),), 6000.0)[0].kind == "pull"


def test_a_misfire_or_a_dead_load_cell_for_a_moment_ends_no_pull() -> None:
    samples = drive(SWEEP, 20.0)
    dip = pl.when(pl.col("time_s").is_between(8.0, 8.5)).then(0.1 * pl.col("torque_nm")).otherwise(pl.col("torque_nm"))
    segments = find_segments(samples.with_columns(torque_nm=dip))
    (pull,) = (s for s in segments if s.kind == "pull")
    assert pull.start_s == pytest.approx(3.0, abs=0.3)
    assert pull.end_s == pytest.approx(14.0, abs=0.2)


def test_a_long_log_looked_at_in_blocks_is_cut_as_in_one(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(11)
    t = np.arange(6000) * 0.01
    phase = t % 12.0
    rpm = np.where(phase < 8, 2400 + 430 * phase, 5840 - 860 * (phase - 8)) + rng.normal(0, 4, len(t))
    rpm[[5, 997, 1001, 3004, 5998]] *= 2
    samples = pl.DataFrame({"time_s": t, "rpm": rpm, "torque_nm": np.where(phase < 8, 200.0, -15.0)})
    whole = find_segments(samples)
    monkeypatch.setattr(motion, "_BLOCK", 1000)
    assert np.array_equal(motion.despiked(rpm), without_spikes(rpm), equal_nan=True)
    assert find_segments(samples) == whole
    assert [s.kind for s in whole].count("pull") == 5
