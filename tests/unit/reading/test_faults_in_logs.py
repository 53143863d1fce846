"""Single faults inside an otherwise clean log: nothing lost, nothing invented, every row accounted for."""

from pathlib import Path

import numpy as np
import pytest
import yaml
from tests.unit.reading.made_pull import about, pull, read

HEAD = "Time [s],Engine speed [rpm],Torque [Nm],Advance [°BTDC]"


def rows(count: int = 120, **more: float) -> list[str]:
    p = pull(count, **more)  # type: ignore[arg-type]
    return [f"{t:.2f},{n:.0f},{m:.1f},{a:.1f}" for t, n, m, _, a in zip(*p.values(), strict=True)]


def log(lines: list[str], head: str = HEAD) -> str:
    return "\n".join([head, *lines]) + "\n"


def test_clean(tmp_path: Path) -> None:
    r = read(tmp_path, log(rows()))
    assert (r.rows, r.rows_dropped, r.warnings) == (120, 0, ())


def test_exact_repeats_are_dropped_and_counted(tmp_path: Path) -> None:
    lines = rows()
    r = read(tmp_path, log([*lines[:50], lines[49], lines[49], *lines[50:]]))
    assert (r.rows, r.rows_dropped) == (120, 2)
    assert about(r, "line 52, 53")


def test_broken_rows_are_dropped_and_named(tmp_path: Path) -> None:
    lines = rows()
    lines[10] = lines[10][:9]
    lines[20] += ",17"
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (118, 2)
    assert about(r, "line 12, 22")
    assert 12 not in r.samples["line"].to_list()


def test_nuls_in_the_middle(tmp_path: Path) -> None:
    lines = rows()
    lines[60] = lines[60][:7] + "\0" * 4096
    r = read(tmp_path, log(lines).encode())
    assert (r.rows, r.rows_dropped) == (119, 1)
    assert about(r, "NUL")


def test_a_block_of_nuls_at_the_end_is_no_row(tmp_path: Path) -> None:
    r = read(tmp_path, log(rows()).encode() + bytes(5000))
    assert (r.rows, r.rows_dropped) == (120, 0)


@pytest.mark.parametrize("tail", ["12.00,5800,19", "12.00,5800", "12.00,5801,199.2,33"])
def test_cut_last_line(tmp_path: Path, tail: str) -> None:
    r = read(tmp_path, log(rows()) + tail)
    assert (r.rows, r.rows_dropped) == (120, 1)
    assert about(r, "cut off at line 122") or about(r, "the end of the log is cut off")


def test_last_line_without_a_line_end_is_kept(tmp_path: Path) -> None:
    r = read(tmp_path, log(rows())[:-1])
    assert (r.rows, r.rows_dropped) == (120, 0)


def test_header_repeated_on_every_page_is_no_restart(tmp_path: Path) -> None:
    lines = rows()
    for at in (100, 75, 50, 25):
        lines.insert(at, HEAD)
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert set(r.samples["recording"]) == {0}
    assert np.all(np.diff(r.samples["time_s"].to_numpy()) > 0)


def test_preamble_again_before_a_second_header(tmp_path: Path) -> None:
    text = "\n".join(["Run 1, gear 4", "", HEAD, *rows(), "", "Run 2, gear 4", "12:31", "", HEAD, *rows(seed=8)]) + "\n"
    r = read(tmp_path, text)
    assert (r.rows, r.rows_dropped, r.header_line) == (240, 0, 3)
    assert r.samples["recording"].to_list() == [0] * 120 + [1] * 120


def test_swapped_rows_are_put_in_order(tmp_path: Path) -> None:
    lines = rows()
    lines[40], lines[41] = lines[41], lines[40]
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert np.all(np.diff(r.samples["time_s"].to_numpy()) > 0)
    assert r.samples["line"].to_list()[39:43] == [41, 43, 42, 44]
    assert about(r, "put in order")


def test_time_that_restarts_begins_a_new_recording(tmp_path: Path) -> None:
    r = read(tmp_path, log([*rows(60), *rows(60, seed=9)]))
    assert r.rows == 120
    assert r.samples["recording"].to_list() == [0] * 60 + [1] * 60


def test_one_wild_stamp_is_not_a_restart(tmp_path: Path) -> None:
    lines = rows()
    lines[30] = "9999.99" + lines[30][lines[30].index(",") :]
    r = read(tmp_path, log(lines))
    assert r.rows == 120
    assert set(r.samples["recording"]) == {0}
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)


def test_garbled_cell_is_named(tmp_path: Path) -> None:
    lines = rows()
    cells = lines[33].split(",")
    lines[33] = ",".join([*cells[:2], "2O1.x", cells[3]])
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert r.samples["torque_nm"].null_count() == 1
    assert about(r, "line 35 ('2O1.x')")


@pytest.mark.parametrize("spike", ["0", "12000", "6600"])
def test_rpm_spike_is_missing_and_its_row_stays(tmp_path: Path, spike: str) -> None:
    lines = rows()
    cells = lines[70].split(",")
    lines[70] = ",".join([cells[0], spike, *cells[2:]])
    r = read(tmp_path, log(lines))
    assert r.rows == 120
    assert r.samples["rpm"].null_count() == 1
    assert r.samples["rpm"][70] is None
    assert about(r, "line 72")


def test_sentinel_that_could_be_real_stays(tmp_path: Path) -> None:
    """A high-revving engine passes 9999 rpm."""
    text = "t s,rpm\n" + "".join(f"{k * 0.1:.1f},{9000 + 9 * k}\n" for k in range(200))
    r = read(tmp_path, text)
    assert 9999.0 in r.samples["rpm"].to_list()
    assert r.samples["rpm"].null_count() == 0


def test_counter_in_milliseconds_that_wraps(tmp_path: Path) -> None:
    p = pull()
    text = "Tick ms,rpm,Nm\n" + "".join(
        f"{(64_000 + 100 * k) % 65_536},{n:.0f},{m:.1f}\n" for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)
    assert set(r.samples["recording"]) == {0}


def test_whole_second_stamps_are_spread(tmp_path: Path) -> None:
    p = pull()
    text = "Uhrzeit;Drehzahl;Drehmoment Nm\n" + "".join(
        f"14:00:{k // 10:02d};{n:.0f};{m:.1f}\n" for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)
    assert about(r, "share each time stamp")


def test_date_and_time_in_two_columns(tmp_path: Path) -> None:
    p = pull()
    text = "Date,Time,RPM,Torque (Nm)\n" + "".join(
        f"2031-05-06,14:00:{k // 10:02d}.{k % 10},{n:.0f},{m:.1f}\n"
        for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    assert r.started == "2031-05-06T14:00:00.000"
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-6)
    assert [c.channel for c in r.columns] == [None, "time_s", "rpm", "torque_nm"]


def test_sample_counter_with_a_rate_in_the_preamble(tmp_path: Path) -> None:
    p = pull()
    text = "Sample rate 10 Hz\nSample,RPM,Torque (Nm)\n" + "".join(
        f"{k + 1},{n:.0f},{m:.1f}\n" for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)
    assert about(r, "counts samples")


def test_sample_counter_alone_is_asked_about(tmp_path: Path) -> None:
    p = pull()
    text = "Sample,RPM,Torque (Nm)\n" + "".join(
        f"{k + 1},{n:.0f},{m:.1f}\n" for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True))
    )
    r = read(tmp_path, text)
    assert "time_s" not in r.samples.columns
    assert about(r, "in columns.yaml: 'a pull.csv': {Sample: {channel: time_s, unit: s, scale: 0.1}}")
    told = read(tmp_path, text, hints={"Sample": {"channel": "time_s", "unit": "s", "scale": 0.1}})
    np.testing.assert_allclose(told.samples["time_s"].to_numpy(), np.arange(120) * 0.1, atol=1e-9)


def test_mixed_decimal_marks_are_refused_with_the_place(tmp_path: Path) -> None:
    lines = [line.replace(",", ";") for line in rows()]
    lines = [*lines[:60], *(line.replace(".", ",") for line in lines[60:])]
    r = read(tmp_path, log(lines, HEAD.replace(",", ";")))
    assert r.error is not None
    assert r.error.line is not None
    assert "decimal" in r.error.expected


def test_one_other_decimal_mark_is_damage(tmp_path: Path) -> None:
    lines = [line.replace(",", ";") for line in rows()]
    lines[60] = lines[60].replace(".", ",")
    r = read(tmp_path, log(lines, HEAD.replace(",", ";")))
    assert r.error is None
    assert r.rows == 120
    assert about(r, "line 62")


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


def test_sentinel_inside_the_span_of_a_fast_engine(tmp_path: Path) -> None:
    """9999 between 7000 and 7010 is no speed although the engine later passes 9999."""
    lines = [f"{k * 0.1:.1f},{7000 + 11 * k}" for k in range(300)]
    for k in (3, 4, 9, 10, 11):
        lines[k] = f"{k * 0.1:.1f},9999"
    r = read(tmp_path, "t s,rpm\n" + "\n".join(lines) + "\n")
    assert r.samples["rpm"].is_null().arg_true().to_list() == [3, 4, 9, 10, 11]


def test_operator_may_keep_a_doubled_tach(tmp_path: Path) -> None:
    p = pull()
    text = "t s,rpm,Nm,kW\n" + "".join(f"{t:.1f},{2 * n:.0f},{m:.1f},{w:.1f}\n" for t, n, m, w, _ in zip(*p.values(), strict=True))
    assert read(tmp_path, text).unusable is not None
    assert read(tmp_path, text, hints={"rpm": {"channel": "rpm", "scale": 1}}).unusable is None


def four(head: str, fourth: object) -> str:
    """A pull with time, rpm, torque and one column more, made from (rpm, torque)."""
    p = pull()
    assert callable(fourth)
    rows = zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)
    return head + "\n" + "".join(f"{t:.1f};{n:.0f};{m:.1f};{fourth(n, m)}\n" for t, n, m in rows)


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


def test_the_top_of_a_blip_is_no_spike(tmp_path: Path) -> None:
    k = np.arange(60)
    rpm = np.where((k > 20) & (k < 33), 900 + 2200 * np.sin(np.pi * (k - 20) / 13), 900.0)
    r = read(tmp_path, "t [s],rpm,Nm\n" + "".join(f"{i / 20:.2f},{n:.0f},12.5\n" for i, n in enumerate(rpm)))
    assert r.samples["rpm"].null_count() == 0


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


def test_where_stretches_of_a_recording_meet_nothing_is_a_spike(tmp_path: Path) -> None:
    """A recorder that runs only while the throttle is open: the top of one pull, then the foot of the next."""
    p = pull(60)
    lines = [f"{k / 10:.1f},{n:.0f},{m:.1f},30.0" for k, (n, m) in enumerate([*zip(p["rpm"], p["torque_nm"], strict=True)] * 2)]
    r = read(tmp_path, log(lines))
    assert r.samples["rpm"].null_count() == 0
    assert not about(r, "spikes")


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


@pytest.mark.parametrize("day", ["31-Mar-2031", "31. März 2031", "20310331", "31/mars/2031"])
def test_dates_with_the_months_name_or_without_marks(tmp_path: Path, day: str) -> None:
    p = pull()
    data = zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)
    r = read(tmp_path, "Stamp;rpm;Nm\n" + "".join(f"{day} 23:59:{40 + t:04.1f};{n:.0f};{m:.1f}\n" for t, n, m in data))
    np.testing.assert_allclose(r.samples["time_s"].to_numpy(), p["time_s"], atol=1e-5)
    assert r.started == "2031-03-31T23:59:40.000"


def test_a_time_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    r = read(tmp_path, "Time;rpm;Nm\n" + "".join(f"tick {n:.0f};{n:.0f};200\n" for n in pull()["rpm"]))
    assert about(r, "'Time' holds no time that can be read")


def test_names_with_line_breaks_in_them(tmp_path: Path) -> None:
    head = '"Time\n[s]","Engine speed\n[rpm]","Torque\n[Nm]","Advance\n[°BTDC]"'
    r = read(tmp_path, log(rows(), head))
    assert (r.header_line, r.rows, r.columns[1].channel, r.samples["line"][0]) == (1, 120, "rpm", 6)


def test_numbers_kept_as_text_by_a_spreadsheet(tmp_path: Path) -> None:
    quoted = [",".join(f'="{cell}"' for cell in row.split(",")) for row in rows()]
    r = read(tmp_path, log(quoted))
    assert (r.error, r.rows) == (None, 120)
    assert r.samples.drop("line").equals(read(tmp_path, log(rows())).samples.drop("line"))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_an_end_inside_the_last_decimals(tmp_path: Path, encoding: str) -> None:
    text = log(rows()).rstrip("\n")
    whole, cut = text.encode(encoding), text[:-1].encode(encoding) + (b"\x30" if encoding == "utf-16" else b"")
    assert (read(tmp_path, whole).rows, read(tmp_path, whole).rows_dropped) == (120, 0)
    assert (read(tmp_path, cut).rows, read(tmp_path, cut).rows_dropped) == (119, 1)
    assert about(read(tmp_path, cut), "cut off")


def test_a_small_table_above_the_logs_own_is_preamble(tmp_path: Path) -> None:
    above = "Calibration\npoint;reading;true\n1;10;10.1\n2;20;20.2\n3;30;30.1\n\n"
    text = above + four("t [s];Engine speed [rpm];Torque [Nm];Lambda", lambda n, m: f"{0.85 + n / 1e6:.3f}")
    r = read(tmp_path, text)
    assert (r.header_line, r.rows, r.rows_dropped, len(r.columns)) == (7, 120, 0, 4)


def test_quoted_points_that_group_thousands_only_later(tmp_path: Path) -> None:
    """Idling below 1000 rpm at the top of the log: the first grouped speed comes after every sampled row."""
    p = pull(400, start=700.0)
    cells = [
        (f"{t:.2f}".replace(".", ","), f"{n:,.0f}".replace(",", "."), f"{m:.1f}".replace(".", ","))
        for t, n, m in zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)
    ]
    idle = [(f"-{100 - k / 10:.2f}".replace(".", ","), "700", "3,1") for k in range(1000)]
    text = "Zeit [s],Drehzahl [U/min],Drehmoment [Nm]\n" + "".join(
        ",".join(f'"{c}"' for c in row) + "\n" for row in [*idle, *cells]
    )
    r = read(tmp_path, text)
    assert (r.error, r.decimal, r.rows) == (None, ",", 1400)
    assert r.samples["rpm"].to_list()[1000:] == p["rpm"].tolist()


def test_decimal_mark_is_shown_as_written_behind_quotes(tmp_path: Path) -> None:
    lines = [
        f'"31/03/2031 12:00:{t:04.1f}","{n:.0f}","{m:.1f}","{"84,0" if k % 5 == 0 else ""}"'.replace(".", ",")
        for k, (t, n, m) in enumerate(zip(pull()["time_s"], pull()["rpm"], pull()["torque_nm"], strict=True))
    ]
    r = read(tmp_path, "Temps,Régime [tr/min],Couple [N.m],Eau [°C]\n" + "\n".join(lines) + "\n")
    assert (r.decimal, r.rows, r.samples["coolant_c"].drop_nulls().to_list()) == (",", 120, [84.0] * 24)


def test_a_summary_under_a_column_of_dates_is_no_row(tmp_path: Path) -> None:
    data = zip(pull()["time_s"], pull()["rpm"], pull()["torque_nm"], strict=True)
    text = "Temps;Régime [tr/min];Couple [N.m]\n" + "".join(f"2031-03-31 12:00:{t:06.3f};{n:.0f};{m:.1f}\n" for t, n, m in data)
    r = read(tmp_path, (text + "\nMaxi;999;999\n").replace("\n", "\r\n"))
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert about(r, "line 123 inside the log holds words")


def test_lines_of_delimiters_alone_are_blank(tmp_path: Path) -> None:
    lines = rows()
    lines[50:50] = [",,,", ""]
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped, r.warnings) == (120, 0, ())


def test_a_remark_behind_a_whole_row_costs_no_row(tmp_path: Path) -> None:
    lines = rows()
    lines[50] += ",ran lean"
    r = read(tmp_path, log(lines))
    assert (r.rows, r.rows_dropped) == (120, 0)
    lines[50] += ",7"
    assert (read(tmp_path, log(lines)).rows_dropped) == 1


def test_the_newest_row_first(tmp_path: Path) -> None:
    whole, turned = read(tmp_path, log(rows())), read(tmp_path, log(rows()[::-1]))
    assert turned.samples.drop("line").equals(whole.samples.drop("line"))
    assert turned.samples["line"][0] == 121
    assert about(turned, "newest row")


def test_names_written_twice_are_one_header(tmp_path: Path) -> None:
    r = read(tmp_path, log(rows(), f"{HEAD}\n{HEAD}"))
    assert ([c.header for c in r.columns], r.header_line, r.rows) == (HEAD.split(","), 1, 120)


def test_a_comma_that_groups_and_parts_is_said(tmp_path: Path) -> None:
    lines = [",".join([t, f"{int(n):,}", m, a]) for t, n, m, a in (row.split(",") for row in rows())]
    r = read(tmp_path, log(lines))
    assert r.error is not None
    assert "a comma seems to group thousands" in r.error.expected
    assert "scale" not in r.error.remedy


def test_letters_encoded_twice_are_understood(tmp_path: Path) -> None:
    head = "Zeit [s],Drehzahl [U/min],Drehmoment [Nm],Ã–ltemperatur [Â°C]"
    r = read(tmp_path, log(rows(), head))
    assert [c.header for c in r.columns] == head.split(",")
    assert (r.columns[3].channel, r.columns[3].unit) == ("oil_c", "°C")


@pytest.mark.parametrize(("at", "often"), [(1, False), (3, False), (1, True)])
def test_blanks_of_a_slow_channel_in_a_table_aligned_by_spaces(tmp_path: Path, at: int, often: bool) -> None:
    """Four rows in five have a cell less, or one row in a hundred, below all sampled ones; none of them is broken."""
    p = pull(3000 if often else 120)
    heads, units = ["Time", "Engine", "Torque"], ["s", "rpm", "Nm"]
    heads.insert(at, "Coolant")
    units.insert(at, "°C")
    lines = ["".join(f"{c:>10}" for c in heads), "".join(f"{c:>10}" for c in units)]
    for k, (t, n, m) in enumerate(zip(p["time_s"], p["rpm"], p["torque_nm"], strict=True)):
        cells = [f"{t:.2f}", f"{n:.0f}", f"{m:.1f}"]
        there = k % 100 != 80 if often else k % 5 == 0
        cells.insert(at, "84.5" if there else "")
        lines.append("".join(f"{c:>10}" for c in cells).rstrip())
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert (r.rows, r.rows_dropped, len(r.columns)) == (len(p["rpm"]), 0, 4)
    assert r.samples["rpm"].to_list() == p["rpm"].tolist()
    assert r.samples["coolant_c"].drop_nulls().to_list() == [84.5] * (2970 if often else 24)


def test_a_recording_that_ends_where_a_counter_would_wrap_is_still_two(tmp_path: Path) -> None:
    """9.9 s of tenths in ms: the next recording's 0 follows 9900. Speed leaps there; where a counter wraps it runs on."""
    made = pull(100)
    rows = [f"{100 * k},{n:.0f},{m:.1f}" for k, (n, m) in enumerate(zip(made["rpm"], made["torque_nm"], strict=True))]
    again = read(tmp_path, "\n".join(["Time [ms],RPM,Torque [Nm]", *rows, *rows, ""]))
    assert again.samples["recording"].n_unique() == 2
    longer = pull(200)
    rows = [f"{100 * k % 10_000},{n:.0f},{m:.1f}" for k, (n, m) in enumerate(zip(longer["rpm"], longer["torque_nm"], strict=True))]
    wrapped = read(tmp_path, "\n".join(["Time [ms],RPM,Torque [Nm]", *rows, ""]))
    assert wrapped.samples["recording"].n_unique() == 1
    assert wrapped.samples["time_s"][-1] == pytest.approx(19.9)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_summary_under_the_rows_of_a_clock_is_no_row(tmp_path: Path, encoding: str) -> None:
    """In UTF-16 such a log takes another way through the reader."""
    made = pull(90)
    rows = [
        f"10:00:{k // 10:02d}.{k % 10},{n:.0f},{m:.1f}" for k, (n, m) in enumerate(zip(made["rpm"], made["torque_nm"], strict=True))
    ]
    found = read(tmp_path, "\n".join(["Clock,RPM,Torque [Nm]", *rows, "Max,5000,212.0", "Average,4100,201.5", ""]).encode(encoding))
    assert found.rows == 90
    assert any("line 92, 93 inside the log holds words" in w for w in found.warnings)


@pytest.mark.parametrize("units", ["", "s;rpm;Nm;kW;°C;\n"])
@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("Time;Engine;Torque;Brake;Water;Lambda", ";speed;;power;temp;"),
        ("Time;Engine;Torque;Power;Water;Lambda", ";speed;;;temp"),
        ("Temps;Régime;Couple;Puissance;Température;Sonde", ";moteur;;;eau;lambda"),
    ],
)
def test_names_that_go_on_in_a_second_line(tmp_path: Path, first: str, second: str, units: str) -> None:
    made = pull(60)
    table = zip(*made.values(), strict=True)
    rows = [f"{t:.1f};{n:.0f};{m:.1f};{p:.2f};{80 + t:.1f};0.87" for t, n, m, p, _ in table]
    found = read(tmp_path, f"Cell 4\n{first}\n{second}\n{units}" + "\n".join([*rows, ""]))
    assert found.header_line == 2
    assert found.rows == 60
    assert [c.channel for c in found.columns] == ["time_s", "rpm", "torque_nm", "power_kw", "coolant_c", "lambda"]


def test_a_broken_row_under_the_names_is_no_second_line_of_them(tmp_path: Path) -> None:
    made = pull(60)
    rows = [f"{t:.1f};{n:.0f};{m:.1f}" for t, n, m, _, _ in zip(*made.values(), strict=True)]
    found = read(tmp_path, "\n".join(["Time s;RPM;Torque Nm", "0.0;28", *rows, ""]))
    assert [c.header for c in found.columns] == ["Time s", "RPM", "Torque Nm"]
    assert (found.rows, found.rows_dropped) == (60, 1)
