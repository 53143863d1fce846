"""Rows, inertia, lag, slip, holds, print-outs: what one pull becomes."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from tests.unit.alignment.made import Sweep, day, hump

from pullbook.alignment.rows import rows_of_holds
from pullbook.facts import DayFacts, Dyno, EngineFacts
from pullbook.measure.decay import pooled_decay
from pullbook.measure.held import news
from pullbook.measure.local import centred_means, local_slope, second_differences
from pullbook.stages.align import align_day

BRAKE = EngineFacts(rotating_inertia_kg_m2=0.3)


def test_a_straight_curve_is_met_exactly_at_row_centres() -> None:
    rows = align_day(day([Sweep("34", torque=lambda n: 0.05 * n)])).rows
    assert rows["torque_nm"].to_numpy() == pytest.approx(0.05 * rows["rpm"].to_numpy(), abs=1e-9)
    assert rows["rpm"].to_list() == list(range(rows["rpm"][0], rows["rpm"][-1] + 1, 100))


def test_run_in_is_trimmed_by_half_a_second() -> None:
    aligned = align_day(day([Sweep("34", rpm=(2400.0, 6000.0), rate=300.0)]))
    assert aligned.pulls["rpm_min"][0] == pytest.approx(2550.0)
    assert aligned.pulls["rpm_per_s"][0] == pytest.approx(300.0, rel=1e-6)
    assert aligned.pulls["seconds"][0] == pytest.approx(11.45)


def test_lift_at_the_top_is_trimmed() -> None:
    lifted = align_day(day([Sweep("34", torque=lambda n: np.where(n > 5800.0, 0.0, 300.0))]))
    assert lifted.pulls["rpm_max"][0] <= 5800.0
    assert lifted.rows["torque_nm"].to_numpy() == pytest.approx(300.0, abs=1e-9)


def test_white_noise_is_told_from_second_differences() -> None:
    rng = np.random.default_rng(3)
    noisy = Sweep("34", torque=lambda n: hump(n) + rng.normal(0.0, 2.0, n.shape), hz=100.0)
    rows = align_day(day([noisy])).rows.filter(pl.col("n") > 20)
    sd = rows["se_nm"].to_numpy() * np.sqrt(rows["n"].to_numpy())
    assert np.median(sd) == pytest.approx(2.0, rel=0.1)


def test_second_differences_see_noise_and_not_a_line() -> None:
    assert second_differences(np.array([1.0, 2.0, 3.0, 4.0]))[1:3] == pytest.approx([0.0, 0.0])


def test_a_held_channel_keeps_its_own_rate() -> None:
    rng = np.random.default_rng(6)

    def held(n: np.ndarray) -> np.ndarray:
        slow = 0.05 * n[::10] + rng.normal(0.0, 2.0, n[::10].shape)
        return np.repeat(slow, 10)[: len(n)]

    fast = align_day(day([Sweep("34", torque=held, hz=200.0, rate=150.0)])).rows
    assert fast["n"].median() == pytest.approx(20 * 100 / 150, abs=1.0)
    sd = fast["se_nm"].to_numpy() * np.sqrt(fast["n"].to_numpy())
    assert np.median(sd) == pytest.approx(2.0, rel=0.2)
    off = fast["torque_nm"].to_numpy() - 0.05 * fast["rpm"].to_numpy()
    assert abs(off.mean()) < 0.25


def test_coarse_digits_are_not_a_held_channel() -> None:
    ramp = np.floor(np.arange(300) / 3.0)
    assert news(ramp).all()
    assert news(np.repeat(np.random.default_rng(1).normal(size=40), 4)).sum() == 40
    assert news(np.array([np.nan, 1.0, 1.0])).tolist() == [False, True, True]


def test_inertia_is_added_on_a_brake_and_never_on_a_roller() -> None:
    sweep = Sweep("34", torque=lambda n: 200.0 + 0.0 * n)
    brake = align_day(day([sweep], engine=BRAKE))
    assert brake.rows["torque_nm"].to_numpy() == pytest.approx(209.42477796, abs=1e-5)
    assert any("recorder add it already" in q for q in brake.questions)
    roller = align_day(day([sweep], engine=BRAKE, facts=DayFacts(dyno=Dyno(kind="roller"))))
    assert roller.rows["torque_nm"].to_numpy() == pytest.approx(200.0)
    assert any("roller" in q for q in roller.questions)


def test_sweep_rates_that_differ_are_flagged_without_inertia_only() -> None:
    sweeps = [Sweep("34"), Sweep("34"), replace(Sweep("34"), rate=360.0)]
    assert any("sweep rates differ by up to 20 %" in w for w in align_day(day(sweeps)).warnings)
    assert not any("sweep rates" in w for w in align_day(day(sweeps, engine=BRAKE)).warnings)


def test_on_a_roller_a_rate_may_go_with_the_torque_or_be_kept() -> None:
    roller = DayFacts(dyno=Dyno(kind="roller"))

    def said(*torque_and_rate: tuple[float, float]) -> list[str]:
        sweeps = [replace(Sweep("34", torque=lambda n, t=t: t + 0.0 * n), rate=rate) for t, rate in torque_and_rate]
        return [w for w in align_day(day(sweeps, facts=roller)).warnings if "sweep rates" in w]

    assert not said((200.0, 300.0), (200.0, 300.0), (240.0, 360.0))
    assert not said((200.0, 300.0), (200.0, 300.0), (240.0, 300.0))
    assert "do not go with torque, by up to 20 % (pull 3 (p3.csv))" in said((200.0, 300.0), (200.0, 300.0), (200.0, 360.0))[0]


def coast(tau: float) -> pl.DataFrame:
    """Three coast-downs whose reading falls from 300 to -40 N·m with a lag of ``tau``."""
    t = np.arange(0.0, 2.0, 0.02)
    rng = np.random.default_rng(5)
    parts = []
    for i in range(3):
        torque = -40.0 + 3.0 * t + 340.0 * np.exp(-t / tau) + rng.normal(0.0, 1.0, t.shape)
        columns = {"pull_id": f"p{i}", "file": f"p{i}.csv", "segment": 2, "kind": "coast_down"}
        parts.append(pl.DataFrame({**columns, "time_s": 20.0 + t, "rpm": 6000.0 - 400.0 * t, "torque_nm": torque}))
    return pl.concat(parts)


def test_torque_lag_is_found_in_the_tails() -> None:
    lag = align_day(day([Sweep("34")], coast_downs=coast(0.15))).lag_s
    assert lag is not None
    estimate, lo, hi = lag
    assert estimate == pytest.approx(0.15, rel=0.03)
    assert lo < 0.15 < hi


def test_lag_moves_torque_to_the_speed_it_belongs_to() -> None:
    sweep = Sweep("34", torque=lambda n: 0.05 * (n - 0.15 * 300.0), hz=50.0)  # read 0.15 s late at 300 rpm/s
    rows = align_day(day([sweep], coast_downs=coast(0.15))).rows
    assert rows["torque_nm"].to_numpy() == pytest.approx(0.05 * rows["rpm"].to_numpy(), abs=0.1)


def test_without_tails_the_lag_is_bounded_and_said() -> None:
    aligned = align_day(day([Sweep("34")]))
    assert aligned.lag_s is None
    assert aligned.lag_bound_s == pytest.approx(0.3)
    assert any("torque lag" in m for m in aligned.not_established)


def test_decay_is_not_found_in_a_straight_tail() -> None:
    t = np.arange(0.0, 1.5, 0.02)
    found = pooled_decay([(t, -40.0 + 3.0 * t + np.random.default_rng(1).normal(0, 1, t.shape))], np.geomspace(0.01, 1.2, 60))
    assert found is not None
    assert found.evidence < 10.0


def test_slip_leaves_its_region_out() -> None:
    ratio = Sweep("34", channels={"roller_rpm": lambda n: np.where((n > 4000) & (n < 4600), n / 3.2, n / 3.0)})
    aligned = align_day(day([ratio]))
    assert aligned.pulls["status"][0] == "part"
    assert "slip" in aligned.pulls["reasons"][0][0]
    assert not set(range(4100, 4501, 100)) & set(aligned.rows["rpm"].to_list())


def test_spikes_in_speed_do_not_reach_a_row() -> None:
    reading = day([Sweep("34", torque=lambda n: 0.05 * n)])
    spoiled = reading.samples.with_columns(
        rpm=pl.when(pl.int_range(pl.len()) == 100).then(pl.col("rpm") * 2).otherwise(pl.col("rpm"))
    )
    rows = align_day(replace(reading, samples=spoiled)).rows
    assert rows["rpm"].max() <= 6100
    assert rows["torque_nm"].to_numpy() == pytest.approx(0.05 * rows["rpm"].to_numpy(), abs=1e-9)


def test_a_print_out_without_time_has_rows_and_no_noise() -> None:
    reading = day([Sweep("34")])
    lines = pl.DataFrame({"rpm": np.arange(2800.0, 5001.0, 200.0)}).with_columns(torque_nm=pl.col("rpm") * 0.05)
    printed = lines.with_columns(pl.lit("p1").alias("pull_id"), pl.lit("p1.csv").alias("file"), pl.lit(None).alias("time_s"))
    aligned = align_day(replace(reading, samples=printed, engine_facts=BRAKE))
    assert aligned.rows["rpm"].to_list() == list(range(2800, 5001, 200))
    assert aligned.rows["se_nm"].null_count() == len(aligned.rows)
    assert aligned.rows["torque_nm"].to_numpy() == pytest.approx(0.05 * aligned.rows["rpm"].to_numpy())
    assert aligned.pulls["rpm_per_s"][0] is None
    assert aligned.pulls["status"][0] == "used"
    assert any("print-out" in w for w in aligned.warnings)


def test_a_hold_is_one_point_moved_along_the_days_curve() -> None:
    sweep = Sweep("34", torque=lambda n: 0.05 * n)
    hold = Sweep("30", torque=lambda n: 0.05 * n, rpm=(3510.0, 3530.0), rate=5.0, kind="hold", advance=lambda n: 30.0 + 0.0 * n)
    rows = align_day(day([sweep, hold])).rows.filter(pull_id="p2")
    assert rows["rpm"].to_list() == [3500]
    assert rows["torque_nm"][0] == pytest.approx(175.0, abs=0.05)
    assert rows["advance_log_deg"][0] == 30.0


def test_holds_at_one_speed_stand_in_one_row_on_whichever_side_of_its_edge_each_came() -> None:
    speeds = {"24": 3043.0, "28": 3056.0, "32": 3049.0, "36": 3052.0, "other": 3460.0}
    holds = [Sweep(s, torque=lambda n: 0.05 * n, rpm=(at - 4.0, at + 4.0), rate=2.0, kind="hold") for s, at in speeds.items()]
    aligned = align_day(day(holds))
    by_setting = aligned.rows.join(aligned.pulls.select("pull_id", "setting"), on="pull_id")
    assert dict(zip(by_setting["setting"], by_setting["rpm"], strict=True)) == dict.fromkeys(speeds, 3100) | {"other": 3500}


def test_speeds_that_run_together_over_more_than_a_row_keep_each_its_own() -> None:
    assert rows_of_holds({f"{n}": float(n) for n in range(3010, 3200, 20)}) == {
        f"{n}": 3000 if n < 3050 else 3100 if n < 3150 else 3200 for n in range(3010, 3200, 20)
    }
    assert rows_of_holds({}) == {}


def test_left_out_pulls_keep_their_rows_and_reasons() -> None:
    sweeps = [
        Sweep("34"),
        Sweep("34", sheet={"exclude": "plug lead off"}),
        Sweep("34", sheet={"usable": False, "why_not": "rpm doubled"}),
    ]
    sweeps.append(replace(Sweep("34"), kind="aborted", rpm=(2400.0, 4200.0)))
    aligned = align_day(day(sweeps))
    assert aligned.pulls["status"].to_list() == ["used", "left_out", "left_out", "part"]
    assert "plug lead off" in aligned.pulls["reasons"][1][0]
    assert aligned.pulls["reasons"][2][0] == "rpm doubled"
    assert set(aligned.rows["pull_id"].unique()) == {"p1", "p2", "p3", "p4"}
    assert aligned.rows.filter(pull_id="p4")["rpm"].max() == 4200


def test_torque_comes_from_power_where_that_is_all() -> None:
    reading = day([Sweep("34", channels={"power_kw": lambda n: 300.0 * n / 9549.296585514})])
    aligned = align_day(replace(reading, samples=reading.samples.with_columns(torque_nm=pl.lit(None, pl.Float64))))
    assert aligned.rows["torque_nm"].to_numpy() == pytest.approx(300.0)


def test_local_slope_of_a_parabola_between_the_ends() -> None:
    t = np.sort(np.random.default_rng(2).uniform(0.0, 10.0, 400))
    inner = (t > 1.0) & (t < 9.0)
    assert local_slope(t, 5.0 * t**2, 0.5)[inner] == pytest.approx(10.0 * t[inner], abs=1.0)


def test_centred_means_need_no_order() -> None:
    rng = np.random.default_rng(4)
    x = rng.uniform(0.0, 1000.0, 500)
    order = rng.permutation(500)
    a, b = centred_means(x, 3.0 * x, 100.0), centred_means(x[order], 3.0 * x[order], 100.0)
    assert a[1] == pytest.approx(b[1])
    assert a[1] == pytest.approx(300.0 * a[0])


def test_a_day_without_pulls_is_empty_and_not_an_error() -> None:
    reading = day([Sweep("34")])
    aligned = align_day(replace(reading, pulls=reading.pulls.clear(), samples=reading.samples.clear()))
    assert aligned.rows.is_empty()
    assert aligned.pulls.is_empty()
