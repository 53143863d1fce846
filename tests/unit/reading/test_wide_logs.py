"""Logs of nearly a thousand columns: they go the short ways too, and the general way does not look at each column by itself."""

import time
from pathlib import Path

import numpy as np
import pytest

from pullbook.reading.log import read_log
from pullbook.text import grid, strict
from pullbook.text.straight import read_straight
from pullbook.text.text import Text

WIDE = 990
HEAD = ",".join(["t [s]", "Engine speed [rpm]", "Torque [Nm]", *(f"Extra {k} [V]" for k in range(WIDE - 3))])


def lines_of(rows: int) -> list[str]:
    other = np.random.default_rng(4).normal(50, 5, (rows, WIDE - 3)).round(3)
    return [f"{0.01 * k:.2f},{1500 + 2 * k},{180 + 0.25 * k:.2f}," + ",".join(map(str, x)) for k, x in enumerate(other.tolist())]


def test_a_wide_log_goes_the_shortest_way() -> None:
    raw, _ = read_straight(Text("\n".join([HEAD, *lines_of(300), ""]).encode(), ""), shown="a.csv") or pytest.fail("not taken")
    assert raw.cells.shape == (300, WIDE)
    assert raw.cells["1"].to_list() == [1500 + 2 * k for k in range(300)]


def test_a_few_broken_rows_of_a_wide_log_are_mended() -> None:
    lines = lines_of(300)
    lines[100] = lines[100].rsplit(",", 256)[0]  # as many cells short as a byte counts
    lines[200] = lines[200][:2000]
    raw, _ = read_straight(Text("\n".join([HEAD, *lines, ""]).encode(), ""), shown="a.csv") or pytest.fail("not taken")
    assert raw.cells.height == 298
    assert set(range(2, 302)) - set(raw.lines.to_list()) == {102, 202}


@pytest.mark.parametrize("mark", [".", ","])
def test_many_broken_rows_of_a_wide_log_take_seconds(tmp_path: Path, mark: str) -> None:
    """A minute and more once, when every column of every slab was looked at by itself."""
    lines = lines_of(600)
    lines[5::10] = [line[: len(line) // 2] for line in lines[5::10]]
    text = "\n".join([HEAD, *lines, ""])
    path = tmp_path / "wide.csv"
    path.write_text(text if mark == "." else text.replace(",", ";").replace(".", ","))
    began = time.process_time()
    log = read_log(path, shown="wide.csv")
    assert time.process_time() - began < 8
    assert log.error is None
    assert (log.rows, log.rows_dropped, log.decimal) == (540, 60, mark)
    assert log.samples["rpm"].to_list() == [1500 + 2 * k for k in range(600) if k % 10 != 5]


def test_a_log_of_more_cells_than_may_be_held_is_refused_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "wide.csv"
    path.write_text("\n".join([HEAD, *lines_of(40), ""]))
    monkeypatch.setattr(strict, "MOST_CELLS", 40 * WIDE - 1)
    monkeypatch.setattr(grid, "MAX_CELLS", 30 * WIDE)
    log = read_log(path, shown="wide.csv")
    assert log.error is not None
    assert log.error.line == 1
    assert "million cells" in log.error.found
    assert log.error.remedy == "export only the channels of the pull, or split the log"


def test_blanks_are_counted_as_cells_of_text(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A byte in the file, sixteen in memory."""
    path = tmp_path / "blank.csv"
    path.write_text("\n".join([HEAD, *(f"{0.01 * k:.2f},{1500 + 2 * k},180.5{',' * (WIDE - 3)}" for k in range(100)), ""]))
    assert read_log(path, shown="blank.csv").error is None
    monkeypatch.setattr(strict, "MOST_CELLS", 150 * WIDE)
    monkeypatch.setattr(grid, "MAX_CELLS", 90 * WIDE)
    assert read_log(path, shown="blank.csv").error is not None


def test_half_of_the_columns_may_hold_words(tmp_path: Path) -> None:
    cells = [f"{0.01 * k:.2f},{1500 + 2 * k},{180 + 0.25 * k:.2f}," + "7.5,closed loop," * 30 + "ready" for k in range(200)]
    names = ["t [s]", "Engine speed [rpm]", "Torque [Nm]", *(f"Extra {k}" for k in range(61))]
    path = tmp_path / "words.csv"
    path.write_text("\n".join([",".join(names), *cells, ""]))
    log = read_log(path, shown="words.csv")
    assert log.error is None
    assert log.samples["rpm"].to_list() == [1500 + 2 * k for k in range(200)]


def test_hundreds_of_columns_of_one_channel_take_seconds_and_one_line(tmp_path: Path) -> None:
    """Every torque against every power were 160,000 proofs, and every other column a question."""
    many = range(400)
    names = ["t [s]", "Engine speed [rpm]", *(f"Torque {k} [Nm]" for k in many), *(f"Power {k} [kW]" for k in many)]
    rows = [
        ",".join(
            [f"{0.01 * i:.2f}", str(1500 + i), *(str(150 + (i + k) % 50) for k in many), *(str(60 + i * k % 40) for k in many)]
        )
        for i in range(300)
    ]
    path = tmp_path / "many.csv"
    path.write_text("\n".join([",".join(names), *rows, ""]))
    began = time.process_time()
    log = read_log(path, shown="many.csv")
    assert time.process_time() - began < 10
    assert log.error is None
    assert any("393 more columns say torque_nm" in question for question in log.questions)
    assert len(log.questions) + len(log.warnings) < 40
