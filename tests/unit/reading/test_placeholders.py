"""Signs for "none" that are numbers: read as missing where nothing else can be meant, kept where something can."""

from pathlib import Path

import numpy as np
import pytest
from tests.unit.reading.made_pull import about, pull, read

from pullbook.handover import LogReading

COLD = {10, 11, 12, 40, 80}


def with_column(folder: Path, heading: str, values: list[str]) -> LogReading:
    p = pull()
    rows = zip(p["time_s"], p["rpm"], p["torque_nm"], values, strict=True)
    return read(folder, f"Time [s],RPM,Torque [Nm],{heading}\n" + "".join(f"{t:.1f},{n:.0f},{m:.1f},{v}\n" for t, n, m, v in rows))


@pytest.mark.parametrize("sign", ["255", "127", "99.9", "-64"])
def test_an_advance_no_engine_has_that_comes_again_is_no_value(tmp_path: Path, sign: str) -> None:
    advance = pull()["advance_deg"]
    r = with_column(tmp_path, "Ignition advance [deg BTDC]", [sign if k in COLD else f"{advance[k]:.1f}" for k in range(120)])
    assert set(r.samples["advance_deg"].is_null().arg_true().to_list()) == COLD
    assert about(r, "is no value; 5 rows read as missing")


@pytest.mark.parametrize("sign", ["-40", "0", "127", "215"])
def test_a_coolant_that_leaps_to_one_value_and_back_has_none_there(tmp_path: Path, sign: str) -> None:
    r = with_column(tmp_path, "Coolant [°C]", [sign if k in COLD else f"{82 + 0.05 * k:.1f}" for k in range(120)])
    assert set(r.samples["coolant_c"].is_null().arg_true().to_list()) == COLD
    assert about(r, "is no value; 5 rows read as missing")


def test_a_coolant_that_was_cold_before_is_kept(tmp_path: Path) -> None:
    r = with_column(tmp_path, "Coolant [°C]", ["20" if k < 30 else f"{82 + 0.05 * k:.1f}" for k in range(120)])
    assert r.samples["coolant_c"].null_count() == 0


def test_values_outside_the_span_that_differ_are_named_and_kept(tmp_path: Path) -> None:
    advance = np.where(np.arange(120) > 100, 95.0 + np.arange(120) / 10, pull()["advance_deg"])
    r = with_column(tmp_path, "Ignition advance [deg BTDC]", [f"{a:.1f}" for a in advance])
    assert r.samples["advance_deg"].null_count() == 0
    assert about(r, "outside what engines do")
