"""Two recorders of one pull brought onto one clock."""

import numpy as np
import polars as pl
import pytest
from tests.unit.reading.driven import SWEEP, Plan, drive

from pullbook.handover import Clock
from pullbook.pulls.recorders import ClockFit, Trace, align_recorders, merge_channels, residual_rpm, trace_of


def second_recorder(
    samples: pl.DataFrame, offset_s: float, rate: float, *, hz: float = 20.0, noise: float = 5.0, number: int = 3
) -> pl.DataFrame:
    """What another recorder with its own clock saw of ``samples``: t_first = offset + rate * t_other."""
    first, last = float(samples["time_s"][0]), float(samples["time_s"][-1])
    time = np.arange(0.0, (last - offset_s) / rate, 1 / hz)
    time = time[offset_s + rate * time >= first]
    rpm = np.interp(offset_s + rate * time, samples["time_s"], samples["rpm"]) + np.random.default_rng(number).normal(
        0, noise, len(time)
    )
    return pl.DataFrame({"time_s": time, "rpm": rpm})


def aligned(first: pl.DataFrame, other: pl.DataFrame, near_s: float | None = None) -> ClockFit | str:
    a, b = trace_of(first), trace_of(other)
    assert a is not None
    assert b is not None
    return align_recorders(a, b, near_s=near_s)


@pytest.mark.parametrize("rate", [1.0, 1.003, 0.997, 1.0075])
@pytest.mark.parametrize("offset", [-3.7, 0.0, 1.234])
def test_offset_and_rate_of_one_pull(offset: float, rate: float) -> None:
    first = drive(SWEEP, 20.0, noise=4.0)
    fit = aligned(first, second_recorder(first, offset, rate))
    assert isinstance(fit, ClockFit)
    middle = (9.0 - offset) / rate
    assert fit.offset_s + fit.rate * middle == pytest.approx(9.0, abs=0.01), "in the middle of the sweep to a hundredth of a second"
    assert fit.rate == pytest.approx(rate, abs=6e-4)
    assert fit.residual_rpm < 12


def test_rate_over_a_long_record() -> None:
    plan: Plan = [(20, 900, 0.1), *SWEEP, (60, 900, 0.1), *SWEEP, (45, 900, 0.1), *SWEEP]
    first = drive(plan, 10.0)
    fit = aligned(first, second_recorder(first, -12.4, 1.003, hz=25.0))
    assert isinstance(fit, ClockFit)
    assert fit.rate == pytest.approx(1.003, abs=3e-5)
    assert fit.offset_s == pytest.approx(-12.4, abs=0.01)


def test_spikes_and_dropouts_do_not_move_the_clock() -> None:
    first = drive(SWEEP, 20.0)
    other = second_recorder(first, -1.5, 1.002)
    rpm = other["rpm"].to_numpy().copy()
    rpm[np.random.default_rng(5).integers(0, len(rpm), 25)] *= 2
    rpm[150:153] = 0
    fit = aligned(first, other.with_columns(rpm=pl.Series(rpm)))
    assert isinstance(fit, ClockFit)
    assert fit.offset_s + fit.rate * (9.0 + 1.5) / 1.002 == pytest.approx(9.0, abs=0.01)
    assert fit.residual_rpm < 15


def test_other_pull_is_refused_with_the_difference() -> None:
    first = drive(SWEEP, 20.0)
    fit = aligned(first, drive([(3, 2600, 0.3), (4, 5200, 1), (7, 1500, 0)], 20.0))
    assert isinstance(fit, str)
    assert "rpm" in fit


def test_two_pulls_alike_are_ambiguous_until_told_where() -> None:
    first = drive(SWEEP, 20.0)
    session = drive([*SWEEP, (20, 900, 0.1), *SWEEP], 20.0, number=8)
    assert "more than one place" in str(aligned(first, session))
    fit = aligned(first, session, near_s=-40.5)
    assert isinstance(fit, ClockFit)
    assert fit.offset_s == pytest.approx(-41.0, abs=0.4)


def test_each_of_several_pulls_is_found_in_one_long_record() -> None:
    rng = np.random.default_rng(4)
    plan, pulls = [(10.0, 900.0, 0.1)], []
    for seconds in (9.2, 10.4, 9.6, 10.8, 10.0):
        sweep: Plan = [(3, 1800, 0.3), (1, 1800, 1), (seconds, 5800, 1), (7, 1500, 0)]
        pulls.append((sum(p[0] for p in plan), sweep))
        plan += [*sweep, (float(rng.uniform(30, 90)), 900, 0.1)]
    session = drive(plan, 20.0)
    other = second_recorder(session, 5.5, 1.002)
    for start, sweep in pulls:
        own = session.filter(pl.col("time_s").is_between(start, start + sum(p[0] for p in sweep)))
        began = float(own["time_s"][0])
        own = own.with_columns(pl.col("time_s") - began, pl.col("rpm") + rng.normal(0, 4, own.height))
        fit = aligned(own, other)
        assert isinstance(fit, ClockFit), fit
        middle = (began + 9 - 5.5) / 1.002
        assert fit.offset_s + fit.rate * middle == pytest.approx(9.0, abs=0.02)


def test_regular_pulls_are_laid_over_each_other_so_that_each_has_a_partner() -> None:
    session = drive([(40.0, 900.0, 0.1), *SWEEP] * 6, 10.0)
    fit = aligned(session, second_recorder(session, -7.5, 1.003))
    assert isinstance(fit, ClockFit)
    assert fit.offset_s == pytest.approx(-7.5, abs=0.02)
    assert fit.rate == pytest.approx(1.003, abs=3e-5)


def test_no_clock_or_no_movement_gives_no_trace() -> None:
    assert trace_of(pl.DataFrame({"rpm": [1.0] * 20})) is None
    assert trace_of(pl.DataFrame({"time_s": np.arange(20.0), "rpm": [900.0] * 20})) is None


def test_channels_move_onto_the_first_clock() -> None:
    first = drive(SWEEP, 10.0)
    time = np.arange(0, 20, 0.05)
    other = pl.DataFrame({
        "time_s": time, "rpm": time * 0, "torque_nm": time * 0, "advance_deg": 10 + time,
        "lambda": np.where(np.arange(len(time)) % 10 == 0, 0.9, np.nan), "knock": np.floor(time),
    }).with_columns(pl.col("lambda").fill_nan(None))  # fmt: skip
    merged = merge_channels(first, other, Clock("x.csv", 2.0, 1.0, 1.0))
    at = merged.filter(pl.col("time_s") == 7.0)
    assert at["advance_deg"][0] == pytest.approx(15.0)
    assert at["lambda"][0] == pytest.approx(0.9), "a slow channel is drawn between its own samples"
    assert at["knock"][0] in (4.0, 5.0), "counts are not drawn between samples"
    assert merged["torque_nm"].equals(first["torque_nm"]), "the first recorder's own channels stay"
    assert merged.filter(pl.col("time_s") < 1.9)["advance_deg"].null_count() == 19, "nothing before the other recorder began"


def test_nothing_is_drawn_across_a_gap() -> None:
    first = drive(SWEEP, 10.0)
    time = np.concatenate((np.arange(0, 5, 0.05), np.arange(9, 20, 0.05)))
    other = pl.DataFrame({"time_s": time, "rpm": time * 0, "advance_deg": 20 + time})
    merged = merge_channels(first, other, Clock("x.csv", 0.0, 1.0, 1.0))
    assert merged.filter(pl.col("time_s").is_between(5.1, 8.9))["advance_deg"].null_count() == 39


def test_residual_of_a_segment() -> None:
    time = np.arange(0, 10, 0.1)
    first, other = Trace(time, 300 * time), Trace(time, 300 * time + np.where(time > 5, 30.0, 0.0))
    fit = ClockFit(0.0, 1.0, 0.0, 10.0)
    assert residual_rpm(first, other, fit, 0.0, 4.0) == pytest.approx(0.0)
    assert residual_rpm(first, other, fit, 6.0, 9.0) == pytest.approx(30.0)
    early = Trace(time[:60], 300 * time[:60])
    assert residual_rpm(first, early, fit, 4.0, 9.0) == pytest.approx(0.0), "what only one recorder saw is no difference"
    assert residual_rpm(first, early, fit, 7.0, 9.0) is None


def test_two_copies_of_one_trace_fit_to_nothing_left() -> None:
    first = drive(SWEEP, 20.0)
    fit = aligned(first, first)
    assert isinstance(fit, ClockFit)
    assert (fit.offset_s, fit.rate, fit.residual_rpm) == pytest.approx((0.0, 1.0, 0.0), abs=1e-6)
