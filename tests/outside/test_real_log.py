"""A real engine's log (reference rows D1 to D3): excerpt of an open data set, CC BY-SA 4.0, in data/cc-by-sa-4.0/ with its notice.

Its publisher standardised every column to zero mean and unit variance and gives no scale: it proves reading and nothing physical.
"""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pullbook.book import Book
from pullbook.channels.column import Talk
from pullbook.channels.columns_made import make_columns
from pullbook.channels.dead import never_moves
from pullbook.channels.liveliness import repeats
from pullbook.handover import LogReading
from pullbook.reading.check import check
from pullbook.reading.log import read_log
from pullbook.text.grid import read_grid
from pullbook.text.plain import read_plain
from pullbook.text.raw import RawLog
from pullbook.text.text import Text, read_text

LOG = Path(__file__).parent / "data" / "cc-by-sa-4.0" / "gasoline_engine_10hz_excerpt_ccbysa.csv"
COLUMNS = ["speed_std", "load_std", "lambda_std", "ignition_angle_std", "fuel_cutoff_std"]

READERS = {"the short way": read_plain, "the general way": read_grid}


@pytest.fixture(params=READERS)
def values(request: pytest.FixtureRequest) -> dict[str, np.ndarray]:
    """Numbers by heading, as the tool's own readers make them."""
    text = read_text(LOG, shown=LOG.name)
    assert isinstance(text, Text)
    raw = READERS[request.param](text, shown=LOG.name)
    assert isinstance(raw, RawLog)
    made = make_columns(raw, {}, shown=LOG.name, talk=Talk(LOG.name))
    assert isinstance(made, tuple)
    return {c.header: c.values for c in made[1] if c.values is not None}


@pytest.fixture(scope="module")
def reading() -> LogReading:
    """The log as the tool reads it."""
    return read_log(LOG, shown=LOG.name)


def test_d1_values(values: dict[str, np.ndarray]) -> None:
    """Row D1: 900 rows, 5 columns; means and the ignition's ends to 1e-6, counted on the published file."""
    assert list(values) == COLUMNS
    assert {len(v) for v in values.values()} == {900}
    means = [float(v.mean()) for v in values.values()]
    assert means == pytest.approx([0.192890, 0.084807, -0.141073, 0.060212, -0.116440], abs=1e-6)
    ignition = values["ignition_angle_std"]
    assert (ignition.min(), ignition.max()) == pytest.approx((-2.60441, 1.75493), abs=1e-9)


def test_d1_against_another_reader(values: dict[str, np.ndarray]) -> None:
    """Row D1 again: every number equals what a plain CSV parser makes of it."""
    other = pl.read_csv(LOG)
    for name, mine in values.items():
        assert np.array_equal(mine, other[name].to_numpy()), name


def test_d2_held_values(values: dict[str, np.ndarray]) -> None:
    """Row D2: successive equal samples out of 899, and distinct values: exact counts."""
    assert [repeats(values[name]) for name in COLUMNS] == [(8, 899), (2, 899), (0, 899), (499, 899), (899, 899)]
    assert [len(np.unique(values[name])) for name in COLUMNS] == [840, 893, 890, 312, 1]
    assert [never_moves(values[name]) for name in COLUMNS] == [False, False, False, False, True]


def test_d2_is_said(reading: LogReading) -> None:
    """Row D2: fuel cut-off never moves, ignition is held or quantised, and nothing is said of the others."""
    said = " | ".join(reading.warnings)
    assert "'fuel_cutoff_std' never moves" in said
    assert "'ignition_angle_std' is held or quantised: 499 of 899 samples repeat the one before (55.5 %), 312 distinct" in said
    for name in ("speed_std", "load_std", "lambda_std"):
        assert name not in said


def test_d3_no_physics(reading: LogReading, tmp_path: Path) -> None:
    """Row D3: speeds below zero are no rpm: the log is refused with its line, its column and what to do, and no sample is kept."""
    assert reading.error is not None
    assert (reading.error.line, reading.error.column) == (1, "speed_std")
    assert "no physical units" in reading.error.found
    assert "rpm" in reading.error.expected
    assert "columns.yaml" in reading.error.remedy
    assert reading.samples.height == 0
    home = tmp_path / "logs" / "some engine" / "2031-01-29"
    home.mkdir(parents=True)
    (home / LOG.name).write_bytes(LOG.read_bytes())
    (told,) = check(Book.at(tmp_path), [])["files"]
    assert told["error"]["column"] == "speed_std"
    assert told["segments"] == []
