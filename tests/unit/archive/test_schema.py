"""The schema is explicit, versioned and documented; days of an earlier version are brought up when read, and by migrate."""

from pathlib import Path

import polars as pl
import pytest

from pullbook import columns, handover
from pullbook.archive import disk, migrate, reader, schema, staging, store, upgrade
from pullbook.archive.schema import SCHEMA_VERSION, TABLES, arrow_schema, to_parquet
from pullbook.archive.store import Store

from .made_up import writing
from .schema_page import PAGE, fingerprint, page_with_tables

FINGERPRINTS = {1: "ca0834cc4563d0ac"}


def test_a_changed_table_needs_another_version() -> None:
    assert FINGERPRINTS[SCHEMA_VERSION] == fingerprint(), "the tables changed: raise SCHEMA_VERSION (see archive/upgrade.py)"


def test_the_page_of_tables_is_fresh() -> None:
    assert PAGE.read_text(encoding="utf-8") == page_with_tables(), "run `python -m tests.unit.archive.schema_page`"


def test_every_number_has_a_unit_or_is_a_count_or_a_ratio() -> None:
    plain = {"revision", "segment", "order", "n", "item", "method", "schema", "air_factor", "lambda", "knock", "clock_rate"}
    for name in TABLES:
        for field in arrow_schema(name):
            if str(field.type) in ("double", "int64") and field.name not in plain:
                assert field.metadata[b"unit"], f"{name}.{field.name}"


def test_samples_have_every_channel() -> None:
    assert set(columns.CHANNELS) < set(TABLES["samples"])


def test_a_type_that_is_not_kept_is_a_fault_of_ours() -> None:
    with pytest.raises(TypeError, match="keeps no column of type"):
        to_parquet("best", pl.DataFrame({"odd": [{"a": 1}]}), engine="e", day="2031-04-05", revision=1)


def test_days_of_an_earlier_version_are_brought_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = Store(tmp_path / "archive")
    archive.write_day("blue", "2031-04-05", **writing(engine="blue"))
    assert migrate.migrate(archive) == []
    for module in (migrate, schema, staging, store, upgrade):
        monkeypatch.setattr(module, "SCHEMA_VERSION", 2)
    monkeypatch.setitem(schema.TABLES, "best", {**TABLES["best"], "least_torque_nm": pl.Float64()})
    monkeypatch.setitem(upgrade.STEPS, 1, lambda name, table: table.with_columns(least_torque_nm=99.0) if name == "best" else table)
    assert archive.read_tables("blue", "2031-04-05", ["best"])["best"]["least_torque_nm"].to_list() == [99.0, 99.0]
    assert migrate.migrate(archive) == [("blue", "2031-04-05", 2)]
    assert migrate.migrate(archive) == []
    whole = pl.read_parquet(next((archive.root / "best").rglob("*.parquet")), hive_partitioning=False)
    assert whole["least_torque_nm"].to_list() == [99.0, 99.0]
    assert archive.own_history("blue", None, "2031-05-01")[0]["k"] == 3e-4
    assert pl.read_parquet(archive.root / "_kept" / "best" / "**" / "*.parquet")["revision"].unique().to_list() == [1]


def test_an_archive_of_a_newer_version_is_read_and_not_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = Store(tmp_path / "archive")
    with monkeypatch.context() as patch:
        patch.setattr(staging, "SCHEMA_VERSION", 9)
        archive.write_day("blue", "2031-04-05", **writing(engine="blue"))
    assert archive.read_tables("blue", "2031-04-05", ["best"])["best"].height == 2
    with pytest.raises(disk.ArchiveUnwritable, match="newer pullbook"):
        archive.write_day("blue", "2031-04-05", **writing("b", engine="blue"))


def test_stages_tables_are_those_of_the_schema() -> None:
    """One schema for what a stage hands on and the archive keeps, and the record's words name it."""
    assert TABLES["pulls"] is columns.ALIGNED_PULLS
    assert TABLES["surface"] is columns.SURFACE
    records = {"best": handover.BestDay, "effects": handover.BestDay, "knock": handover.BestDay, "residuals": handover.BestDay,
               "offsets": handover.BestDay, "setting_curves": handover.BestDay, "ceiling": handover.BestDay,
               "delivered": handover.DeliveredDay, "shapes": handover.DeliveredDay, "evidence": handover.DeliveredDay,
               "pull_advance": handover.DeliveredDay, "rows": handover.AlignedDay}  # fmt: skip
    for name, record in records.items():
        assert TABLES[name] is getattr(columns, name.upper())
        assert f"``{name}``: {name.upper()}" in (record.__doc__ or ""), f"{record.__name__}.{name}"
    assert reader.KEYS == schema.KEYS
