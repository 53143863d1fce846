"""Read the archive: every day wholly of one revision, also after a crash in mid-switch and while another process writes."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import polars as pl

from pullbook.archive import catalog, switch
from pullbook.archive.heads import READ_AGAIN, Heads
from pullbook.archive.schema import KEYS, from_parquet
from pullbook.archive.seal import Seal
from pullbook.archive.upgrade import upgraded
from pullbook.book import day_order, printable

Record = dict[str, Any]


class Reader(Heads):
    """The archive in ``root``, for reading. Nothing here ever writes to it."""

    def read_record(self, engine: str, day: str) -> Record | None:
        """The day's record (day.json) of the current revision, or None."""
        if self.seal(engine, day) is None:
            return None
        table = self.read_tables(engine, day, ["record"]).get("record")
        return json.loads(table["text"][0]) if table is not None and table.height else None

    def read_tables(self, engine: str, day: str, names: Iterable[str] | None = None) -> dict[str, pl.DataFrame]:
        """Tables of the current revision as the stages gave them (without revision and names); absent ones are left out.

        All are of one revision, also while another process writes the day: a read that was overtaken is done again.

        Raises
        ------
        TimeoutError
            The day is written anew faster than it can be read.
        OSError, ValueError
            A file that the seal names is not there or damaged.
        """
        wanted = None if names is None else list(names)
        for _ in range(READ_AGAIN):
            seal = self.seal(engine, day)
            if seal is None:
                return {}
            moved = switch.waiting(self.root, engine, day)
            try:
                read = {
                    name: self._read(name, moved.get(listed["file"], self.root / listed["file"]), seal)
                    for name, listed in seal["files"].items()
                    if wanted is None or name in wanted
                }
            except FileNotFoundError:
                if self._overtaken(engine, day, seal) or moved:
                    continue
                raise
            if not self._overtaken(engine, day, seal):
                return read
        raise TimeoutError(f"{engine} / {day} is being written all the time")

    def _read(self, name: str, path: Path, seal: Seal) -> pl.DataFrame:
        return upgraded(name, from_parquet(path).drop(*KEYS), seal["schema"])

    def _overtaken(self, engine: str, day: str, seal: Seal) -> bool:
        """Whether the day has another revision by now: no table changes before the journal makes the new seal readable."""
        now = self.seal(engine, day)
        return now is None or now["revision"] != seal["revision"]

    def catalog(self) -> pl.LazyFrame:
        """The catalogue, one row an engine and day, up to date also while a run is going on."""
        return catalog.scan(self.root)

    def own_history(self, engine: str, dyno: str | None, before_day: str) -> list[dict[str, Any]]:
        """Frozen own figures of earlier days of this engine, and of other engines on this dyno, oldest first.

        Other engines' days count only from earlier dates: which of two engines came first on one date nobody noted.
        Each is the day's ``own`` with ``engine``, ``day``, ``dyno`` and ``revision``.
        """
        same = pl.col("engine") == printable(engine)
        wanted = same if dyno is None else same | (pl.col("dyno") == dyno)
        fields = ["engine", "day", "dyno", "revision", "own"]
        rows = self.catalog().filter(wanted, pl.col("own").is_not_null()).select(fields).collect().to_dicts()
        earlier = [
            r
            for r in rows
            if r["day"][:10] < before_day[:10] or (r["engine"] == printable(engine) and day_order(r["day"]) < day_order(before_day))
        ]
        earlier.sort(key=lambda r: (day_order(r["day"]), r["engine"]))
        return [{**json.loads(r.pop("own")), **r} for r in earlier]

    def previous_record(self, engine: str, day: str) -> Record | None:
        """Record of this engine's last archived day before ``day``, or None where ``day`` is its first."""
        listed = self.catalog().filter(pl.col("engine") == printable(engine)).select("day").collect()["day"].to_list()
        earlier = sorted((d for d in listed if day_order(d) < day_order(day)), key=day_order)
        for last in reversed(earlier):
            record = self.read_record(engine, last)
            if record is not None:
                return record
        return None
