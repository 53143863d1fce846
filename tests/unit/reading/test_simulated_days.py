"""Simulated days written as a shop's folder read back as they were: pulls, settings, notes and the numbers in the logs."""

from pathlib import Path

import numpy as np
import pytest
from tests.simulator.day import simulate
from tests.simulator.design import Design

from pullbook.book import Book
from pullbook.reading.day import read_day

DAY = Design("read back", offsets_deg=(-4.0, 0.0), order=(1, 0, 1), baseline=1, light_readings=6, air_each_pull=True, aborted=(1,))


@pytest.mark.parametrize("dialect", ["comma", "semicolon", "tab_units", "date"])
def test_a_day_reads_back(tmp_path: Path, dialect: str) -> None:
    day = simulate(DAY, 11)
    day.write(tmp_path / "logs" / day.engine_name / day.day, dialect)
    found, wanted = read_day(Book.at(tmp_path), day.engine_name, day.day), day.reading
    assert found.errors == ()
    for name in ("kind", "setting", "baseline", "knock", "initial_deg", "total_deg", "pressure_kpa", "oil_c"):
        assert found.pulls[name].to_list() == pytest.approx(wanted.pulls[name].to_list()), name
    for name in ("setting", "rpm", "advance_deg", "direction"):
        assert found.strobe[name].to_list() == wanted.strobe[name].to_list(), name
    for trace, log in zip(day.traces, found.logs, strict=True):
        opens, shuts = (float(trace.time_s[np.searchsorted(trace.phase, p)]) for p in (1, 2))
        (pull,) = (s for s in log.segments if s.kind in ("pull", "aborted"))
        assert pull.start_s == pytest.approx(opens, abs=0.5)
        assert pull.end_s == pytest.approx(shuts, abs=0.2)
        torque = log.samples["torque_nm"].to_numpy()
        assert torque == pytest.approx(trace.torque_nm, abs=0.15), "units undone, nothing lost, nothing invented"
        assert log.samples["rpm"].to_numpy() == pytest.approx(trace.rpm, abs=0.6)
