"""Time numbers without a unit: what their step and the speed of the sweep make of them, and nothing where they cannot tell."""

from pathlib import Path

import numpy as np
import pytest
from tests.unit.reading.made_pull import read

from pullbook.channels.clock import scale_of_bare_numbers, sweep_of
from pullbook.units import DAY_S

RPM = 2000.0 + 30.0 * np.arange(100.0)  # 300 rpm/s at 10 Hz
T = 0.1 * np.arange(100.0)


@pytest.mark.parametrize(
    ("written", "rpm", "factor", "why"),
    [
        (T, RPM, 1.0, None),
        (1000.0 * T, RPM, 1e-3, "milliseconds"),
        (np.round(1000.0 * T), None, 1e-3, "milliseconds"),
        (T / 60.0, 2000.0 + 2.0 * (RPM - 2000.0), 60.0, "minutes"),
        (14.0 + T / 3600.0, RPM, 3600.0, "hours"),
        (0.6 + T / DAY_S, RPM, DAY_S, "day fractions of a spreadsheet"),
        (48_000.4 + T / DAY_S, None, DAY_S, "day fractions of a spreadsheet"),
        (1.9e12 + 1000.0 * T, RPM, 1e-3, "milliseconds since 1970"),
        (np.full(100, 3.0), RPM, 1.0, None),  # never moves
        (T, None, 1.0, None),
    ],
)  # fmt: skip
def test_the_unit_is_the_one_under_which_an_engine_sweeps(
    written: np.ndarray, rpm: np.ndarray | None, factor: float, why: str | None
) -> None:
    assert scale_of_bare_numbers(written, rpm) == (factor, why)


def test_a_sweep_in_rpm_per_unit_of_time() -> None:
    assert sweep_of(T, RPM) == pytest.approx(300.0)
    assert sweep_of(1000.0 * T, RPM) == pytest.approx(0.3)


def test_minutes_and_a_noisy_quick_recorder_are_told_apart_by_the_sweep_as_a_whole(tmp_path: Path) -> None:
    """15,000 rpm a unit: minutes of an even sweep, or seconds of a thousand rows each, whose noise steps as fast."""
    rng = np.random.default_rng(4)
    minutes = [f"{k / 600:.7f},{2000 + 25 * k:.0f},200" for k in range(160)]
    r = read(tmp_path, "Time,RPM,Torque [Nm]\n" + "\n".join(minutes))
    assert r.samples["time_s"][-1] == pytest.approx(15.9, abs=1e-3)
    noisy = [f"{k / 1000:.4f},{2000 + 0.3 * k + rng.normal(0, 60):.0f},200" for k in range(9000)]
    r = read(tmp_path, "Time,RPM,Torque [Nm]\n" + "\n".join(noisy), name="noisy.csv")
    assert r.samples["time_s"][-1] == pytest.approx(8.999, abs=1e-3)
