"""What logs nobody here had seen were misread by: each fault once, small."""

from pathlib import Path

import numpy as np
import pytest
from tests.unit.reading.made_pull import about, column, pull, read

from pullbook.vocabulary.naming import understand

P = pull()
ROWS = list(zip(P["time_s"], P["rpm"], P["torque_nm"], strict=True))


def test_a_time_in_seconds_is_no_time_in_hours() -> None:
    unit = understand("Hora s").unit
    assert unit is not None
    assert unit.factor == 1.0


def test_a_sample_time_in_parts_of_a_second_is_a_time_and_whole_numbers_are_a_count(tmp_path: Path) -> None:
    r = read(tmp_path, "Sample time;rpm;Nm\n" + "".join(f"{t:.1f};{n:.0f};{m:.1f}\n" for t, n, m in ROWS))
    assert r.samples["time_s"].to_list() == pytest.approx(P["time_s"].tolist())
    r = read(tmp_path, "Sample time;rpm;Nm\n" + "".join(f"{k};{n:.0f};{m:.1f}\n" for k, (_, n, m) in enumerate(ROWS)))
    assert "time_s" not in r.samples.columns
    assert about(r, "counts samples")


def test_day_fractions_under_a_heading_of_seconds_are_taken_as_such_and_asked(tmp_path: Path) -> None:
    r = read(tmp_path, "Time [s];rpm;Nm\n" + "".join(f"{0.4 + t / 86400:.8f};{n:.0f};{m:.1f}\n" for t, n, m in ROWS))
    assert r.samples["time_s"].to_list() == pytest.approx(P["time_s"].tolist(), abs=2e-3)
    assert about(r, "would make a sweep no engine has; taken as day fractions of a spreadsheet")
    assert about(r, "scale: 86400")
    assert next(c.unit_from for c in r.columns if c.channel == "time_s") == "assumed"


def test_a_steady_log_of_a_slow_recorder_keeps_its_seconds(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    rows = "".join(f"{10 * k};{3000 + rng.normal(0, 1):.0f};{180 + rng.normal(0, 0.3):.1f}\n" for k in range(60))
    r = read(tmp_path, f"Time [s];rpm;Nm\n{rows}")
    assert r.samples["time_s"][-1] == 590.0
    assert not about(r, "no engine has")


def test_exhaust_without_a_unit_beside_coolant_that_can_only_be_kelvin(tmp_path: Path) -> None:
    rows = "".join(f"{t:.1f};{n:.0f};{m:.1f};{357 + t / 10:.1f};{1000 + n / 50:.0f}\n" for t, n, m in ROWS)
    r = read(tmp_path, f"t [s];rpm;Nm;Water temperature;Exhaust temp\n{rows}")
    assert column(r, "exhaust_c") == ("K", "assumed")
    assert about(r, "'Exhaust temp' (about")


def test_whole_seconds_with_their_thousandths_in_a_column_of_their_own(tmp_path: Path) -> None:
    lines = []
    for t, n, m in ROWS:
        tenths = round(10 * t)
        clock = 35990 + tenths // 10
        lines.append(f"{clock // 3600:02d}:{clock // 60 % 60:02d}:{clock % 60:02d};{tenths % 10 * 100};{n:.0f};{m:.1f}\n")
    r = read(tmp_path, "Time;ms;rpm;Nm\n" + "".join(lines))
    assert r.samples["time_s"].to_list() == pytest.approx(P["time_s"].tolist())
    assert r.samples["recording"].unique().to_list() == [0]
    assert not about(r, "starts again")


def test_a_time_of_its_own_in_milliseconds_beside_a_coarse_clock_stays(tmp_path: Path) -> None:
    rows = "".join(f"10:00:{int(t):02d};{100 * k};{n:.0f};{m:.1f}\n" for k, (t, n, m) in enumerate(ROWS))
    r = read(tmp_path, f"Clock;ms;rpm;Nm\n{rows}")
    assert r.samples["time_s"].to_list() == pytest.approx(P["time_s"].tolist())


@pytest.mark.parametrize(
    "head", ["Nockenwellenverstellung [°KW]", "Camshaft advance [°]", "Calage arbre à cames [°]", "Albero a camme [°]"]
)
def test_a_camshaft_is_no_ignition(head: str) -> None:
    assert understand(head).quantity is None


def test_torque_in_thousands(tmp_path: Path) -> None:
    r = read(tmp_path, "t [s];rpm;M [kNm]\n" + "".join(f"{t:.1f};{n:.0f};{m / 1000:.5f}\n" for t, n, m in ROWS))
    assert r.samples["torque_nm"].to_list() == pytest.approx([round(m, 2) for m in P["torque_nm"]])


def test_names_that_end_in_their_units_over_a_table_of_spaces(tmp_path: Path) -> None:
    rows = "".join(f"{t:.1f} {n:.0f} {m:.1f}\n" for t, n, m in ROWS)
    r = read(tmp_path, f"% Time [s] Engine speed [rpm] Torque [Nm]\n{rows}")
    assert r.samples["rpm"].to_list() == P["rpm"].tolist()
    assert [c.channel for c in r.columns] == ["time_s", "rpm", "torque_nm"]


@pytest.mark.parametrize("sep", [";", ",", "\t"])
def test_a_spreadsheets_sign_of_text_before_each_number(tmp_path: Path, sep: str) -> None:
    rows = "".join(sep.join(f"'{x}" for x in (f"{t:.1f}", f"{n:.0f}", f"{m:.1f}")) + "\n" for t, n, m in ROWS)
    r = read(tmp_path, f"t [s]{sep}rpm{sep}Nm\n{rows}")
    assert r.error is None
    assert r.samples["rpm"].to_list() == P["rpm"].tolist()


def test_kw_behind_an_ignition_angle_is_the_crank(tmp_path: Path) -> None:
    rows = "".join(f"{t:.1f};{n:.0f};{m:.1f};{28 + t / 10:.1f}°\n" for t, n, m in ROWS)
    r = read(tmp_path, f"t [s];rpm;Nm;Zündwinkel KW\n{rows}")
    assert column(r, "advance_deg") == ("°BTDC", "header")
    assert understand("Leistung KW").quantity == "power_kw"


@pytest.mark.parametrize("sep", [";", ","])
@pytest.mark.parametrize("whole", [0, 6])
def test_units_as_names_are_not_joined_to_the_name_before_them(tmp_path: Path, sep: str, whole: int) -> None:
    """Most rows are as long as the first three names, and "rpm" and "Nm" are units too."""
    rows = [f"{t:.1f}{sep}{n:.0f}{sep}{m:.1f}" + (f"{sep}88{sep}80" if k % 7 == whole else "") for k, (t, n, m) in enumerate(ROWS)]
    r = read(tmp_path, sep.join(("t", "rpm", "Nm", "Oil [C]", "Water [C]")) + "\n" + "\n".join(rows) + "\n")
    assert r.error is None
    assert (r.rows, r.rows_dropped) == (120, 0)
    assert r.samples["torque_nm"].to_list() == pytest.approx([round(m, 1) for m in P["torque_nm"]])
    assert r.samples["oil_c"].drop_nulls().unique().to_list() == [88.0]


def test_effective_power_without_a_unit_is_proved(tmp_path: Path) -> None:
    rows = "".join(f"{t:.1f};{n:.0f};{m / 1.3558179:.2f};{m * n / 9549.2966 / 0.745699872:.2f}\n" for t, n, m in ROWS)
    r = read(tmp_path, f"t;Drehzahl;Drehmoment;P eff\n{rows}")
    assert (column(r, "torque_nm"), column(r, "power_kw")) == (("lbf·ft", "proved"), ("hp", "proved"))


@pytest.mark.parametrize("head", ["Torque sigma [Nm]", "Inertia torque [Nm]", "Torque wobble [Nm]", "Torque demand [Nm]"])
def test_of_several_torques_the_one_that_makes_the_power_is_the_engines(tmp_path: Path, head: str) -> None:
    rows = "".join(f"{t:.1f};{20 + t:.1f};{n:.0f};{m:.1f};{m * n / 9549.2966:.2f}\n" for t, n, m in ROWS)
    r = read(tmp_path, f"t [s];{head};rpm;Torque measured here [Nm];Power [kW]\n{rows}")
    assert r.samples["torque_nm"].to_list() == pytest.approx([round(m, 1) for m in P["torque_nm"]])
    assert not about(r, "do not belong together")


def test_without_power_the_heading_that_adds_nothing_is_used_and_the_other_is_asked_about(tmp_path: Path) -> None:
    rows = "".join(f"{t:.1f};{20 + t:.1f};{n:.0f};{m:.1f}\n" for t, n, m in ROWS)
    r = read(tmp_path, f"t [s];Torque wobble [Nm];rpm;Torque [Nm]\n{rows}")
    assert r.samples["torque_nm"].to_list() == pytest.approx([round(m, 1) for m in P["torque_nm"]])
    assert about(r, "two columns say torque_nm")


@pytest.mark.parametrize(
    "head",
    [
        "Rate [rpm/s]",
        "Beschleunigung [1/min/s]",
        "Power to weight [kW/kg]",
        "Coolant temp target [C]",
        "Ignition cut",
        "Turbolader Drehzahl [1/min]",
    ],
)
def test_what_is_none_of_the_channels(head: str) -> None:
    assert understand(head).quantity is None


def test_richness_that_is_said_to_be_lambda_stays(tmp_path: Path) -> None:
    rows = "".join(f"{t:.1f};{n:.0f};{m:.1f};{0.88 + t / 1000:.3f}\n" for t, n, m in ROWS)
    r = read(tmp_path, f"t [s];rpm;Nm;Richesse (lambda)\n{rows}")
    assert r.samples["lambda"][0] == 0.88


@pytest.mark.parametrize(
    ("head", "quantity"),
    [
        ("TOIL [degC]", "oil_c"), ("TWATER [degC]", "coolant_c"), ("Distributor degrees", "advance_distributor_deg"),
        ("Verteilerverstellung [°Vert.]", "advance_distributor_deg"), ("Nockenwellenverstellung [°]", None),
    ],
)  # fmt: skip
def test_headings_met_for_the_first_time(head: str, quantity: str | None) -> None:
    assert understand(head).quantity == quantity


def test_milliseconds_under_a_heading_of_seconds_are_asked_about_and_not_changed(tmp_path: Path) -> None:
    r = read(tmp_path, "Time [s];rpm;Nm\n" + "".join(f"{1000 * t:.0f};{n:.0f};{m:.1f}\n" for t, n, m in ROWS))
    assert r.samples["time_s"][-1] == pytest.approx(1000 * P["time_s"][-1])
    assert about(r, "scale: 0.001")
    assert not about(read(tmp_path, "Time [s];rpm;Nm\n" + "".join(f"{t};{n:.0f};{m:.1f}\n" for t, n, m in ROWS)), "scale: 0.001")


def test_holds_a_long_time_apart_are_no_crawl(tmp_path: Path) -> None:
    """Ten minutes at each speed, half a minute between: the clock of such a log is right."""
    time = np.arange(0, 3000, 5.0)
    speed = 2500 + 500 * np.floor(time / 600) + 500 * np.clip((time % 600 - 570) / 30, 0, 1)
    rows = "".join(f"{t:.0f};{n:.0f};180.{k % 10}\n" for k, (t, n) in enumerate(zip(time, speed, strict=True)))
    assert not about(read(tmp_path, f"Time [s];rpm;Nm\n{rows}"), "never moved by more")


def test_a_last_row_whose_last_cell_is_quoted_and_blank_like_others_is_whole(tmp_path: Path) -> None:
    rows = [f'"{t:.1f}";"{n:.0f}";"{m:.1f}";"{88.5 if k % 3 == 0 else ""}"' for k, (t, n, m) in enumerate(ROWS)]
    r = read(tmp_path, "t [s];rpm;Nm;Oil [C]\n" + "\n".join(rows))
    assert (r.rows, r.rows_dropped) == (120, 0)


@pytest.mark.parametrize(
    "stamp", ["2031-05-06 10:00:{} UTC", "Tue 2031-05-06 10:00:{}", "Di., 06.05.2031 10:00:{} MESZ", "10:00:{} GMT"]
)
def test_a_day_of_the_week_and_a_zone_about_a_time(tmp_path: Path, stamp: str) -> None:
    rows = "".join(f"{stamp.format(f'{t:06.3f}')};{n:.0f};{m:.1f}\n" for t, n, m in ROWS)
    r = read(tmp_path, f"Time;rpm;Nm\n{rows}")
    assert r.samples["time_s"].to_list() == pytest.approx(P["time_s"].tolist())


def test_absolute_millimetres_of_mercury(tmp_path: Path) -> None:
    r = read(tmp_path, "t [s];rpm;Nm;Manifold [mmHg abs]\n" + "".join(f"{t:.1f};{n:.0f};{m:.1f};735\n" for t, n, m in ROWS))
    assert r.samples["map_kpa"][0] == pytest.approx(97.99, abs=0.01)
