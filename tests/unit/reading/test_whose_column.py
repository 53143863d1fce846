"""What a column is, in which unit and of what: told by its heading, by power, by what an engine can do, else asked."""

from pathlib import Path

import numpy as np
import yaml
from tests.unit.reading.made_pull import HEAD, about, four, log, pull, read, rows


def test_two_torques_told_apart(tmp_path: Path) -> None:
    p = pull()
    text = "t s,rpm,Torque Nm,Torque corrected Nm,Wheel torque Nm\n" + "".join(
        f"{t:.1f},{n:.0f},{m:.1f},{1.031 * m:.1f},{0.87 * m:.1f}\n"
        for t, n, m in zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)
    )
    r = read(tmp_path, text)
    assert {c.channel: c.corrected for c in r.columns if c.channel} == {
        "time_s": False, "rpm": False, "torque_nm": False, "torque_corrected_nm": "unknown", "torque_wheel_nm": False,
    }  # fmt: skip


def test_power_corrected_and_torque_not(tmp_path: Path) -> None:
    """The ratio is the correction factor, and it is said."""
    p = pull()
    text = "t s,rpm,Torque Nm,Power SAE J1349 kW\n" + "".join(
        f"{t:.1f},{n:.0f},{m:.2f},{w * 1.034:.2f}\n"
        for t, n, m, w in zip(p["time_s"], p["rpm"], p["torque_nm"], p["power_kw"], strict=True)
    )
    r = read(tmp_path, text)
    assert next(c.corrected for c in r.columns if c.channel == "torque_nm") is False
    assert next(c.corrected for c in r.columns if (c.channel or "").startswith("power")) == "SAE J1349"
    assert about(r, "0.967") or about(r, "1.034")


def test_header_unit_overruled_by_power(tmp_path: Path) -> None:
    p = pull()
    text = "t s,rpm,Torque Nm,Power kW\n" + "".join(
        f"{t:.1f},{n:.0f},{m / 1.3558179:.2f},{w:.2f}\n"
        for t, n, m, w in zip(p["time_s"], p["rpm"], p["torque_nm"], p["power_kw"], strict=True)
    )
    r = read(tmp_path, text)
    found = next(c for c in r.columns if c.channel == "torque_nm")
    assert (found.unit, found.unit_from) == ("lbf·ft", "proved")
    np.testing.assert_allclose(r.samples["torque_nm"].to_numpy(), p["torque_nm"], atol=0.01)
    assert about(r, "says N·m, but")


def test_close_constants_are_asked_about(tmp_path: Path) -> None:
    """7023.5 (metric hp, N·m) and 7043.2 (kW, lbf·ft) with three digits and no units."""
    rpm = np.arange(2500, 5000, 100)
    torque = np.full(len(rpm), 90.0) + np.arange(len(rpm)) % 3
    power = torque * rpm / 7033.0
    text = "t,rpm,torque,power\n" + "".join(
        f"{k * 0.2:.1f},{n},{m:.0f},{p:.0f}\n" for k, (n, m, p) in enumerate(zip(rpm, torque, power, strict=True))
    )
    r = read(tmp_path, text)
    assert about(r, "both fit")
    assert about(r, "in columns.yaml")


def test_torque_from_power_alone(tmp_path: Path) -> None:
    p = pull()
    text = "t s,rpm,Power kW\n" + "".join(
        f"{t:.1f},{n:.0f},{w:.2f}\n" for t, n, w in zip(p["time_s"], p["rpm"], p["power_kw"], strict=True)
    )
    r = read(tmp_path, text)
    np.testing.assert_allclose(r.samples["torque_nm"].to_numpy(), p["torque_nm"], atol=0.03)
    assert about(r, "computed from 'Power kW'")


def test_negative_advance_without_a_word_is_asked(tmp_path: Path) -> None:
    p = pull()
    text = "t s,rpm,Torque Nm,Timing deg\n" + "".join(
        f"{t:.1f},{n:.0f},{m:.1f},{-a:.1f}\n" for t, n, m, _, a in zip(*p.values(), strict=True)
    )
    r = read(tmp_path, text)
    np.testing.assert_allclose(r.samples["advance_deg"].to_numpy(), p["advance_deg"].round(1), atol=1e-9)
    assert about(r, "sign: -1")


def test_hints_win(tmp_path: Path) -> None:
    p = pull()
    text = "a,b,c,d\n" + "".join(
        f"{t:.1f},{n:.0f},{m / 9.80665:.3f},{-a / 2:.2f}\n" for t, n, m, _, a in zip(*p.values(), strict=True)
    )
    hints = {
        "a": {"channel": "time_s", "unit": "s"}, "b": {"channel": "rpm", "unit": "rpm"},
        "c": {"channel": "torque_nm", "unit": "kgf·m"},
        "d": {"channel": "advance_deg", "sign": -1, "scale": 2}, "no such": {"channel": "rpm"},
    }  # fmt: skip
    r = read(tmp_path, text, hints=hints)
    assert r.error is None
    np.testing.assert_allclose(r.samples["torque_nm"].to_numpy(), p["torque_nm"], atol=0.01)
    np.testing.assert_allclose(r.samples["advance_deg"].to_numpy(), p["advance_deg"], atol=0.02)
    assert {c.unit_from for c in r.columns} <= {"columns_yaml", "assumed"}
    assert about(r, "'no such'")


def test_standardised_values_are_refused(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    text = "speed_std,load_std,ignition_angle_std\n" + "".join(
        f"{a:.5f},{b:.5f},{c:.5f}\n" for a, b, c in rng.normal(0, 1, (300, 3))
    )
    r = read(tmp_path, text)
    assert r.error is not None
    assert "no physical units" in r.error.found


def test_absurd_values_are_said(tmp_path: Path) -> None:
    text = "t s,rpm,Torque Nm\n" + "".join(f"{k * 0.1:.1f},{2000 + 300 * k},{100 + 200 * k}\n" for k in range(100))
    r = read(tmp_path, text)
    assert about(r, "outside what engines do (rpm")
    assert about(r, "outside what engines do (torque_nm")


def test_a_stretch_that_reads_double_against_the_roller(tmp_path: Path) -> None:
    p = pull()
    text = "t s,rpm,Roller rpm,Nm\n" + "".join(
        f"{t:.1f},{2 * n if 40 <= k < 55 else n:.0f},{n / 2.9:.1f},{m:.1f}\n"
        for k, (t, n, m) in enumerate(zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    assert r.samples["rpm"].is_null().arg_true().to_list() == list(range(40, 55))
    assert about(r, "reads twice or half on 15 rows from line 42")


def test_operator_may_keep_a_doubled_tach(tmp_path: Path) -> None:
    p = pull()
    text = "t s,rpm,Nm,kW\n" + "".join(f"{t:.1f},{2 * n:.0f},{m:.1f},{w:.1f}\n" for t, n, m, w, _ in zip(*p.values(), strict=True))
    assert read(tmp_path, text).unusable is not None
    assert read(tmp_path, text, hints={"rpm": {"channel": "rpm", "scale": 1}}).unusable is None


def test_a_drums_speed_is_no_engines(tmp_path: Path) -> None:
    r = read(tmp_path, log(rows(), HEAD.replace("Engine speed", "Roller speed")))
    assert r.error is not None
    assert (r.error.column, r.error.expected) == ("Roller speed [rpm]", "a column of engine speed")
    assert "channel: rpm, scale: 1" in r.error.remedy
    said = {"Roller speed [rpm]": {"channel": "rpm", "scale": 1}}
    assert read(tmp_path, log(rows(), HEAD.replace("Engine speed", "Roller speed")), hints=said).error is None
    brake = read(tmp_path, log(rows(), HEAD.replace("Engine speed", "Dyno speed")))
    assert brake.error is None
    assert about(brake, "taken as engine speed")


def test_fuel_over_air_is_turned_over(tmp_path: Path) -> None:
    r = read(tmp_path, four("Temps [s];Régime [tr/min];Couple [Nm];Richesse", lambda n, m: f"{1.1 + n / 1e5:.3f}"))
    np.testing.assert_allclose(r.samples["lambda"].to_numpy(), 1 / (1.1 + pull()["rpm"] / 1e5), atol=1e-3)
    assert about(r, "one over it")


def test_one_quantity_in_two_units_is_no_question(tmp_path: Path) -> None:
    r = read(tmp_path, four("t [s];rpm;Torque [Nm];Torque [lb-ft]", lambda n, m: f"{m / 1.3558179:.2f}"))
    assert about(r, "say the same")
    assert not [q for q in r.questions if "two columns" in q]


def test_what_an_engine_held_steady_shows_is_no_rail(tmp_path: Path) -> None:
    steady = [f"{k / 10:.1f};2500;60.0;600" for k in range(30)]
    text = four("t [s];rpm;Torque [Nm];EGT [°C]", lambda n, m: f"{550 + n / 50:.0f}")
    assert not about(read(tmp_path, "\n".join([*text.splitlines()[:1], *steady, *text.splitlines()[1:]])), "rail")
    clipped = four("t [s];rpm;Torque [Nm];EGT [°C]", lambda n, m: f"{min(550 + n / 50, 630):.0f}")
    assert about(read(tmp_path, clipped), "rail")


def test_distributor_degrees_without_the_word_advance(tmp_path: Path) -> None:
    r = read(tmp_path, four("Zeit [s];Drehzahl;Drehmoment [Nm];Verteilerverstellung [°]", lambda n, m: f"{n / 400:.1f}"))
    assert r.columns[3].channel == "advance_distributor_deg"


def test_a_body_with_one_standard_names_it(tmp_path: Path) -> None:
    text = four("Temps [s];Régime [tr/min];Couple corrigé DIN [N.m];Eau [°C]", lambda n, m: "82").replace(",", ".")
    assert read(tmp_path, text).columns[2].corrected == "DIN 70020"


def test_corrected_power_beside_measured_torque_is_not_asked_about(tmp_path: Path) -> None:
    r = read(tmp_path, four("t [s];rpm;Torque [Nm];Corrected power [kW]", lambda n, m: f"{1.034 * m * n / 9549.3:.2f}"))
    assert not about(r, "logs_already_corrected")
    assert not about(r, "lbf")


def test_dekanewton_metres_are_read_and_asked_about(tmp_path: Path) -> None:
    text = four("Temps;Régime;Puissance;Couple", lambda n, m: f"{m / 10:.2f}")
    p = pull()
    lines = text.splitlines()[1:]
    text = "\n".join(["Temps;Régime;Puissance;Couple", *(
        ";".join([*line.split(";")[:2], f"{w:.1f}", line.split(";")[3]]) for line, w in zip(lines, p["power_kw"], strict=True)
    )])  # fmt: skip
    assert about(read(tmp_path, text), "unit: daN·m")
    for hints in (None, {"Couple": {"channel": "torque_nm", "unit": "daN·m"}}):
        r = read(tmp_path, text, hints=hints)
        np.testing.assert_allclose(r.samples["torque_nm"].to_numpy(), p["torque_nm"], atol=0.06)
        assert next((c.unit, c.unit_from) for c in r.columns if c.channel == "power_kw") == ("kW", "proved")
    assert not about(r, "torque x rpm")


def test_a_line_pasted_as_it_stands_confirms_what_was_read(tmp_path: Path) -> None:
    """A tired reader copies the line: nothing he sees may change by it, and the question is gone."""
    p = pull()
    text = "t s,engine speed,torque,coolant,throttle\n" + "".join(
        f"{t:.1f},{n / 1000:.3f},{m:.1f},185,0.98\n" for t, n, m in zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)
    )
    before = read(tmp_path, text)
    lines = [q.split("in columns.yaml: ")[1].partition("}}")[0] + "}}" for q in before.questions if "no column of advance" not in q]
    hints: dict[str, dict[str, object]] = {}
    for line in lines:
        hints |= next(iter(yaml.safe_load(line).values()))
    after = read(tmp_path, text, hints=hints)
    assert [*hints] == ["torque", "engine speed", "coolant", "throttle"]
    assert after.samples.equals(before.samples)
    assert [q for q in after.questions if "no column of advance" not in q] == []


def test_ignition_on_is_no_advance(tmp_path: Path) -> None:
    r = read(tmp_path, four("t [s];rpm;Torque [Nm];Ignition", lambda n, m: "ON" if n > 2900 else "OFF"))
    assert r.columns[3].channel is None
    assert about(r, "no column of advance")
