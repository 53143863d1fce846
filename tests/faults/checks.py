"""What must hold after any fault: nothing acknowledged is lost, no table is torn, no day is mixed once a run has begun."""

import json
from collections.abc import Iterable
from pathlib import Path

import polars as pl
import pyarrow.parquet as pq

from pullbook.archive.kept import kept_file
from pullbook.archive.schema import TABLES
from pullbook.archive.store import Store
from pullbook.archive.verify import verify
from pullbook.book import Book
from tests.faults.work import DAYS, ENGINE, Step

_MARKED = {"samples": "torque_nm", "pulls": "mean_torque_nm", "best": "best_torque_nm", "setting_curves": "torque_nm"}


def torn(root: Path, acknowledged: int) -> list[str]:
    """Right after the fault, as a stranger sees it: every table file is whole, of the last acknowledged step or the one after."""
    found = []
    for day in DAYS:
        steps = [n for n in range(acknowledged + 1) if Step(n).day == day]
        allowed = {Step(n).revision for n in steps[-2:]}
        for table in TABLES:
            for path in (root / table).rglob("*.parquet"):
                if f"day={day}" not in path.parts:
                    continue
                try:
                    revisions = set(pq.read_table(path, columns=["revision"], partitioning=None)["revision"].to_pylist())
                except Exception as fault:
                    found.append(f"{path}: torn: {fault}")
                    continue
                if not revisions <= allowed:
                    found.append(f"{path}: revisions {revisions}, allowed {allowed}")
    return found


def mixed(root: Path) -> list[str]:
    """Days that this tool itself reads as a mixture: never, also before the next run has mended anything."""
    store, found = Store(root), []
    for day in DAYS:
        tables = store.read_tables(ENGINE, day)
        if not tables:
            continue
        marks = {tables[name][column][0] for name, column in _MARKED.items()}
        marks.add(json.loads(tables["record"]["text"][0])["pulls"][0]["mean_torque_nm"])
        if len(marks) != 1:
            found.append(f"{day}: read as a mixture of {marks}")
    return found


def lost(root: Path, done: Iterable[int]) -> list[str]:
    """After the next run: every acknowledged step is there, as the current revision or kept, and the archive verifies."""
    store, found = Store(root), []
    steps = [Step(n) for n in done]
    for step in steps:
        last = max(s.revision for s in steps if s.day == step.day)
        for table, column in _MARKED.items():
            try:
                if step.revision == last:
                    frame = store.read_tables(ENGINE, step.day, [table])[table]
                else:
                    place = kept_file(root, table, ENGINE, step.day, step.revision)
                    frame = pl.read_parquet(place, hive_partitioning=False)
                    if set(frame["revision"]) != {step.revision}:
                        found.append(f"{place}: not of its revision")
                if set(frame[column]) != {step.torque}:
                    found.append(f"step {step.number} ({step.day} revision {step.revision}): {table} has another day's figures")
            except Exception as fault:
                found.append(f"step {step.number} ({step.day} revision {step.revision}): {table}: {fault}")
    found += [f"verify: {f['what']} {f['file']}: {f['found']}" for f in verify(Book.at(root.parent))["damage"]]
    listed = store.catalog().select("day", "revision").collect().rows()
    wanted = {day: max((s.revision for s in steps if s.day == day), default=None) for day in DAYS}
    if sorted(listed) != sorted((d, r) for d, r in wanted.items() if r is not None):
        found.append(f"the catalogue lists {listed}, not {wanted}")
    return found
