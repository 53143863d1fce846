"""Readers that know nothing of this tool: DuckDB, pandas, Arrow and Polars read the archive as any partitioned data set."""

from pathlib import Path

import duckdb
import pandas as pd
import polars as pl
import pyarrow.dataset as ds
import pyarrow.parquet as pq
import pytest

from pullbook.archive.query import scan
from pullbook.archive.schema import SCHEMA_VERSION, TABLES
from pullbook.archive.store import Store

from .made_up import writing
from .schema_page import CONTRACT_TABLES

DAYS = [("350", "2031-04-05"), ("350", "2031-04-05-evening"), ("it's a 50% #1 Müller", "2031-04-06"), ("ü" * 150, "2031-04-07")]


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    store = Store(tmp_path_factory.mktemp("book") / "archive")
    for engine, day in DAYS:
        store.write_day(engine, day, **writing(engine=engine, day=day))
    store.write_day(*DAYS[0], **writing("b", 500.0, *DAYS[0]))
    store.update_catalog()
    return store.root


@pytest.mark.parametrize("table", CONTRACT_TABLES)
def test_pandas_reads_every_table(root: Path, table: str) -> None:
    frame = pd.read_parquet(root / table)
    assert {"engine", "day", "revision", "engine_name", "day_name"} <= set(frame.columns)
    assert len(frame) or table == "knock", "the invented day has a row for every table but that of knock"
    if len(frame):
        assert set(frame["day"].astype(str)) == {day for _, day in DAYS}
        assert set(frame["engine_name"]) == {engine for engine, _ in DAYS}


@pytest.mark.parametrize("table", CONTRACT_TABLES)
def test_duckdb_reads_every_table(root: Path, table: str) -> None:
    source = f"read_parquet('{root}/{table}/**/*.parquet', hive_partitioning = true)"
    seen = duckdb.sql(f"select distinct engine_name, day_name, revision from {source}").fetchall()
    if table != "knock":
        assert sorted(seen) == sorted((e, d, 2 if (e, d) == DAYS[0] else 1) for e, d in DAYS)
    partitions = duckdb.sql(f"select distinct engine from {source} where length(engine) < 100").fetchall()
    if table != "knock":
        assert {p[0] for p in partitions} == {"350", "it's a 50% #1 Müller"}


def test_duckdb_answers_a_question_across_tables(root: Path) -> None:
    best, pulls = (f"read_parquet('{root}/{t}/**/*.parquet', hive_partitioning = true)" for t in ("best", "pulls"))
    got = duckdb.sql(
        f"select p.setting, b.best_deg from {best} b join {pulls} p using (engine, day)"
        " where b.rpm = 3000 and day = '2031-04-06' order by 1"
    ).fetchall()
    assert got == [("14+20 grey", 33.0), ("14+22 grey", 33.0)]


def test_arrow_fields_carry_units_and_the_schema_its_version(root: Path) -> None:
    schema = pq.read_schema(next((root / "samples").rglob("*.parquet")))
    units = {f.name: f.metadata[b"unit"].decode() for f in schema}
    assert units["torque_nm"] == "N·m"
    assert (units["rpm"], units["time_s"], units["advance_deg"], units["lambda"]) == ("rpm", "s", "°BTDC", "")
    assert schema.metadata[b"pullbook.schema"].decode() == str(SCHEMA_VERSION)
    assert str(schema.field("day_name").type) == "string"
    assert ds.dataset(root / "samples").schema.names == ["revision", "engine_name", "day_name", *TABLES["samples"]]


def test_every_day_has_the_same_columns(root: Path) -> None:
    for table in TABLES:
        schemas = {tuple((f.name, str(f.type)) for f in pq.read_schema(p)) for p in (root / table).rglob("*.parquet")}
        assert len(schemas) == 1, table


def test_a_file_in_progress_is_passed_over(root: Path) -> None:
    folder = next((root / "best").rglob("*.parquet")).parent
    for name in ("_half.parquet", ".half.parquet"):
        (folder / name).write_bytes(b"half")
    try:
        assert len(pd.read_parquet(root / "best")) == 2 * len(DAYS)
        assert scan(root, "best").collect().height == 2 * len(DAYS)
    finally:
        for name in ("_half.parquet", ".half.parquet"):
            (folder / name).unlink()


def test_the_catalogue_is_one_plain_file(root: Path) -> None:
    frame = pd.read_parquet(root / "catalog.parquet")
    assert list(zip(frame["engine"], frame["day"], strict=True)) == sorted(DAYS)
    assert duckdb.sql(f"select max(revision) from '{root}/catalog.parquet'").fetchall() == [(2,)]


def test_lazy_scans_open_only_what_is_asked_for(root: Path) -> None:
    assert pl.read_parquet(root / "best" / "**" / "*.parquet", hive_partitioning=False).height == 2 * len(DAYS)
    one = scan(root, "best", engine="350", days=["2031-04-05"]).collect()
    assert one["revision"].unique().to_list() == [2]
    assert one.columns[:3] == ["revision", "engine", "day"]
    assert scan(root, "best", engine="350").collect()["day"].unique().sort().to_list() == ["2031-04-05", "2031-04-05-evening"]
    assert scan(root, "best", engine="none such").collect().height == 0
    with pytest.raises(ValueError, match="together with their engine"):
        scan(root, "best", days=["2031-04-05"])


def test_the_record_is_a_table_too(root: Path) -> None:
    texts = duckdb.sql(f"select text->>'$.advice.sentence' from read_parquet('{root}/record/**/*.parquet')").fetchall()
    assert set(texts) == {("Set 14 initial, 34 total.",)}


def test_the_catalogue_carries_its_units_too(root: Path) -> None:
    schema = pq.read_schema(root / "catalog.parquet")
    units = {f.name: f.metadata[b"unit"].decode() for f in schema}
    assert (units["total_deg"], units["all_in_rpm"], units["pull_sd_pct"], units["engine"]) == ("°BTDC", "rpm", "%", "")
