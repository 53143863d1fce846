"""The reference libraries themselves, and formulas that were not taken (reference rows H2b, H3, H4 and H5 against libraries)."""

from math import exp

import pytest

from pullbook.air import saturation_kpa, vapour_pressure_kpa
from pullbook.facts import Air


def test_h2b_the_library_is_right() -> None:
    """Row H2b: IAPWS-IF97, region 4 (R7-97(2012), tables 35 and 36, from memory; two libraries print the same digits), 1e-8."""
    coolprop = pytest.importorskip("CoolProp.CoolProp", reason="row H2b needs CoolProp")
    for kelvin, megapascal in ((300.0, 0.353658941e-2), (500.0, 0.263889776e1), (600.0, 0.123443146e2)):
        assert coolprop.PropsSI("P", "T", kelvin, "Q", 0, "IF97::Water") / 1e6 == pytest.approx(megapascal, rel=1e-8)
    for megapascal, kelvin in ((0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)):
        assert coolprop.PropsSI("T", "P", megapascal * 1e6, "Q", 0, "IF97::Water") == pytest.approx(kelvin, rel=1e-8)


#: Formulas in hPa and their errors against IAPWS-95 at 10, 20, 30, 40 °C, %. Attributions from memory.
FORMULAS = {
    "WMO-No. 8 Magnus form": (lambda t: 6.112 * exp(17.62 * t / (243.12 + t)), (-0.177, -0.287, -0.312, -0.237)),
    "Bolton 1980": (lambda t: 6.112 * exp(17.67 * t / (243.5 + t)), (-0.084, -0.101, -0.033, 0.135)),
    "Buck 1996": (
        lambda t: 6.1121 * exp((18.678 - t / 234.5) * t / (257.14 + t)),
        (-0.028, -0.042, -0.043, -0.035),
    ),
    "Tetens": (lambda t: 6.1078 * exp(17.27 * t / (t + 237.3)), (-0.023, -0.048, -0.095, -0.130)),
}


@pytest.mark.parametrize("name", FORMULAS)
def test_h3_errors_of_shorter_formulas(name: str) -> None:
    """Row H3: 0.005 percentage points. Ours, the handbook's, is nearer than any of them at every one of these temperatures."""
    coolprop = pytest.importorskip("CoolProp.CoolProp", reason="row H3 needs CoolProp")
    steam = {celsius: coolprop.PropsSI("P", "T", celsius + 273.15, "Q", 0, "Water") for celsius in (10, 20, 30, 40)}  # Pa
    formula, errors = FORMULAS[name]
    for (celsius, pascal), error in zip(steam.items(), errors, strict=True):
        off = 100.0 * (100.0 * formula(float(celsius)) / pascal - 1.0)
        assert off == pytest.approx(error, abs=0.005)
        assert abs(100.0 * (1000.0 * saturation_kpa(celsius) / pascal - 1.0)) < max(abs(off), 0.03)


def test_h1_h4_against_a_psychrometric_library() -> None:
    """Rows H1 and H4: the same formula in PsychroLib, 0.1 Pa (its water and ice meet at the triple point, ours at 0 °C)."""
    psychro = pytest.importorskip("psychrolib", reason="rows H1, H4 need PsychroLib")
    psychro.SetUnitSystem(psychro.SI)
    for celsius in (-15.0, -5.0, 1.0, 12.5, 25.0, 35.0, 48.0):
        assert 1000.0 * saturation_kpa(celsius) == pytest.approx(psychro.GetSatVapPres(celsius), abs=0.1)
        ours = vapour_pressure_kpa(Air(temperature_c=celsius, humidity_pct=61.0))
        assert ours is not None
        assert 1000.0 * ours == pytest.approx(psychro.GetVapPresFromRelHum(celsius, 0.61), abs=0.1)


def test_h4_h5_against_real_moist_air() -> None:
    """Rows H4 and H5: CoolProp's humid air has the enhancement we leave out: vapour 0.5 % at most, 9.926 g/kg against our 9.88.

    9.926 (CoolProp) and 9.881 g/kg (PsychroLib) at 25 °C, 50 %, 101.325 kPa; ideal gas: w = 0.621945·pv/(p − pv). Tolerance 0.5 %.
    """
    coolprop = pytest.importorskip("CoolProp.CoolProp", reason="rows H4, H5 need CoolProp")
    ours = vapour_pressure_kpa(Air(temperature_c=25.0, humidity_pct=50.0))
    assert ours is not None
    real = coolprop.HAPropsSI("P_w", "T", 298.15, "P", 101_325.0, "R", 0.5)
    assert 0.0 < real / (1000.0 * ours) - 1.0 < 0.005
    grams = 621.945 * ours / (101.325 - ours)
    assert grams == pytest.approx(9.881, abs=0.001)
    assert 7.0 * grams == pytest.approx(69.17, abs=0.005), "7000 grains to the pound"
    psychro = pytest.importorskip("psychrolib", reason="row H5 needs PsychroLib")
    psychro.SetUnitSystem(psychro.SI)
    assert grams == pytest.approx(1000.0 * psychro.GetHumRatioFromRelHum(25.0, 0.5, 101_325.0), abs=0.002)
    assert grams == pytest.approx(1000.0 * coolprop.HAPropsSI("W", "T", 298.15, "P", 101_325.0, "R", 0.5), rel=5e-3)
    dew = coolprop.HAPropsSI("D", "T", 298.15, "P", 101_325.0, "R", 0.5) - 273.15
    assert dew == pytest.approx(13.867, abs=0.001)
    by_dew = [vapour_pressure_kpa(Air(dew_point_c=dew + d)) or 0.0 for d in (-0.02, 0.02)]
    assert by_dew[0] < ours < by_dew[1]


def test_h5_wet_bulb_is_no_input() -> None:
    """Row H5: a wet bulb of 17.889 °C (PsychroLib; CoolProp 17.883) goes with 25 °C, 50 %; the day's file takes no wet bulb.

    What the shop reads off a whirling thermometer becomes relative humidity by the library, and that is what is written down.
    """
    psychro = pytest.importorskip("psychrolib", reason="row H5 needs PsychroLib")
    psychro.SetUnitSystem(psychro.SI)
    assert psychro.GetTWetBulbFromRelHum(25.0, 0.5, 101_325.0) == pytest.approx(17.889, abs=1e-3)
    coolprop = pytest.importorskip("CoolProp.CoolProp", reason="row H5 needs CoolProp")
    assert coolprop.HAPropsSI("B", "T", 298.15, "P", 101_325.0, "R", 0.5) - 273.15 == pytest.approx(17.883, abs=1e-3)
    humidity = 100.0 * psychro.GetRelHumFromTWetBulb(25.0, 17.889, 101_325.0)
    ours = vapour_pressure_kpa(Air(temperature_c=25.0, humidity_pct=humidity))
    assert ours is not None
    assert 1000.0 * ours == pytest.approx(1584.6, rel=1e-3)
