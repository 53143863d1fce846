"""Whatever a day holds comes back as it went in, and whatever a folder is called has a partition of its own."""

import math
import tempfile
from pathlib import Path
from unittest import mock
from urllib.parse import unquote

import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pullbook.archive import disk
from pullbook.archive.names import MOST_BYTES, encode
from pullbook.archive.store import Store
from pullbook.comparison.changes import changes
from tests.unit.archive.made_up import record, writing

_names = st.text(st.characters(blacklist_categories=["Cs"]), min_size=1, max_size=120).filter(
    lambda n: "\0" not in n and "/" not in n
)
_numbers = st.none() | st.floats(width=64)
_texts = st.none() | st.text(st.characters(blacklist_categories=["Cs"]), max_size=20)


@given(_names)
def test_a_name_comes_back_or_is_cut_with_a_hash(name: str) -> None:
    encoded = encode(name)
    assert len(encoded.encode()) <= MOST_BYTES
    assert not set(encoded) & set("/\\\"'#*:?{[]^=")
    assert unquote(encoded) == name or (len(encoded) > 17 and encoded[-17] == "~")


@given(_names, _names)
def test_two_names_never_meet(one: str, other: str) -> None:
    assert (encode(one) == encode(other)) == (one == other)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    name=_names.filter(lambda n: len(n.encode()) < 200 and n not in (".", "..")),
    rows=st.lists(
        st.tuples(_texts, _numbers, st.none() | st.integers(-(2**62), 2**62), st.lists(_texts.filter(bool), max_size=3)), max_size=6
    ),
)
def test_a_table_comes_back_as_it_went_in(name: str, rows: list[tuple[str | None, float | None, int | None, list[str]]]) -> None:
    kinds = {"pull_id": pl.String(), "torque_nm": pl.Float64(), "segment": pl.Int64(), "tags": pl.List(pl.String())}
    table = pl.DataFrame(rows, schema=kinds, orient="row")
    call = writing(engine=name)
    call["tables"] = {"samples": table}
    with tempfile.TemporaryDirectory() as folder, mock.patch.object(disk.os, "fsync"):
        store = Store(Path(folder) / "archive")
        store.write_day(name, "2031-04-05", **call)
        back = store.read_tables(name, "2031-04-05", ["samples"])["samples"].select(*kinds)
    wanted = [(t, None if n is not None and math.isnan(n) else n, i, tags) for t, n, i, tags in rows]
    assert back.rows() == wanted


_facts = st.dictionaries(st.sampled_from(["plugs", "fuel", "oil", "dyno", "correction", "zero mark", "air pressure"]),
                         st.none() | st.text(max_size=5) | st.floats(80, 110), max_size=7)  # fmt: skip


@given(_facts, _facts, st.sets(st.text(max_size=4), max_size=9))
def test_what_changed_is_never_more_than_five_lines(before: dict[str, object], now: dict[str, object], run: set[str]) -> None:
    made = record(day="2031-05-02", conditions=now)
    made["pulls"] = [{"setting": s, "status": "used"} for s in run]
    lines = changes(made, record(conditions=before))
    assert 1 <= len(lines) <= 5
    assert "since 2031-04-05" in lines[0]
