"""A few of every fault; `python -m tests.faults --kills 100` is the long form."""

import random
import sys
from pathlib import Path

import pytest

from tests.faults import whole_run
from tests.faults.trials import flipped_bits, full_disk, kills, race, small_file_system


def test_kills_and_flipped_bits_lose_nothing(tmp_path: Path) -> None:
    draw = random.Random(20310405)
    tally = kills(tmp_path / "archive", 4, draw)
    assert (tally.faults, tally.lost) == (4, [])
    tally = flipped_bits(tmp_path / "archive", 12, draw)
    assert (tally.faults, tally.lost) == (12, [])


def test_a_full_disk_is_refused_clearly_and_loses_nothing(tmp_path: Path) -> None:
    tally = full_disk(tmp_path / "archive", random.Random(20310406), 2)
    assert (tally.faults, tally.lost) == (2, [])


def test_a_small_file_system_that_fills_up_loses_nothing(tmp_path: Path) -> None:
    tally = small_file_system(tmp_path / "small", random.Random(20310407), 2)
    if tally is None:
        pytest.skip("no small file system may be mounted here; the failing writer stands in for it")
    assert tally.faults > 0
    assert tally.lost == []


@pytest.mark.parametrize("hold", [True, False], ids=["two runs", "a run and an orphan"])
def test_two_at_once_lose_nothing(tmp_path: Path, hold: bool) -> None:
    assert race(tmp_path / "archive", 4, hold=hold).lost == []


@pytest.mark.long
def test_killed_runs_lose_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["whole_run", "--kills", "6", "--draw", "20310408"])
    assert whole_run.main() == 0
