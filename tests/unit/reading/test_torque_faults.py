"""Torque that is no torque: spikes named where the log is looked at, the floor of an absorber in over-run said once."""

import json
from pathlib import Path

import numpy as np
import pytest

from pullbook.arrays import Array
from pullbook.book import Book
from pullbook.channels.dead import longest_stuck
from pullbook.measure.spikes import torque_spikes
from pullbook.reading.check import check
from pullbook.reading.survey import survey

T = np.arange(0, 14, 0.05)
RPM = np.where(T < 9, 2400 + 380 * T, 5820 - 700 * (T - 9))


def book_with(root: Path, torque: Array, unit: str = "Nm") -> Book:
    day = root / "logs" / "blue" / "2031-05-01"
    day.mkdir(parents=True)
    lines = [f"{t:.2f},{n:.0f},{m:.1f},30.0" for t, n, m in zip(T, RPM, torque, strict=True)]
    (day / "a.csv").write_text("\n".join([f"t [s],rpm,brake [{unit}],advance [deg BTDC crank]", *lines, ""]), "utf-8")
    return Book.at(root)


def torque_of(seed: int, over_run: float) -> Array:
    full = 200 - 6e-6 * (RPM - 4200) ** 2 + np.random.default_rng(seed).normal(0, 0.6, len(T))
    fall = over_run + (full - over_run) * np.exp(-(T - 9) / 0.15)
    return np.where(T < 9, full, np.where(T < 9.6, fall, over_run))


def said_of(book: Book) -> list[str]:
    return list(survey(book, "blue", "2031-05-01").logs[0].warnings)


def test_a_spike_of_torque_is_named_with_its_line_and_what_is_done(tmp_path: Path) -> None:
    torque = torque_of(1, -20.0)
    torque[80], torque[121] = 999.3, -340.0
    book = book_with(tmp_path, torque)
    said = [w for w in said_of(book) if "spike" in w]
    assert len(said) == 1
    assert "'brake [Nm]': 2 torque spikes" in said[0]
    assert "(line 82, 123; the first reads 999.3 N·m)" in said[0]
    assert said[0].endswith("left out of every estimate")
    log = survey(book, "blue", "2031-05-01").logs[0]
    pull = next(s for s in log.segments if s.kind == "pull")
    found = np.flatnonzero(torque_spikes(log.samples["torque_nm"].to_numpy()[pull.first : pull.stop])) + pull.first
    assert {80, 121} <= set(found.tolist()), "the estimate leaves out the same samples"
    assert said[0] in json.dumps(check(book, []), ensure_ascii=False)


def test_a_pull_without_spikes_has_none(tmp_path: Path) -> None:
    assert not [w for w in said_of(book_with(tmp_path, torque_of(2, -20.0))) if "spike" in w]


def test_a_step_that_stays_is_no_spike(tmp_path: Path) -> None:
    torque = torque_of(3, -20.0)
    torque[100:] *= 0.7
    assert not [w for w in said_of(book_with(tmp_path, torque)) if "spike" in w]


@pytest.mark.parametrize("floor", [-15.0, 0.0])
def test_the_floor_of_an_absorber_in_over_run_is_said_once(tmp_path: Path, floor: float) -> None:
    said = said_of(book_with(tmp_path, torque_of(4, floor)))
    assert [w for w in said if "brake" in w] == [w for w in said if "over-run" in w]
    assert len(said) == 1
    assert f"reads {floor:g}, its least" in said[0]


def test_torque_that_stands_still_at_its_most_is_at_its_rail_and_said_once(tmp_path: Path) -> None:
    said = said_of(book_with(tmp_path, np.minimum(torque_of(5, -20.0) - 0.02 * np.abs(T - 6) ** 3, 195.0)))
    assert sum("rail" in w for w in said) == 1
    assert not any("over-run" in w and "rail" in w for w in said)


def test_a_folder_named_like_a_log_is_one_line(tmp_path: Path) -> None:
    book = book_with(tmp_path, torque_of(6, -20.0))
    (book.logs / "blue" / "2031-05-01" / "b.csv").mkdir()
    found = survey(book, "blue", "2031-05-01")
    assert [f.file.rsplit("/", 1)[-1] for f in found.faults] == ["b.csv"]
    assert not [w for w in found.warnings if "b.csv" in w]


@pytest.mark.parametrize("first", [0, 1, 2, 3, 141, 142, 143, 284, 285])
def test_a_run_of_fifteen_equal_values_is_found_wherever_it_lies(first: int) -> None:
    values = np.random.default_rng(8).integers(0, 4, 300).astype(float)
    values[first : first + 15] = 9.0
    assert longest_stuck(values, None) == (first, 15)
    values[first + 7] = 8.0
    assert longest_stuck(values, None) == (0, 0)
