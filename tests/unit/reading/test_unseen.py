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
