"""The twelve kinds of mess of the contract, each a whole pull long, in wording of our own."""

from pathlib import Path

import numpy as np
import pytest
from tests.unit.reading.made_pull import about, channels, column, pull, read

from pullbook.units import HP, KGF_M, LBF_FT, PS


def values(reading, channel):
    return reading.samples[channel].to_numpy()


def test_comma_with_brackets_and_preamble(tmp_path: Path) -> None:
    p = pull()
    lines = [
        "Bench two, second evening",
        "Barometer 98.1 kPa, air 21 C, 48 % RH",
        "",
        "Elapsed [sec],Crankshaft revs [1/min],Brake twist torque [N.m],Brake power [KW],Ignition lead [° BTDC]",
    ]
    lines += [f"{t:.2f},{n:.0f},{m:.1f},{w:.1f},{a:.1f}" for t, n, m, w, a in zip(*p.values(), strict=True)]
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert (r.error, r.delimiter, r.decimal, r.header_line, r.rows, r.rows_dropped) == (None, ",", ".", 4, 120, 0)
    assert list(channels(r).values()) == ["time_s", "rpm", "torque_nm", "power_kw", "advance_deg"]
    assert column(r, "torque_nm") == ("N·m", "proved")
    assert column(r, "power_kw") == ("kW", "proved")
    assert column(r, "advance_deg") == ("°BTDC", "header")
    assert values(r, "rpm").tolist() == p["rpm"].tolist()
    np.testing.assert_allclose(values(r, "torque_nm"), p["torque_nm"].round(1), atol=1e-9)
    assert r.samples["line"].to_list()[:2] == [5, 6]
    assert [(c["what"], c["value"]) for c in r.claims] == [("baro_kpa", 98.1), ("temperature_c", 21.0), ("humidity_pct", 48.0)]
    assert any("sea level" in q and q.startswith("a pull.csv: ") for q in r.questions)


def test_semicolon_decimal_comma_grouped_thousands_cp1252(tmp_path: Path) -> None:
    p = pull()

    def german(value: float, digits: int = 1) -> str:
        return f"{value:,.{digits}f}".replace(",", "_").replace(".", ",").replace("_", ".")

    lines = ["Prüfstand Süd;;;;", "Datum;06.05.2031;;;", "Zeit (s);Motordrehzahl (1/min);Drehmoment am Motor (Nm);Leistung (PS);"]
    lines += [f"{german(t)};{german(n + 0.3)};{german(m)};{german(w / PS)};" for t, n, m, w, _ in zip(*p.values(), strict=True)]
    r = read(tmp_path, "\r\n".join(lines).encode("cp1252"))
    assert (r.error, r.encoding, r.delimiter, r.decimal, r.header_line, r.rows, r.rows_dropped) == (
        None,
        "cp1252",
        ";",
        ",",
        3,
        120,
        0,
    )
    assert len(r.columns) == 4
    np.testing.assert_allclose(values(r, "rpm"), p["rpm"] + 0.3, atol=1e-9)
    assert column(r, "power_kw") == ("PS", "proved")
    np.testing.assert_allclose(values(r, "power_kw"), (p["power_kw"] / PS).round(1) * PS, atol=1e-6)
    assert about(r, "advance")


def test_tab_with_units_row(tmp_path: Path) -> None:
    p = pull()
    lines = ["Tick ms\tEngine revs\tBrake load cell\tHorsepower\tSpark timing\tWater", "ms\trev/min\tlb-ft\thp\tdegrees\t°F"]
    lines += [
        f"{t * 1000:.0f}\t{n:.0f}\t{m / LBF_FT:.1f}\t{w / HP:.1f}\t{a:.1f}\t{181 + t:.1f}"
        for t, n, m, w, a in zip(*p.values(), strict=True)
    ]
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert (r.delimiter, r.header_line, r.rows, r.rows_dropped) == ("\t", 1, 120, 0)
    assert column(r, "time_s") == ("ms", "units_row")
    assert column(r, "torque_nm") == ("lbf·ft", "proved")
    assert column(r, "power_kw") == ("hp", "proved")
    assert column(r, "coolant_c") == ("°F", "units_row")
    np.testing.assert_allclose(values(r, "time_s"), p["time_s"], atol=1e-9)
    np.testing.assert_allclose(values(r, "coolant_c"), ((181 + p["time_s"]).round(1) - 32) / 1.8, atol=1e-6)
    asked = about(r, "distributor")
    assert asked
    assert "in columns.yaml: 'a pull.csv': {Spark timing: {channel: advance_deg, scale: 1}}" in asked[0]


def test_space_aligned_by_rpm_without_time(tmp_path: Path) -> None:
    rpm = np.arange(2600, 5801, 200)
    torque = 212 - 8e-6 * (rpm - 4400) ** 2
    lines = ["SAE corrected, mean of 5 samples", "  Revs     Torque(SAE)   Power(SAE)"]
    lines += [f"{n:6d}{m:16.1f}{m * n / 9549.2966:13.1f}" for n, m in zip(rpm, torque, strict=True)]
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert (r.delimiter, r.header_line, r.rows) == (" ", 2, 17)
    assert "time_s" not in r.samples.columns
    corrected = {c.channel: c.corrected for c in r.columns}
    assert corrected == {"rpm": False, "torque_nm": "unknown", "power_kw": "unknown"}
    assert about(r, "no sweep rate")
    assert about(r, "to which standard")
    assert about(r, "no noise can be estimated")


def test_no_units_anywhere(tmp_path: Path) -> None:
    p = pull()
    lines = ["tm,crank,trq,pwr,lead"]
    lines += [f"{t:.2f},{n:.0f},{m / KGF_M:.3f},{w / PS:.2f},{a:.1f}" for t, n, m, w, a in zip(*p.values(), strict=True)]
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert column(r, "torque_nm") == ("kgf·m", "proved")
    assert column(r, "power_kw") == ("PS", "proved")
    assert column(r, "rpm") == ("rpm", "assumed")
    alone = read(tmp_path, "\n".join(",".join(line.split(",")[:3]) for line in lines) + "\n", name="alone.csv")
    assert column(alone, "torque_nm") == ("N·m", "assumed")
    assert any("unit of 'trq'" in q and "in columns.yaml: 'alone.csv': {trq: {channel: torque_nm" in q for q in alone.questions)


@pytest.mark.parametrize(("start", "stamps"), [(43_150, "AM PM"), (86_350, "PM AM")], ids=["noon", "midnight"])
def test_twelve_hour_clock_grouped_quoted_and_switch(tmp_path: Path, start: int, stamps: str) -> None:
    p = pull()
    lines = ['"Time of day","Tacho rpm","Full throttle","Bench Nm"']
    for k, (n, m) in enumerate(zip(p["rpm"], p["torque_nm"], strict=True)):
        second = (start + k) % 86_400
        hour, half = second // 3600, "AM" if second < 43_200 else "PM"
        lines.append(
            f'"{(hour - 1) % 12 + 1}:{second % 3600 // 60:02d}:{second % 60:02d}.0 {half}",'
            f'"{n:,.0f}","{"yes" if k > 20 else "no"}","{m:.1f}"'
        )
    assert [h for h in stamps.split() if any(h in line for line in lines)] == stamps.split()
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert (r.error, r.delimiter, r.decimal, r.rows, r.rows_dropped) == (None, ",", ".", 120, 0)
    np.testing.assert_allclose(values(r, "time_s"), np.arange(120.0))
    assert values(r, "rpm").tolist() == p["rpm"].tolist()
    assert set(values(r, "throttle_pct")) == {0.0, 100.0}


def test_recorder_restarted_with_another_header_and_cut_end(tmp_path: Path) -> None:
    p = pull(80)
    first = [f"{t:.1f},{n:.0f},{m:.1f},{a:.1f}" for t, n, m, _, a in zip(*p.values(), strict=True)]
    second = [f"{t:.1f},{n:.0f},3.1{k % 9 + 1},{m:.1f},{a:.1f}" for k, (t, n, m, _, a) in enumerate(zip(*p.values(), strict=True))]
    text = "\n".join(
        ["T s,Engine revs,Twist Nm,Lead BTDC", *first, "T s,Engine revs,Fuel press,Twist Nm,Lead BTDC", *second, "8.0,4842,3.1"]
    )
    r = read(tmp_path, text)
    assert (r.rows, r.rows_dropped, r.header_line) == (160, 1, 1)
    assert r.samples["recording"].to_list() == [0] * 80 + [1] * 80
    np.testing.assert_allclose(values(r, "torque_nm"), np.tile(p["torque_nm"].round(1), 2))
    np.testing.assert_allclose(values(r, "time_s"), np.tile(p["time_s"], 2), atol=1e-9)
    assert about(r, "cut off")
    assert next(c for c in r.columns if c.header == "Fuel press").channel is None


def test_slow_channels_sentinels_and_a_dead_channel(tmp_path: Path) -> None:
    p = pull()
    lines = ["sec.;rev/min;torque N·m;oil C;lam;knock V;probe kPa"]
    for k, (t, n, m, _, _) in enumerate(zip(*p.values(), strict=True)):
        oil = "-999" if k == 0 else f"{88 + 0.1 * k:.1f}" if k % 2 == 0 else ""
        lines.append(f"{t:.2f};{65535 if k == 44 else n:.0f};{m:.1f};{oil};{0.88 + 0.0001 * k if k % 3 == 0 else ''};0;---")
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert (r.rows, r.rows_dropped) == (120, 0)
    rpm = values(r, "rpm")
    assert np.isnan(rpm[44])
    assert np.isnan(rpm).sum() == 1
    assert r.samples["oil_c"].null_count() == 61
    assert r.samples["lambda"].null_count() == 80
    assert next(c.share_missing for c in r.columns if c.header == "probe kPa") == 1.0
    assert about(r, "no evidence that the sensor works")
    assert not about(r, "no knock")


def test_whose_degrees(tmp_path: Path) -> None:
    p = pull()
    lines = ["# mark reads 2 late, says the light", "time (s),revs (rpm),Nm measured,spark ATDC,dist. advance,spark table"]
    lines += [f"{t:.2f},{n:.0f},{m:.1f},{-a:.1f},{a / 2 - 4:.1f},{a + 1:.1f}" for t, n, m, _, a in zip(*p.values(), strict=True)]
    r = read(tmp_path, "\n".join(lines) + "\n")
    np.testing.assert_allclose(values(r, "advance_deg"), p["advance_deg"].round(1), atol=1e-9)
    np.testing.assert_allclose(values(r, "advance_commanded_deg"), (p["advance_deg"] + 1).round(1), atol=1e-9)
    np.testing.assert_allclose(values(r, "advance_distributor_deg"), (p["advance_deg"] / 2 - 4).round(1), atol=1e-9)
    assert about(r, "side by side")
    assert about(r, "kept as a claim")


def test_the_tach_reads_double(tmp_path: Path) -> None:
    p = pull()
    lines = ["Run s,Coil rpm,Roller rpm,Measured N.m,Measured kW"]
    lines += [
        f"{t:.2f},{0 if k == 50 else 2 * n:.0f},{n / 2.87:.0f},{m:.1f},{w:.1f}"
        for k, (t, n, m, w, _) in enumerate(zip(*p.values(), strict=True))
    ]
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert r.unusable is not None
    rpm = values(r, "rpm")
    assert np.isnan(rpm[50])
    assert np.nanmax(np.abs(np.delete(rpm, 50) - 2 * np.delete(p["rpm"], 50))) == 0
    np.testing.assert_allclose(values(r, "torque_nm"), p["torque_nm"].round(1))
    assert channels(r)["Roller rpm"] == "roller_rpm"
    asked = about(r, "2 x 9549")
    assert "in columns.yaml: 'a pull.csv': {Coil rpm: {channel: rpm, scale: 0.5}}" in asked[0]
    settled = read(tmp_path, "\n".join(lines) + "\n", hints={"Coil rpm": {"channel": "rpm", "scale": 0.5}})
    assert settled.unusable is None
    assert np.nanmax(np.abs(np.delete(values(settled, "rpm"), 50) - np.delete(p["rpm"], 50))) == 0


def test_french_date_time_kilogramme_metres(tmp_path: Path) -> None:
    p = pull()
    lines = [
        "Banc, relevé de l'après-midi",
        "",
        "Heure;régime moteur [tr/min];couple [m.kg];puissance [ch];avance à l'allumage [°]",
    ]
    for k, (n, m, w, a) in enumerate(zip(p["rpm"], p["torque_nm"], p["power_kw"], p["advance_deg"], strict=True)):
        stamp = f"06/05/2031 21:07:{31 + k // 10},{k % 10}"
        lines.append(
            ";".join([stamp, f"{n:.0f}", *(f"{v:.{d}f}".replace(".", ",") for v, d in ((m / KGF_M, 2), (w / PS, 1), (a, 1)))])
        )
    r = read(tmp_path, "\n".join(lines) + "\n")
    assert (r.delimiter, r.decimal, r.header_line, r.rows) == (";", ",", 3, 120)
    assert r.started == "2031-05-06T21:07:31.000"
    np.testing.assert_allclose(values(r, "time_s"), p["time_s"], atol=1e-6)
    assert column(r, "torque_nm") == ("kgf·m", "proved")
    assert column(r, "power_kw") == ("PS", "proved")
    assert about(r, "crank or distributor degrees")


def test_not_understood(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    rows = [",".join(map(str, row)) for row in rng.integers(1, 99, (200, 3))]
    r = read(tmp_path, "\n".join(["K1,K2,K3", *rows]) + "\n", name="this file.csv")
    assert r.error is not None
    assert (r.error.line, r.error.column, r.error.found) == (1, "K1", "K1, K2, K3")
    assert r.error.expected == "a column of engine speed"
    assert r.error.remedy == "in columns.yaml: 'this file.csv': {K2: {channel: rpm, unit: rpm}}"
    assert r.rows == 0


@pytest.mark.parametrize(
    ("space", "encoding"), [("\u00a0", "cp1252"), ("\u00a0", "utf-8"), ("\u202f", "utf-16"), ("\u2009", "utf-8")],
)  # fmt: skip
@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_spaces_of_print_group_thousands(tmp_path: Path, space: str, encoding: str, delimiter: str) -> None:
    p = pull()
    lines = [delimiter.join(["Durée [ms]", f"Régime{space}[tr/min]", "Couple [N.m]", "Puissance [kW]"])]
    for t, n, m, w, _ in zip(*p.values(), strict=True):
        lines.append(
            delimiter.join(f"{v:,.{d}f}".replace(",", space).replace(".", ",") for v, d in ((t * 1e3, 0), (n, 0), (m, 1), (w, 1)))
        )
    r = read(tmp_path, "\n".join(lines).encode(encoding))
    assert (r.error, r.encoding, r.delimiter, r.decimal, r.rows, r.rows_dropped) == (None, encoding, delimiter, ",", 120, 0)
    assert values(r, "rpm").tolist() == p["rpm"].tolist()
    assert column(r, "power_kw") == ("kW", "proved")


def test_one_capital_with_an_accent_tells_the_codec(tmp_path: Path) -> None:
    lines = ["t s;rpm;Nm;Plena carga", *(f"{t:.1f};{n:.0f};{m:.1f};SÍ" for t, n, m, *_ in zip(*pull().values(), strict=True))]
    r = read(tmp_path, "\n".join(lines).encode("cp1252"))
    assert (r.error, r.encoding, r.rows) == (None, "cp1252", 120)
    assert values(r, "throttle_pct").tolist() == [100.0] * 120
