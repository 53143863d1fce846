"""A day whose log and sheet were changed at random is read without a traceback, and every file is accounted for."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pullbook.book import Book
from pullbook.reading.check import as_text, check
from pullbook.reading.day import read_day
from tests.unit.reading.driven import SWEEP, drive, write_log

SHEET = b"file,pull,setting,initial_deg,total_deg,baseline,knock,logger_file\nx.csv,1,A,10,30,yes,heard,\ny.csv,,B,12,32,,,x.csv\n"
change = st.tuples(st.sampled_from(["set", "cut", "put"]), st.integers(0, 20_000), st.binary(min_size=1, max_size=12))


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return write_log(tmp_path_factory.mktemp("good") / "x.csv", drive(SWEEP, 5.0, throttle=True), 30.0).read_bytes()


def changed(content: bytes, changes: list[tuple[str, int, bytes]]) -> bytes:
    out = bytearray(content)
    for how, place, new in changes:
        at = place % max(len(out), 1)
        if how == "set":
            out[at : at + len(new)] = new
        elif how == "cut":
            del out[at : at + 20 * len(new)]
        else:
            out[at:at] = new
    return bytes(out)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(log=st.lists(change, max_size=20), sheet=st.lists(change, max_size=5))
def test_changed_bytes_never_stop_the_day(
    tmp_path: Path, good: bytes, log: list[tuple[str, int, bytes]], sheet: list[tuple[str, int, bytes]]
) -> None:
    book = Book.at(tmp_path)
    folder = book.day_folder("blue", "2031-04-05")
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "x.csv").write_bytes(changed(good, log))
    (folder / "y.csv").write_bytes(good)
    (folder / "pulls.csv").write_bytes(changed(SHEET, sheet))
    day = read_day(book, "blue", "2031-04-05")
    assert "y.csv" in day.pulls["file"].to_list(), "the good log is read whatever the other one holds"
    told = check(book, [])
    assert {f["file"].rsplit("/", 1)[-1] for f in told["files"]} == {"x.csv", "y.csv"}
    assert as_text(told)
