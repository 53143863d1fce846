"""Distributor degrees are doubled once, wherever the operator said so: in columns.yaml, in engine.yaml, or in both."""

from pathlib import Path

import pytest
from tests.unit.docs.page_logs import LOGS
from tests.unit.docs.test_reading_logs import DAY, ENGINE, shop

from pullbook.reading.day import read_day
from pullbook.stages.align import align_day
from pullbook.stages.delivered import delivered_advance

IN_COLUMNS = {"columns.yaml": "degrees.csv: {Timing: {channel: advance_deg, scale: 2}}\n"}
IN_ENGINE = {"engine.yaml": "ignition: {advance_scale: distributor}\n"}


@pytest.mark.parametrize("files", [IN_COLUMNS, IN_ENGINE, IN_COLUMNS | IN_ENGINE], ids=["columns", "engine", "both"])
@pytest.mark.parametrize("heading", ["Timing", "Timing [deg BTDC]"])
def test_half_of_34_is_34(files: dict[str, str], heading: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(LOGS, "degrees.csv", LOGS["degrees.csv"].replace("Timing", heading, 1))
    told = {name: text.replace("{Timing:", f"{{'{heading}':") for name, text in files.items()}
    reading = read_day(shop(tmp_path, ["degrees.csv"], told), ENGINE, DAY)
    assert reading.samples["advance_deg"].max() == pytest.approx(34.0, abs=1e-9)
    delivered = delivered_advance(reading, align_day(reading)).delivered
    assert delivered["advance_deg"].max() == pytest.approx(34.0, abs=0.05)
