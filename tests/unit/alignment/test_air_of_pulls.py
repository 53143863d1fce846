"""Each pull's air and factor: once, pull by pull, never twice, and asked about where it cannot be right."""

from dataclasses import replace

import pytest
from tests.unit.alignment.made import Sweep, day, hump

from pullbook.air import factor, saturation_kpa
from pullbook.alignment.correction import correct_day
from pullbook.facts import Air, DayFacts, EngineFacts
from pullbook.stages.align import align_day

DRY = DayFacts(air=Air(pressure_kpa=99.0, temperature_c=25.0, vapour_pressure_kpa=0.0))


def test_reference_air_needs_no_correction() -> None:
    aligned = align_day(day([Sweep("34")], facts=DRY))
    assert aligned.pulls["air_factor"].to_list() == pytest.approx([1.0])
    assert aligned.correction == {
        "standard": "SAE J1349", "factor_min": pytest.approx(1.0), "factor_max": pytest.approx(1.0), "inside_window": True,
        "already_corrected": False,
    }  # fmt: skip


def test_factor_multiplies_torque_once() -> None:
    facts = replace(DRY, air=Air(pressure_kpa=90.0, temperature_c=25.0, vapour_pressure_kpa=0.0))
    aligned = align_day(day([Sweep("34")], facts=facts))
    at_4000 = aligned.rows.filter(rpm=4000)["torque_nm"][0]
    assert at_4000 == pytest.approx(1.118 * 300.0, abs=0.02)
    assert aligned.correction["inside_window"] is False
    assert any("0.93 to 1.07" in w for w in aligned.warnings)


def test_own_temperature_keeps_the_days_vapour_pressure() -> None:
    facts = DayFacts(air=Air(pressure_kpa=100.0, temperature_c=20.0, humidity_pct=50.0))
    reading = day([Sweep("34"), Sweep("34", sheet={"temperature_c": 30.0})], facts=facts)
    vapour = 0.5 * saturation_kpa(20.0)
    got = list(correct_day(reading).factor.values())
    assert got == pytest.approx([factor("SAE J1349", 100.0, 20.0, vapour), factor("SAE J1349", 100.0, 30.0, vapour)], rel=1e-12)


def test_own_humidity_is_taken_at_own_temperature() -> None:
    facts = DayFacts(air=Air(pressure_kpa=100.0, temperature_c=20.0, humidity_pct=50.0))
    reading = day([Sweep("34", sheet={"temperature_c": 30.0, "humidity_pct": 40.0})], facts=facts)
    expected = factor("SAE J1349", 100.0, 30.0, 0.4 * saturation_kpa(30.0))
    assert correct_day(reading).factor["p1"] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("air", [Air(temperature_c=20.0, humidity_pct=50.0), Air(pressure_kpa=99.0, humidity_pct=50.0), Air()])
def test_no_pressure_or_no_temperature_is_no_factor_and_a_question(air: Air) -> None:
    aligned = align_day(day([Sweep("34")], facts=DayFacts(air=air)))
    assert aligned.pulls["air_factor"].to_list() == [None]
    assert aligned.correction["factor_min"] is None
    assert aligned.correction["inside_window"] is None
    assert any("day.yaml" in q for q in aligned.questions)
    assert aligned.rows.filter(rpm=4000)["torque_nm"][0] == pytest.approx(300.0, abs=0.02)


def test_no_humidity_takes_the_reference_vapour_and_asks() -> None:
    got = correct_day(day([Sweep("34")], facts=DayFacts(air=Air(pressure_kpa=100.0, temperature_c=25.0))))
    assert got.factor["p1"] == pytest.approx(1.0, abs=1e-12)  # 100 kPa less 1 kPa of vapour
    assert any("humidity" in q for q in got.remarks.questions)


def test_air_noted_now_and_then_is_filled_between() -> None:
    sheet = [
        {"pressure_kpa": 100.0, "temperature_c": 20.0, "humidity_pct": 0.0},
        {},
        {"pressure_kpa": 98.0, "temperature_c": 22.0, "humidity_pct": 0.0},
    ]
    got = correct_day(day([Sweep("34", sheet=s) for s in sheet]))
    assert got.factor["p2"] == pytest.approx(factor("SAE J1349", 99.0, 21.0, 0.0), rel=1e-12)
    assert any("between" in w for w in got.remarks.warnings)


@pytest.mark.parametrize(("claim", "already"), [("SAE J607", "SAE J607"), ("unknown", "unknown")])
def test_corrected_logs_are_never_corrected_again(claim: str, already: str) -> None:
    aligned = align_day(day([Sweep("34", sheet={"corrected": claim}), Sweep("30", sheet={"corrected": claim})], facts=DRY))
    assert aligned.correction["already_corrected"] == already
    assert aligned.pulls["air_factor"].to_list() == [None, None]
    assert aligned.rows.filter(rpm=4000)["torque_nm"].to_list() == pytest.approx([300.0, 300.0], abs=0.02)


def test_the_days_word_that_logs_are_corrected_holds_for_all() -> None:
    got = correct_day(day([Sweep("34")], facts=replace(DRY, logs_already_corrected="SAE J1349")))
    assert got.factor == {"p1": None}
    assert got.correction["already_corrected"] == "SAE J1349"


def test_corrected_among_uncorrected_is_left_out_of_estimates() -> None:
    sweeps = [Sweep("34"), Sweep("34"), Sweep("30", sheet={"corrected": "SAE J607"})]
    aligned = align_day(day(sweeps, facts=DRY))
    assert aligned.pulls["status"].to_list() == ["used", "used", "left_out"]
    assert "SAE J607" in aligned.pulls["reasons"][2][-1]


def test_a_barometer_reduced_to_sea_level_is_asked_about() -> None:
    facts = DayFacts(air=Air(pressure_kpa=101.3, temperature_c=20.0, humidity_pct=50.0))
    high, low = EngineFacts(altitude_m=600.0), EngineFacts(altitude_m=20.0)
    questions = correct_day(day([Sweep("34")], facts=facts, engine=high)).remarks.questions
    assert any("sea level" in q and "94.3 kPa" in q for q in questions)
    assert not any("sea level" in q for q in correct_day(day([Sweep("34")], facts=facts, engine=low)).remarks.questions)


@pytest.mark.parametrize(
    "air",
    [Air(pressure_kpa=1013.0, temperature_c=20.0, humidity_pct=50.0), Air(pressure_kpa=99.0, temperature_c=75.0, humidity_pct=5.0)],
)
def test_air_that_no_cell_has_is_refused(air: Air) -> None:
    got = correct_day(day([Sweep("34")], facts=DayFacts(air=air)))
    assert got.factor == {"p1": None}
    assert any("cannot be right" in q for q in got.remarks.questions)


def test_din_has_no_window_and_none_means_none() -> None:
    din = correct_day(day([Sweep("34")], facts=replace(DRY, correction="DIN 70020")))
    assert din.correction["inside_window"] is None
    assert din.factor["p1"] == pytest.approx(factor("DIN 70020", 99.0, 25.0, 0.0))
    none = align_day(day([Sweep("34")], facts=replace(DRY, correction="none")))
    assert none.correction["factor_max"] is None
    assert none.rows.filter(rpm=4000)["torque_nm"][0] == pytest.approx(float(hump(4000.0)), abs=0.02)  # type: ignore[arg-type]


def test_logs_corrected_by_nobody_knows_what_are_asked_about() -> None:
    got = align_day(day([Sweep("a")], facts=DayFacts(logs_already_corrected="unknown")))
    assert got.correction["already_corrected"] == "unknown"
    assert any("by a standard nobody named" in q for q in got.questions)
