"""Speed that leaps away and back however long it stays, and torque that a brake counts below zero."""

from pathlib import Path

import numpy as np
import pytest
from tests.unit.reading.driven import SWEEP, drive
from tests.unit.reading.made_pull import about, pull, read


@pytest.mark.parametrize(("first", "count", "times"), [(40, 5, 0.3), (40, 5, 2.6), (30, 34, 2.0), (50, 30, 0.5)])
def test_a_stretch_that_speed_leaps_into_and_back_out_of_is_missing(tmp_path: Path, first: int, count: int, times: float) -> None:
    p = pull()
    read_as = p["rpm"].copy()
    read_as[first : first + count] *= times
    lines = [f"{t:.2f},{n:.0f},{m:.1f}" for t, n, m in zip(p["time_s"], read_as, p["torque_nm"], strict=True)]
    r = read(tmp_path, "Time [s],RPM,Torque [Nm]\n" + "\n".join(lines))
    assert r.samples["rpm"].is_null().arg_true().to_list() == list(range(first, first + count))
    assert r.rows == 120
    assert about(r, f"on {count} rows from line {first + 2} on")


def test_what_an_engine_does_is_no_torn_stretch(tmp_path: Path) -> None:
    """A quick blip at ten rows a second, and a change of gear: speed falls no faster than it can, or does not leap back."""
    up, down = np.linspace(900, 3800, 4), np.linspace(3500, 900, 9)
    gear = np.concatenate([np.linspace(2500, 5500, 40), [4400.0, 3600.0], np.linspace(3650, 5600, 40)])
    rpm = np.concatenate([np.full(30, 900.0), up, down, np.full(20, 900.0), np.linspace(950, 2450, 12), gear])
    r = read(tmp_path, "Time [s],RPM,Torque [Nm]\n" + "".join(f"{k / 10:.1f},{n:.0f},{150 + k % 7}\n" for k, n in enumerate(rpm)))
    assert r.samples["rpm"].null_count() == 0


def test_torque_of_a_brake_that_counts_it_negative_is_turned_and_asked_about(tmp_path: Path) -> None:
    """In over-run it reads above zero, so it is not negative throughout."""
    samples = drive(SWEEP)
    lines = [f"{t:.1f},{n:.0f},{-m:.1f}" for t, n, m in samples.select("time_s", "rpm", "torque_nm").iter_rows()]
    r = read(tmp_path, "Time [s],RPM,Torque [Nm]\n" + "\n".join(lines))
    np.testing.assert_allclose(r.samples["torque_nm"].to_numpy(), samples["torque_nm"].to_numpy(), atol=0.051)
    assert about(r, "sign: -1")


def test_torque_of_over_run_alone_is_not_turned(tmp_path: Path) -> None:
    lines = [f"{k / 10:.1f},{5000 - 30 * k},{-18 - k % 3}.5" for k in range(110)]
    lines += [f"{11 + k / 10:.1f},{1700},{6 + k % 3}.5" for k in range(30)]
    r = read(tmp_path, "Time [s],RPM,Torque [Nm]\n" + "\n".join(lines))
    assert r.samples["torque_nm"][0] == -18.5
