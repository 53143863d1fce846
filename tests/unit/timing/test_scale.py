"""Log, light and sheet against one another: offset, delay, the mark, and what is asked."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from tests.unit.alignment.made import Sweep
from tests.unit.timing.made_days import CHECKED, LOCKED, MAPPED, THREE, lights, logs, solve

from pullbook.facts import DayFacts, EngineFacts, Ignition, ZeroMark
from pullbook.timing.scale import mark_error, mark_uncertainty


def test_a_true_log_is_left_alone() -> None:
    got = solve(logs(THREE), engine=LOCKED, strobe=lights(THREE))
    worst = max(abs(a - float(s)) for s, a in got.delivered.select("setting", "advance_deg").iter_rows())
    assert worst < 0.05
    assert got.timing_scale["log_minus_true_deg"] == pytest.approx(0.0, abs=0.05)
    assert got.timing_scale["delay_us"] == pytest.approx(0.0, abs=1.0)


def test_a_sheet_far_from_log_and_light_is_said() -> None:
    off = [Sweep(s, lambda n, a=a: a + 0.0 * n, sheet={"initial_deg": a + 4.0, "total_deg": a + 4.0}) for s, a in THREE.items()]
    got = solve(off, engine=LOCKED, strobe=lights(THREE), facts=DayFacts(zero_mark=ZeroMark(30.0, 30.0, "2031-03-01")))
    assert any("the sheet's total stands +4.0° against log and light (28, 31, 34)" in w for w in got.warnings)
    agreed = solve(logs(THREE), engine=LOCKED, strobe=lights(THREE))
    assert not any("sheet's total" in w for w in agreed.warnings)


def test_offset_and_delay_are_found_together() -> None:
    got = solve(logs(THREE, offset=-2.0, delay_us=80.0), engine=LOCKED, strobe=lights(THREE))
    scale = got.timing_scale
    assert scale["lo_deg"] < -2.0 < scale["hi_deg"]
    assert scale["delay_lo_us"] < 80.0 < scale["delay_hi_us"]
    error = np.array([a - float(s) for s, a in got.delivered.select("setting", "advance_deg").iter_rows()])
    assert np.sqrt(np.mean(error**2)) < 0.15


def test_the_delay_alone_is_read_off_a_locked_curve() -> None:
    got = solve(logs(THREE, delay_us=100.0), engine=LOCKED)
    assert got.timing_scale["delay_us"] == pytest.approx(100.0, abs=6.0)


def test_zero_mark_moves_the_light_and_is_told() -> None:
    facts = DayFacts(zero_mark=CHECKED)
    blank = logs(THREE, total_deg=None, initial_deg=None)
    got = solve(blank, engine=LOCKED, facts=facts, strobe=lights(THREE, z=2.0))
    assert got.timing_scale["zero_mark_error_deg"] == pytest.approx(2.0)
    assert got.timing_scale["verified"] is True
    assert got.timing_scale["mark_uncertainty_deg"] == 1.0
    error = [a - float(s) for s, a in got.delivered.select("setting", "advance_deg").iter_rows()]
    assert max(map(abs, error)) < 0.2


def test_an_unchecked_mark_is_asked_and_not_in_the_intervals() -> None:
    got = solve(logs(THREE), engine=LOCKED, strobe=lights(THREE))
    assert got.timing_scale["verified"] is False
    assert got.timing_scale["zero_mark_error_deg"] is None
    assert got.timing_scale["mark_uncertainty_deg"] == 3.0
    assert float((got.delivered["hi_deg"] - got.delivered["lo_deg"]).max()) < 1.0  # type: ignore[arg-type]
    assert any("piston stop" in q for q in got.questions)


def test_mark_checked_another_season_is_as_good_as_unchecked() -> None:
    assert mark_uncertainty(CHECKED, "2031-04-05") == 1.0
    assert mark_uncertainty(CHECKED, "2033-04-05-evening") == 3.0
    assert mark_uncertainty(replace(CHECKED, checked=None), "2031-04-05") == 1.0
    assert mark_uncertainty(ZeroMark(), "2031-04-05") == 3.0
    assert mark_error(replace(CHECKED, stop_after_tdc_deg=None)) is None


def test_a_log_nobody_checked_is_believed_but_widely() -> None:
    got = solve(logs(THREE, total_deg=None, initial_deg=None), engine=MAPPED)
    row = got.delivered.filter(setting="34", rpm=4000).to_dicts()[0]
    assert row["advance_deg"] == pytest.approx(34.0, abs=0.3)
    assert row["hi_deg"] - row["lo_deg"] > 4.0
    assert any("light" in q for q in got.questions)
    assert any("offset and delay" in m for m in got.not_established)


def test_a_misread_light_is_shown_and_not_used() -> None:
    readings = lights(THREE)
    readings[5] = readings[5] | {"advance_deg": 51.0}
    got = solve(logs(THREE), engine=LOCKED, strobe=readings)
    assert abs(got.delivered.filter(setting="31", rpm=4000)["advance_deg"][0] - 31.0) < 0.1
    bad = got.evidence.filter((got.evidence["source"] == "light") & ~got.evidence["used"])
    assert bad["advance_deg"].to_list() == [51.0]
    assert "misread" in bad["why_not"][0]


def test_a_third_of_the_readings_with_the_hose_on_does_not_drag_the_rest_along() -> None:
    readings = [r | {"advance_deg": r["advance_deg"] + (11.0 if i % 3 == 0 else 0.0)} for i, r in enumerate(lights(THREE))]
    got = solve(logs(THREE), engine=LOCKED, strobe=readings)
    assert abs(got.delivered.filter(setting="31", rpm=4000)["advance_deg"][0] - 31.0) < 0.1
    assert (~got.evidence.filter(pl.col("source") == "light")["used"]).sum() == 4
    assert any("stand well apart" in q and "vacuum" in q for q in got.questions)


def test_readings_in_two_groups_of_a_size_are_asked_about_and_kept() -> None:
    readings = [r | {"advance_deg": r["advance_deg"] + (11.0 if i % 2 == 0 else 0.0)} for i, r in enumerate(lights(THREE))]
    bare = [replace(sweep, sheet={}) for sweep in logs(THREE)]
    got = solve(bare, engine=LOCKED, strobe=readings)
    assert got.evidence.filter(pl.col("source") == "light")["used"].all()
    assert any("fall into groups well apart" in q for q in got.questions)


@pytest.mark.parametrize("wrong", [2, 3])
def test_the_sheet_judges_between_two_groups_of_readings(wrong: int) -> None:
    """Log and sheet agree with one of the groups; the other, half of the readings or two in three, is asked about and not used."""
    readings = [r | {"advance_deg": r["advance_deg"] + (11.0 if i % wrong != 1 else 0.0)} for i, r in enumerate(lights(THREE))]
    got = solve(logs(THREE), engine=LOCKED, strobe=readings)
    assert got.evidence.filter(pl.col("source") == "light")["used"].sum() == len(readings) // wrong
    assert abs(got.delivered.filter(setting="31", rpm=4000)["advance_deg"][0] - 31.0) < 0.1
    assert any("stand well apart from the others: vacuum hose on" in q for q in got.questions)


def test_log_and_sheet_outvote_a_light_on_the_wrong_mark() -> None:
    readings = [r | {"advance_deg": r["advance_deg"] + 18.0} for r in lights(THREE)]
    got = solve(logs(THREE), engine=LOCKED, strobe=readings)
    assert abs(got.delivered.filter(setting="31", rpm=4000)["advance_deg"][0] - 31.0) < 0.5
    assert not got.evidence.filter(pl.col("source") == "light")["used"].any()
    assert any("+18° off both" in q for q in got.questions)


def test_light_far_from_the_log_with_nobody_to_judge_is_asked_about() -> None:
    readings = [r | {"advance_deg": r["advance_deg"] - 9.0} for r in lights(THREE)]
    got = solve(logs(THREE, total_deg=None, initial_deg=None), engine=MAPPED, strobe=readings)
    assert any("9° apart" in q for q in got.questions)


def test_vacuum_readings_are_shown_and_not_used() -> None:
    readings = [r | {"vacuum": "on", "advance_deg": r["advance_deg"] + 12.0} for r in lights(THREE)]
    got = solve(logs(THREE), engine=LOCKED, strobe=readings)
    shown = got.evidence.filter(got.evidence["source"] == "light")
    assert len(shown) == 12
    assert not shown["used"].any()
    assert any("12 light readings with the vacuum advance on" in w for w in got.warnings)
    assert abs(got.delivered.filter(setting="34", rpm=4000)["advance_deg"][0] - 34.0) < 0.2


def test_half_scale_is_asked_and_never_doubled_silently() -> None:
    halves = [Sweep(s, lambda n, a=a: a / 2.0 + 0.0 * n) for s, a in THREE.items()]
    got = solve(halves, engine=LOCKED, strobe=lights(THREE))
    assert any("distributor" in q for q in got.questions)
    row = got.delivered.filter(setting="34", rpm=4000).to_dicts()[0]
    assert row["evidence"] == ["strobe"]
    assert row["advance_deg"] == pytest.approx(34.0, abs=0.6)
    assert not got.evidence.filter(got.evidence["source"] == "log")["used"].any()
    assert got.timing_scale["log_minus_true_deg"] is None


def test_half_scale_that_the_shop_declares_comes_doubled_and_is_not_doubled_again() -> None:
    engine = EngineFacts(ignition=Ignition(kind="locked", advance_scale="distributor"))
    got = solve(logs(THREE), engine=engine, strobe=lights(THREE))
    assert got.delivered.filter(setting="34", rpm=4000)["advance_deg"][0] == pytest.approx(34.0, abs=0.1)
    twice = [Sweep(s, lambda n, a=a: 2.0 * a + 0.0 * n) for s, a in THREE.items()]
    wrong = solve(twice, engine=engine, strobe=lights(THREE))
    assert any("as it stands in the log" in q for q in wrong.questions)


def test_a_light_at_half_scale_is_asked_about_and_set_aside() -> None:
    got = solve(logs(THREE), engine=LOCKED, strobe=[r | {"advance_deg": r["advance_deg"] / 2.0} for r in lights(THREE)])
    assert any("scale: distributor" in q for q in got.questions)
    assert not got.evidence.filter(got.evidence["source"] == "light")["used"].any()
    assert got.delivered.filter(setting="34", rpm=4000)["advance_deg"][0] == pytest.approx(34.0, abs=0.2)


def test_the_reported_advance_is_used_before_the_commanded() -> None:
    sweep = Sweep("34", lambda n: 34.0 + 0.0 * n, channels={"advance_commanded_deg": lambda n: 36.0 + 0.0 * n})
    got = solve([sweep], engine=MAPPED)
    assert got.delivered.filter(rpm=4000)["advance_deg"][0] == pytest.approx(34.0, abs=0.3)
    assert any("+2.0°" in q for q in got.questions)
    alone = solve([Sweep("34", channels={"advance_commanded_deg": lambda n: 36.0 + 0.0 * n})], engine=MAPPED)
    assert alone.delivered.filter(rpm=4000)["advance_deg"][0] == pytest.approx(36.0, abs=0.3)
    assert any("commanded advance only" in q for q in alone.questions)


def test_a_pull_that_ran_another_setting_keeps_its_own_log() -> None:
    four = [Sweep("34", lambda n, a=a: a + 0.0 * n) for a in (34.0, 34.1, 33.9, 30.0)]
    got = solve(four, engine=LOCKED)
    assert any("p4" in q for q in got.questions)
    at = got.pull_advance.filter(rpm=4000)
    assert at.filter(pull_id="p4")["advance_deg"][0] == pytest.approx(30.0, abs=0.3)
    assert at.filter(pull_id="p1")["advance_deg"][0] == pytest.approx(34.0, abs=0.3)


def test_modes_carry_the_scales_doubt_for_all_pulls_together() -> None:
    got = solve(logs(THREE, offset=-2.0, delay_us=80.0), engine=LOCKED, strobe=lights(THREE))
    assert got.modes.shape == (len(got.pull_advance), 2)
    sd = np.sqrt((got.modes**2).sum(axis=1))
    half = ((got.delivered["hi_deg"] - got.delivered["lo_deg"]) / 2.0).to_numpy().mean()
    assert 1.645 * sd.mean() == pytest.approx(half, rel=0.35)
    middle = got.pull_advance.with_row_index("at").filter(rpm=4000)["at"].to_list()
    assert np.ptp(got.modes[middle], axis=0) == pytest.approx(0.0, abs=1e-9)  # one shift, the same for every pull


def test_same_inputs_same_numbers() -> None:
    a, b = (solve(logs(THREE), engine=LOCKED, strobe=lights(THREE)) for _ in range(2))
    assert a.delivered.equals(b.delivered)
    assert (a.modes == b.modes).all()
