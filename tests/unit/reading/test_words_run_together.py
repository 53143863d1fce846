"""Headings in words that no table has as they stand: run together, cut short, misspelt, with letters lost, in odd brackets."""

from pathlib import Path

import pytest
from tests.unit.reading.made_pull import HEAD, about, channels, read, rows

from pullbook.vocabulary.heading_words import respelled
from pullbook.vocabulary.naming import understand

RUN_TOGETHER = {
    "torque_wheel_nm": "CoupleÀLaRoue_Nm|Coppiaruota (Nm)|ParEnRueda [Nm]|A1.TqWheel (daNm)|Radrehmoment [Nm]|Tractive torque Nm",
    "torque_corrected_nm": "Drehmomentkorr {Nm}|MKorr [lb-ft]|SAE_TQ|Normdrehmoment|Couple normalisé [mkg]|Par normalizado",
    "torque_nm": "Momentotorcente [Nm]|Schwungradmoment [Nm]|M in Nm|Nutzmoment|C. motore",
    "rpm": "Drehzahl KW|KW-Drehzahl",
    "time_s": "Zeitachse|Time from start [s]",
    "throttle_pct": "THRPOS - pct|Pap. %|DROKLA",
    "power_wheel_kw": "WhlHP|RW HP|Leistung an den Rädern kW|PRad [pk]|Potruota (CV)|Potenciarueda* [kW]",
    "roller_rpm": "nRolle [1/min]|RollerN [rpm]|Girirullo|Ch3: ROLLENDREHZAHL (1/MN)|Prüfstandsrolle [1/min]",
    "coolant_c": "Teau [°C]|TAgua (F)|T°eau_°F|03_T°eau_ºF|T_KW °C",
    "oil_c": "TOlio °C|Thuile K|OilT_degF|Motor?ltemperatur [°C]|Motor\ufffdltemperatur",
    "map_kpa": "PRES_ADM|Plenum pressure kPa|MAP [bara]|SRDruck [mbar]|Manpress (kPa)|Presi?n admisi?n [psi]",
    "baro_kpa": "Patm [kPa]|PAmb kPa|Luftdr. hPa|Presi\ufffdn atmosf\ufffdrica [kPa(a)]",
    "lambda": "Luft/Kraftstoff|AIR/CARBURANT [kg/kg]|Aire-combustible|Rapporto A/C|Excess air",
    "advance_distributor_deg": "Gradi distributore|Verteilergrad|DegrésAllumeur [°]|Vorzündung [Verteilergrad]",
    "advance_commanded_deg": "Avancecomandado [°CA]|Anticipoobiettivo °",
}
NO_CHANNEL = (
    "Injadvance in °|Consignelambda|AFRobiettivo|Correccionlambda|Potenciadepérdidas [kW]|P?rdidas, kW|"
    "Inejction timing °|PVERL kW|Boost target [bara]|LADEDRUCK SOLL [bar abs]|Manifold pressure setpoint [kPa]|"
    "Rear axle oil C|OilPr|Retr_cliq|Fric. power kW|Point de rosée|Riduzione anticipo [°]|Avance AAC °|"
    "Angle AAC admission °|Anticipo camma °|Temp. eau frein °C|"
    "Wheelspeed|Velocidad rueda|Knock correction [°]|Lambda corr.|Temps de charge bobine °"
)


@pytest.mark.parametrize("channel", RUN_TOGETHER)
def test_run_together_cut_or_misspelt(channel: str) -> None:
    read = {heading: understand(heading).quantity for heading in RUN_TOGETHER[channel].split("|")}
    assert {heading: found for heading, found in read.items() if found != channel} == {}


def test_what_is_no_channel_stays_none_however_it_is_written() -> None:
    read = {heading: understand(heading).quantity for heading in NO_CHANNEL.split("|")}
    assert {heading: found for heading, found in read.items() if found} == {}


@pytest.mark.parametrize("word", ["start", "carb.", "proiezione", "sensor", "coppa", "mixture", "average", "knock"])
def test_a_word_of_its_own_is_left_alone(word: str) -> None:
    assert respelled(word) == (word, ())


@pytest.mark.parametrize(
    ("heading", "unit", "factor"),
    [
        ("Torque［kgf·m］", "kgf·m", 9.80665), ("Couple 'daN.m'", "N·m", 10.0), ("Couple Observé.daNm", "N·m", 10.0),
        ("Baro ((kPa(a)))", "kPa", 1.0), ("Ch 1 Power [kW]", "kW", 1.0), ("Eau Â°K", "K", 1.0),
    ],
)  # fmt: skip
def test_units_in_odd_brackets(heading: str, unit: str, factor: float) -> None:
    read = understand(heading).unit
    assert read is not None
    assert (read.name, read.factor) == (unit, factor)


def test_the_number_of_an_input_is_no_unit() -> None:
    assert understand("Ch 1 Leistung").unit is None


def test_a_slip_of_the_pen_is_said(tmp_path: Path) -> None:
    log = read(tmp_path, "\n".join([HEAD + ",Coollant temp [°C]", *(f"{row},81" for row in rows())]))
    assert channels(log)["Coollant temp [°C]"] == "coolant_c"
    assert about(log, "'coollant' as 'coolant'")


def test_of_two_advances_the_crank_s_is_used(tmp_path: Path) -> None:
    """A correction, or a word nobody knows, comes after a heading that names the crank's degrees."""
    for other in ("Ign corr °", "Anticipo zeta °", "ESB °KW"):
        log = read(tmp_path, "\n".join([HEAD + f",{other}", *(f"{row},310.5" for row in rows())]))
        assert channels(log)["Advance [°BTDC]"] == "advance_deg"


def test_names_that_go_on_in_a_second_line(tmp_path: Path) -> None:
    """What the second line says may make a column one of no channel; it is read beside the units too."""
    body = [f"{row},0.88,700.5" for row in rows()]
    over = "Time,Engine,Brake,Ignition,Lambda,T"
    for under in (
        ",speed,torque,advance,target,exhaust\ns,rpm,Nm,°BTDC,-,°C",
        "s,speed rpm,torque Nm,advance °BTDC,target,exhaust °C",
    ):
        found = [c.channel for c in read(tmp_path, "\n".join([over, under, *body])).columns]
        assert found == ["time_s", "rpm", "torque_nm", "advance_deg", None, "exhaust_c"]


def test_a_pressure_no_shop_has_is_millimetres_of_mercury(tmp_path: Path) -> None:
    for level, kept in (("737", 98.26), ("850", 85.0)):
        log = read(tmp_path, "\n".join([HEAD + ",Baro", *(f"{row},{level}" for row in rows())]))
        assert log.samples["baro_kpa"][0] == pytest.approx(kept, abs=0.01)
        assert about(log, "nothing says the unit of 'Baro'")
