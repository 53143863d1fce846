"""Comma as delimiter and decimal mark at once: read in pairs where the whole file proves them, refused in one line else."""

from pathlib import Path

import numpy as np
import pytest
from tests.unit.reading.made_pull import pull, read

from pullbook.handover import LogReading

NAMES = "Zeit [s],Drehzahl [U/min],Drehmoment [Nm],Leistung [kW],Zündwinkel [°KW v. OT]"


def rows(decimals: tuple[int, ...] = (2, 1, 1, 2, 1), count: int = 120) -> list[str]:
    made = pull(count)
    table = zip(*(made[c] for c in ("time_s", "rpm", "torque_nm", "power_kw", "advance_deg")), strict=True)
    return [",".join(f"{v:.{d}f}".replace(".", ",") for v, d in zip(row, decimals, strict=True)) for row in table]


def log(folder: Path, lines: list[str], names: str = NAMES) -> LogReading:
    return read(folder, "\n".join([names, *lines, ""]))


def refused(reading: LogReading) -> bool:
    return reading.error is not None and "decimal mark and separator at once" in reading.error.expected


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_rows_of_pairs_are_numbers(tmp_path: Path, end: str) -> None:
    reading = read(tmp_path, end.join([NAMES, *rows(), ""]))
    assert reading.error is None
    assert (reading.rows, reading.rows_dropped, reading.delimiter, reading.decimal) == (120, 0, ",", ",")
    made = pull(120)
    for channel, step in (("time_s", 0.01), ("rpm", 0.1), ("torque_nm", 0.1), ("power_kw", 0.01), ("advance_deg", 0.1)):
        np.testing.assert_allclose(reading.samples[channel].to_numpy(), made[channel], atol=0.51 * step)
    assert any("read in pairs" in w for w in reading.warnings)
    assert {c.channel: c.unit_from for c in reading.columns}["torque_nm"] == "proved"


def test_a_header_again_a_blank_line_and_a_clock_are_no_doubt(tmp_path: Path) -> None:
    lines = [f"11:59:{k // 10:02d},{k % 10},{row.split(',', 2)[2]}" for k, row in enumerate(rows(count=60))]
    names = NAMES.replace("Zeit [s]", "Uhrzeit")
    reading = log(tmp_path, [*lines[:30], "", names, *lines[30:]], names)
    assert reading.error is None
    assert reading.rows == 60
    assert reading.samples["time_s"].to_list() == pytest.approx([k / 10 for k in range(60)])


def test_one_line_that_does_not_pair_is_enough_to_refuse(tmp_path: Path) -> None:
    whole = rows()
    for odd in (whole[60][:-2], whole[60] + ",7", whole[60].replace(",", ",x", 1), "9,99," + whole[60][5:] + "3", "marker set"):
        assert refused(log(tmp_path, [*whole[:60], odd, *whole[61:]])), odd


def test_what_may_be_thousands_is_refused(tmp_path: Path) -> None:
    """`3,105` is 3105 or 3.105."""
    lines = [f"{k // 10},{k % 10},3,{100 + k},175,{k % 10},57,{k % 10},29,6" for k in range(60)]
    assert refused(log(tmp_path, lines))


def test_a_column_of_whole_numbers_is_refused(tmp_path: Path) -> None:
    assert refused(log(tmp_path, rows((2, 0, 1, 2, 1))))
