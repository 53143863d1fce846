"""What a second round of logs nobody here had seen was misread by: each fault once, small."""

from pathlib import Path

import numpy as np
import pytest
from tests.unit.reading.made_pull import about, channels, column, pull, read

from pullbook.book import Book
from pullbook.reading.day import read_day
from pullbook.vocabulary.naming import understand

P = pull()
ROWS = list(zip(P["time_s"], P["rpm"], P["torque_nm"], P["power_kw"], strict=True))


def test_units_under_names_whose_time_pushes_the_rows_aside(tmp_path: Path) -> None:
    names = "".join(f"{n:>12}" for n in ("Zeit", "Drehz.", "Moment", "Leistg.", "Reserve", "Wasser"))
    units = "".join(f"{n:>12}" for n in ("", "U/min", "Nm", "kW", "", "°C"))
    rows = "".join(f"2031-05-06T10:00:{t:06.3f}Z{n:>12.1f}{m:>12.2f}{p:>12.2f}{3.1:>12}{82.0 + t:>12.1f}\n" for t, n, m, p in ROWS)
    r = read(tmp_path, f"{names}\n{units}\n{rows}")
    assert [channels(r)[h] for h in ("Drehz.", "Moment", "Leistg.", "Reserve", "Wasser")] == [
        "rpm", "torque_nm", "power_kw", None, "coolant_c"]  # fmt: skip
    assert r.samples["torque_nm"].to_list() == pytest.approx(P["torque_nm"].tolist(), abs=0.006)


def test_units_under_the_rows_stay_where_the_names_are_aside(tmp_path: Path) -> None:
    rows = "".join(f"{t:>10.1f}{n:>10.0f}{m:>10.1f}\n" for t, n, m, _ in ROWS)
    r = read(tmp_path, f"  Time  Speed  Torque\n{'s':>10}{'rpm':>10}{'lb-ft':>10}\n{rows}")
    assert column(r, "torque_nm") == ("lbf·ft", "units_row")


def test_where_a_recording_begins_any_speed_is_real(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    first = [(0.1 * k, 4800 - 35 * k + rng.normal(0, 2)) for k in range(60)]
    second = [(0.1 * k, 1100 + 210 * k + rng.normal(0, 2)) for k in range(18)]
    rows = "".join(f"{t:.1f};{n:.0f};180\n" for t, n in first) + "t [s];rpm;Nm\n" + "".join(
        f"{t:.1f};{n:.0f};190\n" for t, n in second)  # fmt: skip
    r = read(tmp_path, f"t [s];rpm;Nm\n{rows}")
    assert r.samples["rpm"].null_count() == 0
    assert not about(r, "spikes")


@pytest.mark.parametrize("space", ["\u202f", "\u00a0", "\u2009"])
@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "cp1252"])
def test_a_long_log_grouped_by_spaces_of_print(tmp_path: Path, space: str, codec: str) -> None:
    if codec == "cp1252" and space != "\u00a0":
        pytest.skip("CP1252 has no such space")
    rows = "".join(
        f"{t / 100:.3f}".replace(".", ",") + f"\t{n:,.1f}".replace(",", space).replace(".", ",") + f"\t{m:.2f}\n".replace(".", ",")
        for t, n, m, _ in ROWS * 10
    )
    r = read(tmp_path, f"Tiempo\tGiro motor\tPar\n{rows}".encode(codec))
    assert r.error is None
    assert r.samples["rpm"].to_list() == (P["rpm"].tolist() * 10)


def test_a_column_short_for_time_in_french_is_no_throttle(tmp_path: Path) -> None:
    rows = "".join(f"{t:.1f};{n:.0f};{m:.1f}\n" for t, n, m, _ in ROWS)
    r = read(tmp_path, f"Tps;Régime;Couple\n{rows}")
    assert r.samples["time_s"].to_list() == pytest.approx(P["time_s"].tolist())
    assert about(r, "'Tps' rises evenly")
    wide = "".join(f"{t:.1f};{n:.0f};{m:.1f};{min(20 + 8 * t, 100):.1f}\n" for t, n, m, _ in ROWS)
    assert channels(read(tmp_path, f"Temps;Régime;Couple;TPS\n{wide}"))["TPS"] == "throttle_pct"
    assert understand("Tps [ms]").quantity == "time_s"


@pytest.mark.parametrize(
    ("heading", "quantity"),
    [("Rot. vilebrequin / t/min", "rpm"), ("Vit. moteur_t/min", "rpm"), ("Stopwatch / min", "time_s"), ("Drehzahl / min", "rpm")],
)
def test_a_unit_behind_a_stroke(heading: str, quantity: str) -> None:
    assert understand(heading).quantity == quantity


def test_torque_and_power_no_heading_names_are_found_by_their_product_with_speed(tmp_path: Path) -> None:
    rows = "".join(f"{t:.1f};{n:.0f};{m / 9.80665:.3f};{p / 0.73549875:.2f};{90 + t:.1f};{n / 4.3:.0f}\n" for t, n, m, p in ROWS)
    r = read(tmp_path, f"t [s];rpm;X1;X2;X3;X4\n{rows}")
    assert (channels(r)["X1"], channels(r)["X2"], channels(r)["X3"]) == ("torque_nm", "power_kw", None)
    assert column(r, "torque_nm") == ("kgf·m", "proved")
    assert r.samples["torque_nm"].to_list() == pytest.approx(P["torque_nm"].tolist(), rel=1e-3)
    assert about(r, "no heading says so")
    twice = "".join(f"{t:.1f};{n:.0f};{m:.2f};{m * 1.02:.2f};{p:.2f};{p * 1.02:.2f}\n" for t, n, m, p in ROWS)
    assert "torque_nm" not in read(tmp_path, f"t [s];rpm;A;B;C;D\n{twice}").samples.columns  # two pairs fit: nothing is proved


def test_what_only_looks_like_power_is_not_named(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    rows = "".join(f"{t:.1f};{n:.0f};{m:.1f};{p * (1 + rng.normal(0, 0.03)):.1f}\n" for t, n, m, p in ROWS)
    assert channels(read(tmp_path, f"t [s];rpm;Couple;Flow\n{rows}"))["Flow"] is None


def test_a_log_whose_torque_unit_nobody_wrote_keeps_its_pulls_beside_stronger_ones(tmp_path: Path) -> None:
    day = tmp_path / "logs" / "blue" / "2031-04-05"
    day.mkdir(parents=True)
    for k, (head, factor) in enumerate([("Torque [Nm]", 1.0), ("Torque [Nm]", 1.0), ("Torque", 1 / 9.80665)]):
        rows = "".join(f"{t:.1f},{n:.0f},{m * factor:.3f}\n" for t, n, m, _ in ROWS)
        (day / f"run {k}.csv").write_text(f"Time [s],RPM,{head}\n{rows}")
    logs = read_day(Book.at(tmp_path), "blue", "2031-04-05").logs
    assert [[s.kind for s in log.segments] for log in logs] == [["pull"]] * 3


def test_a_pressure_without_a_unit_goes_by_what_it_is_at_full_load(tmp_path: Path) -> None:
    for factor, unit in ((1.0, "kPa"), (10.0, "hPa"), (0.2953, "inHg"), (0.145, "psi")):
        idle = "".join(f"{-8 + 0.1 * k:.1f};{1500 + k};8;{39 * factor:.2f}\n" for k in range(200))
        rows = "".join(f"{12 + t:.1f};{n:.0f};{m:.1f};{97 * factor:.2f}\n" for t, n, m, _ in ROWS)
        r = read(tmp_path, f"t [s];rpm;Nm;MAP\n{idle}{rows}")
        assert column(r, "map_kpa") == (unit, "assumed")
        assert about(r, f"taken as {unit}")


def test_minutes_in_steps_as_small_as_parts_of_a_day(tmp_path: Path) -> None:
    fine = [(0.01 * k, 2000 + 3 * k, 190.0) for k in range(900)]
    r = read(tmp_path, "t;rpm;Nm\n" + "".join(f"{t / 60:.6f};{n};{m}\n" for t, n, m in fine))
    assert r.samples["time_s"][-1] == pytest.approx(8.99, abs=1e-4)
    assert about(r, "minutes fit the sweep")
    r = read(tmp_path, "t;rpm;Nm\n" + "".join(f"{0.5 + t / 86400:.9f};{n};{m}\n" for t, n, m in fine))
    assert r.samples["time_s"][-1] == pytest.approx(8.99, abs=1e-3)


def test_milliseconds_since_1970_under_a_heading_of_seconds(tmp_path: Path) -> None:
    r = read(tmp_path, "Secs;rpm;Nm\n" + "".join(f"{1934272837250 + 1000 * t:.0f};{n:.0f};{m:.1f}\n" for t, n, m, _ in ROWS))
    assert r.samples["time_s"].to_list() == pytest.approx(P["time_s"].tolist(), abs=1e-6)
    assert about(r, "taken as milliseconds since 1970")
