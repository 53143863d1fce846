"""What the trade says (reference rows F1 to F7): **common practice, no source**.

These are anchors of plausibility. A test may hold that pullbook does not flag them as odd, and that its arithmetic on them is
exact; it must not hold them for truth, and none does.
"""

from pathlib import Path

import numpy as np
import pytest
from tests.simulator.air import STANDARD
from tests.simulator.cycle import run_cycles
from tests.simulator.engine import CHAMBERS, Chamber, draw_engine

from pullbook.advice.sums import bench_sums, delay_deg, distributor_from_crank, setting_sum
from pullbook.book import Book
from pullbook.handover import DayReading
from pullbook.reading.day import read_day

ENGINE = """\
cylinders: 8
displacement_l: 5.2
fuel: petrol
ignition:
  kind: mechanical
  advance_scale: crank
  stops_deg: [16, 21, 22, 27]
  springs:
  - {name: light, start_rpm: 1000, all_in_rpm: 3500, at_stop_deg: 22}
  - {name: medium, start_rpm: 1100, all_in_rpm: 4000, at_stop_deg: 22}
"""


def curve(rpm: np.ndarray, initial: float, total: float, all_in: float) -> np.ndarray:
    """Weights and springs: initial to 1000 rpm, total from ``all_in`` up."""
    return np.interp(rpm, [1000.0, all_in], [initial, total])


def shop_day(folder: Path, settings: list[tuple[float, float, float]]) -> DayReading:
    """A day of one pull a setting (initial, total, all-in rpm), read from files; logs, sheet and light agree."""
    rng = np.random.default_rng(1)
    home = folder / "logs" / "some eight" / "2031-04-05"
    home.mkdir(parents=True)
    (home.parent / "engine.yaml").write_text(ENGINE, encoding="utf-8")
    sheet = ["file,setting,initial_deg,total_deg"]
    light = ["setting,rpm,advance_deg"]
    rpm = np.arange(1500.0, 5600.0, 15.0)
    for number, (initial, total, all_in) in enumerate(settings, start=1):
        advance = curve(rpm, initial, total, all_in)
        torque = 400.0 - 1.1e-5 * (rpm - 3600.0) ** 2 + rng.normal(0.0, 0.5, len(rpm))
        rows = (f"{i / 20:.2f},{n:.0f},{t:.1f},{a:.1f}" for i, (n, t, a) in enumerate(zip(rpm, torque, advance, strict=True)))
        log = "Time [s],Engine speed [rpm],Torque [Nm],Ignition advance [deg BTDC crank]\n" + "\n".join(rows) + "\n"
        (home / f"pull {number}.csv").write_text(log, encoding="utf-8")
        name = f"{initial:g}+{total - initial:g}"
        sheet.append(f"pull {number}.csv,{name},{initial:g},{total:g}")
        light += [f"{name},{n},{curve(np.array(float(n)), initial, total, all_in):.1f}" for n in (900, 2000, 3000, 4000, 5000)]
    (home / "pulls.csv").write_text("\n".join(sheet) + "\n", encoding="utf-8")
    (home / "strobe.csv").write_text("\n".join(light) + "\n", encoding="utf-8")
    return read_day(Book.at(folder), "some eight", "2031-04-05")


def test_f1_f2_f3_usual_timing_is_not_flagged(tmp_path: Path) -> None:
    """Rows F1 (initial 12 to 15), F2 (33 to 34 on the light), F3 (total 34 to 36, all in by 3500 to 4000): common practice.

    Read as a day, with the engine's parts and a light: no fault, no warning, and no question about the degrees.
    """
    reading = shop_day(tmp_path, [(12, 34, 3500), (12, 33, 4000), (15, 36, 3500), (14, 35, 4000), (8, 35, 3500), (12, 34, 3500)])
    assert reading.errors == ()
    assert reading.warnings == ()
    assert reading.questions == ()
    assert reading.pulls.height == 6
    assert reading.pulls["usable"].all()
    assert sorted(reading.pulls["total_deg"].unique().to_list()) == [33, 34, 35, 36]


def test_f4_initial_and_mechanical() -> None:
    """Row F4: 35 less 19 leaves 16 crank degrees in the distributor, 8 of its own: arithmetic, exact."""
    assert setting_sum(19.0, 35.0) == 16.0
    assert distributor_from_crank(16.0) == 8.0
    sums = {
        row["what"]: row["text"]
        for row in bench_sums(
            initial_deg=19.0, stop_deg=16.0, total_deg=35.0, mark_error_deg=None, mark_uncertainty_deg=None,
            damper_diameter_mm=None, delay_us=None, at_rpm=None,
        )
    }  # fmt: skip
    assert sums["initial + mechanical = total"] == "19° + 16° = 35°"
    assert sums["crank and distributor degrees"] == "16° at the crank = 8° in the distributor"


@pytest.mark.parametrize("chamber", CHAMBERS)
def test_f5_peak_pressure_after_top_centre(chamber: Chamber) -> None:
    """Row F5: peak pressure at best advance about 10° after top centre; published statements range from 5° to 18°.

    Held against the tests' own physical engine, of which the claim is a consequence and nowhere an input.
    """
    engine = draw_engine(np.random.default_rng(5), chamber)
    advance = np.arange(6.0, 50.0, 0.5)
    rpm = np.array([[engine.rpm_lo + 0.6 * (engine.rpm_hi - engine.rpm_lo)]])
    cycles = run_cycles(engine, rpm, advance[None, :], STANDARD)
    best = int(np.argmax(cycles.torque_nm[0]))
    assert 0 < best < len(advance) - 1
    assert 5.0 <= cycles.peak_deg[0][best] <= 18.0


def test_f6_a_fixed_burn_time_says_too_much() -> None:
    """Row F6: 6·N·t less 10° with t = 2.0 ms gives 26, 32, 38° at 3000, 3500, 4000 rpm: twelve degrees per 1000 rpm.

    A published regression on an engine (row M1d) has 0.904056: the direction agrees, the size does not.
    """
    needed = [delay_deg(2000.0, rpm) - 10.0 for rpm in (3000.0, 3500.0, 4000.0)]
    assert needed == pytest.approx([26.0, 32.0, 38.0], abs=1e-12)
    slope = (needed[2] - needed[0]) / 1.0
    assert slope == pytest.approx(12.0, abs=1e-12)
    measured = 1000.0 * np.pi / 30.0 * 0.00048 / (2.0 * (0.0028 + 0.05 * 0.5))
    assert measured == pytest.approx(0.904056, abs=1e-6)
    assert slope > 10.0 * measured > 0.0


def test_f7_stop_and_initial() -> None:
    """Row F7: 8 + 27 = 35; 14 with the same stop is 41; to keep 35 the stop must be 21: arithmetic, exact."""
    stop = setting_sum(8.0, 35.0)
    assert stop == 27.0
    assert 14.0 + stop == 41.0
    assert setting_sum(14.0, 35.0) == 21.0
