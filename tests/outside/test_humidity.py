"""Humid air and station pressure (reference rows H1 to H7). Rows that need an optional library are skipped by number without it."""

import pytest

from pullbook.air import atmosphere_kpa, factor, saturation_kpa, station_kpa, vapour_pressure_kpa
from pullbook.facts import Air

#: Row H2: IAPWS-95 (R6-95), Pa, through CoolProp 8.0.0.
IAPWS = {0.01: 611.655, 10: 1228.199, 15: 1705.793, 20: 2339.318, 25: 3169.929, 30: 4246.971, 35: 5629.016, 40: 7384.938,
         50: 12351.946}  # fmt: skip


@pytest.mark.parametrize(
    ("celsius", "pascal"),
    [(-20.0, 103.24), (-5.0, 401.74), (5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3), (100.0, 101418.0)],
)
def test_h1_saturation_table(celsius: float, pascal: float) -> None:
    """Row H1: ASHRAE Handbook Fundamentals 2017, chapter 1, table 3; its formula is good to 300 ppm."""
    assert 1000.0 * saturation_kpa(celsius) == pytest.approx(pascal, rel=3e-4)


@pytest.mark.parametrize(("celsius", "pascal"), IAPWS.items())
def test_h2_h3_steam_formulation(celsius: float, pascal: float) -> None:
    """Rows H2 and H3: the formula's error against IAPWS-95 stays under its stated 0.03 %."""
    assert 1000.0 * saturation_kpa(celsius) == pytest.approx(pascal, rel=3e-4)


def test_h2_against_coolprop() -> None:
    """Row H2 again, against the library itself."""
    coolprop = pytest.importorskip("CoolProp.CoolProp", reason="row H2 needs CoolProp")
    for celsius in range(1, 51, 7):
        library = coolprop.PropsSI("P", "T", celsius + 273.15, "Q", 0, "Water")
        assert 1000.0 * saturation_kpa(celsius) == pytest.approx(library, rel=3e-4)


@pytest.mark.parametrize(("celsius", "humidity", "pascal"), [(25.0, 50.0, 1584.6), (30.0, 85.0, 3609.1), (35.0, 90.0, 5065.0)])
def test_h4_vapour_pressure(celsius: float, humidity: float, pascal: float) -> None:
    """Row H4: ideal vapour pressure from relative humidity, 0.1 Pa against a library with the same formula (PsychroLib 2.5.0)."""
    got = vapour_pressure_kpa(Air(temperature_c=celsius, humidity_pct=humidity))
    assert got is not None
    assert 1000.0 * got == pytest.approx(pascal, abs=0.1)


def test_h4_enhancement_left_out_is_small() -> None:
    """Row H4: real moist air carries 0.45 % more vapour (CoolProp's humid air): at most 0.5 % of ours, and 3e-4 of a factor."""
    coolprop = pytest.importorskip("CoolProp.CoolProp", reason="row H4 needs CoolProp")
    for celsius, humidity, kpa, real in ((25.0, 50.0, 99.0, 1591.6), (30.0, 85.0, 97.7, 3625.3), (35.0, 90.0, 101.325, 5089.1)):
        library = coolprop.HAPropsSI("P_w", "T", celsius + 273.15, "P", 1000.0 * kpa, "R", humidity / 100.0)
        assert library == pytest.approx(real, abs=0.1)
        got = vapour_pressure_kpa(Air(temperature_c=celsius, humidity_pct=humidity))
        assert got is not None
        assert 0.0 < real / (1000.0 * got) - 1.0 < 0.005
        for standard in ("SAE J1349", "SAE J607", "ISO 1585"):
            assert abs(factor(standard, kpa, celsius, real / 1000.0) - factor(standard, kpa, celsius, got)) < 3.5e-4


def test_h5_dew_point() -> None:
    """Row H5: 25 °C, 50 % has its dew point at 13.864 °C (PsychroLib), 13.867 °C (CoolProp): 0.02 °C."""
    half = vapour_pressure_kpa(Air(temperature_c=25.0, humidity_pct=50.0))
    assert half is not None
    psychro = pytest.importorskip("psychrolib", reason="row H5 needs PsychroLib")
    psychro.SetUnitSystem(psychro.SI)
    dew = psychro.GetTDewPointFromRelHum(25.0, 0.5)
    assert dew == pytest.approx(13.864, abs=5e-4)
    by_dew = [vapour_pressure_kpa(Air(dew_point_c=dew + d)) or 0.0 for d in (-0.02, 0.02)]
    assert by_dew[0] < half < by_dew[1]


@pytest.mark.parametrize(
    ("metres", "pascal"),
    [(0, 101325.00), (300, 97772.57), (500, 95460.84), (600, 94321.68), (1000, 89874.56), (1500, 84555.99), (1650, 83011.13),
     (2000, 79495.20), (3000, 70108.53), (5000, 54019.89), (11_000, 22632.04), (-500, 107477.5)],
)  # fmt: skip
def test_h6_standard_atmosphere(metres: float, pascal: float) -> None:
    """Row H6: ICAO Doc 7488 (1993), geopotential height."""
    assert 1000.0 * atmosphere_kpa(metres) == pytest.approx(pascal, abs=0.1)


@pytest.mark.parametrize(("metres", "pascal"), [(-500, 107478), (500, 95461), (1000, 89875), (4000, 61640), (10_000, 26436)])
def test_h6b_standard_atmosphere_of_a_handbook(metres: float, pascal: float) -> None:
    """Row H6b: ASHRAE Handbook Fundamentals 2017, chapter 1, table 1, to 1 Pa."""
    assert 1000.0 * atmosphere_kpa(metres) == pytest.approx(pascal, abs=1.0)


def geometric(metres: float) -> float:
    """Geometric height of a geopotential one, m (the earth's radius of ICAO Doc 7488: 6 356 766 m)."""
    return metres * 6356766.0 / (6356766.0 - metres)


def test_h6_against_fluids() -> None:
    """Row H6 again, against the atmosphere of 1976 in another library, 2 Pa: its constants are rounded otherwise."""
    fluids = pytest.importorskip("fluids.atmosphere", reason="row H6 needs fluids")
    for metres in (0.0, 250.0, 900.0, 2400.0):
        assert 1000.0 * atmosphere_kpa(metres) == pytest.approx(fluids.ATMOSPHERE_1976(geometric(metres)).P, abs=2.0)


def test_h6_against_ambiance() -> None:
    """Row H6 again, against a library of ICAO's own constants, 0.1 Pa; 1000 m of geometric height are 89 876.28 Pa."""
    ambiance = pytest.importorskip("ambiance", reason="row H6 needs ambiance")
    for metres in (-500.0, 300.0, 1650.0, 5000.0, 11_000.0):
        assert 1000.0 * atmosphere_kpa(metres) == pytest.approx(float(ambiance.Atmosphere(geometric(metres)).pressure[0]), abs=0.1)
    assert float(ambiance.Atmosphere(1000.0).pressure[0]) == pytest.approx(89_876.28, abs=5e-3)
    # constants of the row: T = 288.15 − 0.0065·H, exponent g/(R·lapse) = 5.2558797
    exponent = 9.80665 / (287.05287 * 0.0065)
    assert exponent == pytest.approx(5.2558797, abs=2e-7), "the list's R has two digits more"
    for metres in (600.0, 3000.0):
        pascal = 101_325.0 * ((288.15 - 0.0065 * metres) / 288.15) ** exponent
        assert pascal == pytest.approx(1000.0 * atmosphere_kpa(metres), abs=1e-6)


def test_h7_station_from_sea_level() -> None:
    """Row H7: 943.216804 hPa at 600 m is reported as 1013.25 hPa with the ICAO profile; with real temperatures ±1 hPa."""
    assert 10.0 * station_kpa(101.325, 600.0) == pytest.approx(943.216804, abs=1e-2)


def test_h7_as_weather_services_reduce() -> None:
    """Row H7: 101 226.5 Pa at 105 m, 17.19 °C are reported as 102 484.0 Pa (PsychroLib, 1 Pa): by ICAO's profile, back to 1 hPa."""
    psychro = pytest.importorskip("psychrolib", reason="row H7 needs PsychroLib")
    psychro.SetUnitSystem(psychro.SI)
    reported = psychro.GetSeaLevelPressure(101_226.5, 105.0, 17.19)
    assert reported == pytest.approx(102_484.0, abs=1.0)
    assert 10.0 * station_kpa(reported / 1000.0, 105.0) == pytest.approx(1012.265, abs=1.0)
