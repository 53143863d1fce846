"""Lazy scans over the archive's tables: years of days as one table, of which only what is asked for is read."""

import os
from collections.abc import Collection
from pathlib import Path

import polars as pl

from pullbook.archive import switch
from pullbook.archive.names import encode
from pullbook.archive.schema import KEYS, TABLES


def scan(root: Path, table: str, *, engine: str | None = None, days: Collection[str] | None = None) -> pl.LazyFrame:
    """Current revisions of one table as a lazy frame.

    Parameters
    ----------
    root
        The archive.
    table
        Name of the table, as in :data:`pullbook.archive.schema.TABLES`.
    engine, days
        Only this engine; only these of its days. Other days' files are not even opened.

    Returns
    -------
    polars.LazyFrame
        ``revision, engine, day`` (text), then the table's columns. Columns that an earlier version did not write are null.

    Examples
    --------
    The most torque found at 4000 rpm on each day of an engine::

        scan(book.archive, "best", engine="blue eight").filter(pl.col("rpm") == 4000).group_by("day").agg(pl.max("best_torque_nm"))
    """
    schema = KEYS | TABLES[table]
    paths = table_files(root, table, engine=engine, days=days)
    if not paths:
        found = pl.LazyFrame(schema=schema)
    else:
        found = pl.scan_parquet(
            paths, schema=schema, hive_partitioning=False, missing_columns="insert", extra_columns="ignore", glob=False
        )
    return found.rename({"engine_name": "engine", "day_name": "day"})


def table_files(root: Path, table: str, *, engine: str | None = None, days: Collection[str] | None = None) -> list[Path]:
    """Files of a table's current revisions, in order of engine and day; of a day in mid-switch, those that are committed.

    Raises
    ------
    ValueError
        ``days`` without ``engine``.
    """
    if days is not None and engine is None:
        raise ValueError("days are named together with their engine")
    moving: dict[str, Path] = {}
    for folder in switch.unfinished(root):
        journal = switch.read_journal(folder)
        if journal is not None:
            moving |= switch.waiting(root, journal[0]["engine"], journal[0]["day"])
    home = root / table
    engines = [f"engine={encode(engine)}"] if engine is not None else _folders(home)
    wanted = {f"day={encode(d)}" for d in days} if days is not None else None
    found = []
    for one in engines:
        for day in _folders(home / one):
            if wanted is None or day in wanted:
                place = f"{table}/{one}/{day}/{table}.parquet"
                path = moving.get(place, root / place)
                if path.exists():
                    found.append(path)
    return found


def _folders(path: Path) -> list[str]:
    try:
        with os.scandir(path) as entries:
            return sorted(e.name for e in entries if "=" in e.name and not e.name.startswith((".", "_")))
    except (FileNotFoundError, NotADirectoryError):
        return []
