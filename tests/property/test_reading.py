"""Whatever dialect a pull is written in, it reads back the same; whatever happens to the bytes, there is no traceback."""

import contextlib
import random
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pullbook.handover import Fault, LogReading
from pullbook.reading.log import read_log
from pullbook.text.grid import read_grid
from pullbook.text.plain import read_plain
from pullbook.text.raw import RawLog
from pullbook.text.straight import read_straight
from pullbook.text.text import Text, clean_text, read_text
from tests.property.written_log import FAULTS, Dialect, Written, damaged, dialects, write

QUICK = settings(
    max_examples=50, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@contextlib.contextmanager
def written(data: bytes) -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "pull.csv")
        path.write_bytes(data)
        yield path


def read(data: bytes) -> LogReading:
    with written(data) as path:
        return read_log(path, shown="logs/e/2031-05-06/pull.csv")


@st.composite
def logs(draw: st.DrawFn, *, rows: tuple[int, ...] = (8, 15, 40, 150), line_ends: str = "any") -> tuple[Dialect, Written]:
    """A pull in a drawn dialect; ``line_ends``: any, or those with a line feed."""
    d = draw(dialects().filter(lambda d: line_ends == "any" or "\n" in d.line_end))
    many = draw(st.sampled_from(rows))
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    rpm = np.round(2500 + draw(st.sampled_from([12, 25, 40])) * np.arange(many) + rng.normal(0, 2, many))
    torque = draw(st.sampled_from([60, 200, 420])) * (1 - 1e-8 * (rpm - 4300) ** 2) + rng.normal(0, 0.3, many)
    return d, write(d, rpm, torque, np.round(28 + rng.normal(0, 0.4, many), 1), draw(st.sampled_from([0.05, 0.1, 0.2])))


HARM = st.lists(
    st.tuples(st.integers(0, 1 << 20), st.sampled_from(["cut", "drop", "double", "flip", "nul", "swap"]), st.integers(0, 255)),
    min_size=1,
    max_size=6,
)


def harmed(whole: bytes, harm: list[tuple[int, str, int]]) -> bytes:
    """Bytes with pieces cut out, doubled, swapped or overwritten."""
    data = bytearray(whole)
    for place, how, byte in harm:
        at = place % max(len(data), 1)
        match how:
            case "cut":
                del data[at:]
            case "drop":
                del data[at : at + byte]
            case "double":
                data[at:at] = data[at : at + 3 * byte]
            case "flip":
                data[at : at + 1] = bytes([byte])
            case "nul":
                data[at:at] = bytes(byte)
            case "swap":
                data[at : at + 40], data[:40] = data[:40], data[at : at + 40]
    return bytes(data)


@QUICK
@given(logs())
def test_any_table_in_any_dialect_reads_back(log: tuple[Dialect, Written]) -> None:
    """Same numbers to the digit printed, same channels, same units, same counts."""
    dialect, wanted = log
    r = read(wanted.data)
    assert r.error is None, wanted.text[:400]
    assert (r.rows, r.rows_dropped, r.header_line) == (wanted.rows, 0, wanted.header_line)
    assert r.decimal == dialect.decimal
    assert r.delimiter == dialect.delimiter[0]
    for channel, values in wanted.want.items():
        got = r.samples[channel].to_numpy().astype(float)
        np.testing.assert_allclose(got, values, atol=2e-3 if channel == "time_s" else 1e-6, err_msg=channel)
    units = {c.channel: c.unit for c in r.columns}
    assert {c: units[c] for c in wanted.units} == wanted.units


@QUICK
@given(
    logs(rows=(40, 150), line_ends="line feeds"), st.sets(st.sampled_from(FAULTS), min_size=1, max_size=4),
    st.randoms(use_true_random=False),
)  # fmt: skip
def test_faults_lose_no_row_and_are_counted(log: tuple[Dialect, Written], faults: set[str], chance: random.Random) -> None:
    """Whatever is strewn between them, whole rows read as before; what is dropped is counted."""
    dialect, wanted = log
    data, dropped = damaged(dialect, wanted, faults, chance)
    r = read(data)
    assert r.error is None, data[:400]
    assert (r.rows, r.rows_dropped) == (wanted.rows, dropped)
    for channel, values in wanted.want.items():
        got = r.samples[channel].to_numpy().astype(float)
        np.testing.assert_allclose(got, values, atol=2e-3 if channel == "time_s" else 1e-6, err_msg=channel)


@QUICK
@given(logs())
def test_short_and_general_way_agree(log: tuple[Dialect, Written]) -> None:
    """The fast parser's table is the careful reader's table."""
    with written(log[1].data) as path:
        text, again = (read_text(path, shown="pull.csv") for _ in range(2))
    assert not isinstance(text, Fault)
    assert not isinstance(again, Fault)
    short = read_plain(again, shown="pull.csv")
    if short is not None:
        same_table(short, read_grid(text, shown="pull.csv"))


@QUICK
@given(logs(), st.one_of(st.just([]), HARM))
def test_what_goes_straight_is_what_the_careful_way_reads(log: tuple[Dialect, Written], harm: list[tuple[int, str, int]]) -> None:
    """Whatever happened to the bytes: where the strict parser takes them, with patches or without, it lost and made up nothing."""
    data = harmed(log[1].data, harm)
    straight = read_straight(Text(data, ""), shown="pull.csv")
    text = clean_text(data, shown="pull.csv")
    if straight is not None:
        assert not isinstance(text, Fault)
        assert straight[1] == text.encoding
        same_table(straight[0], read_grid(text, shown="pull.csv"))


def same_table(short: RawLog, careful: RawLog | Fault) -> None:
    """Headings, lines and numbers are those of the careful reader."""
    assert not isinstance(careful, Fault)
    assert (short.headers, short.dropped, short.lines.to_list()) == (careful.headers, careful.dropped, careful.lines.to_list())
    for name in short.cells.columns:
        mine, other = short.cells[name], careful.cells[name]
        if mine.dtype == pl.Float64 and other.dtype == pl.Float64:
            assert mine.fill_nan(None).equals(other.fill_nan(None))
        elif mine.dtype == pl.Float64:
            other = other.str.replace_all(short.thousands or "'", "", literal=True)
            other = other.str.replace(short.decimal, ".", literal=True).cast(pl.Float64, strict=False)
            assert mine.fill_nan(None).to_list() == other.fill_nan(None).to_list()


@QUICK
@given(logs(), HARM)
def test_mutated_bytes_never_give_a_traceback(log: tuple[Dialect, Written], harm: list[tuple[int, str, int]]) -> None:
    """Rows kept plus rows dropped never exceed the lines there are, and lines point into the file."""
    data = harmed(log[1].data, harm)
    r = read(data)
    ends = data.count(b"\n") + data.count(b"\r") + 1
    assert r.rows + r.rows_dropped <= ends
    if r.error is None:
        assert r.rows == r.samples.height
        assert r.samples["line"].is_between(1, ends).all()
    else:
        assert r.rows == 0
        assert "\n" not in r.error.sentence()


@QUICK
@given(st.binary(max_size=3000))
def test_any_bytes_never_give_a_traceback(data: bytes) -> None:
    r = read(data)
    assert r.error is not None or r.rows > 0


@QUICK
@given(st.text(alphabet="0123456789.,;:\t \n\r\"'-eE|rpmNmtskWAaTime°äé[]()#%", max_size=800))
def test_any_table_like_text_never_gives_a_traceback(text: str) -> None:
    r = read(text.encode())
    assert r.error is not None or r.rows > 0
