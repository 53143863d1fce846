"""The archive of one book: write a day so that all its tables switch together, read it back, keep what it replaced."""

import json
from collections.abc import Collection, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

import polars as pl
from natsort import natsort_keygen

from pullbook.archive import catalog, disk, switch
from pullbook.archive.inputs import Input, inputs_digest
from pullbook.archive.schema import KEYS
from pullbook.archive.seal import Seal, SealDamaged, all_seals, read_seal, seal_path, stands
from pullbook.archive.staging import Made, next_revision, stage_day
from pullbook.book import printable

Record = dict[str, Any]
_LOCK = "_writing.lock"
_LOCK_WAIT_S = 120.0
_READ_AGAIN = 20
_natural = natsort_keygen()


class Store:
    """The archive in ``root``.

    Reading never writes and sees every day wholly old or wholly new, also after a crash in mid-switch.
    Writing raises :class:`pullbook.archive.disk.ArchiveUnwritable` where there is no room or no right.
    """

    def __init__(self, root: Path) -> None:
        self.root = root

    # --- reading -----------------------------------------------------------------------------------------------------

    def current(self, engine: str, day: str) -> dict[str, Any] | None:
        """Head of a day's current revision without touching its tables, or None where the archive has no such day.

        Returns
        -------
        dict or None
            ``revision, inputs_hash, method, made_at, tool_version, inputs, complete``; on a day with a missing, exchanged or
            unsealed file ``complete`` is false and ``inputs_hash`` None, so that the next run makes it again.
        """
        return self._head(seal_path(self.root, engine, day), switch.waiting(self.root, engine, day))

    def current_all(self) -> dict[tuple[str, str], dict[str, Any]]:
        """:meth:`current` of every day, by (engine, day); a day whose seal is damaged is absent."""
        found: dict[tuple[str, str], dict[str, Any]] = {}
        moving = {p.name for p in switch.unfinished(self.root)}
        for path in all_seals(self.root):
            head = self._head(path, {})
            if head is not None and "engine" in head:
                found[head["engine"], head["day"]] = head
        if moving:
            for folder in switch.unfinished(self.root):
                journal = switch.read_journal(folder)
                if journal is not None and (head := self.current(journal[0]["engine"], journal[0]["day"])) is not None:
                    found[journal[0]["engine"], journal[0]["day"]] = head
        return found

    def read_record(self, engine: str, day: str) -> Record | None:
        """The day's record (day.json) of the current revision, or None."""
        if self.seal(engine, day) is None:
            return None
        table = self.read_tables(engine, day, ["record"]).get("record")
        return json.loads(table["text"][0]) if table is not None and table.height else None

    def read_tables(self, engine: str, day: str, names: Iterable[str] | None = None) -> dict[str, pl.DataFrame]:
        """Tables of the current revision as the stages gave them (without revision and names); absent ones are left out.

        All are of one revision, also while another process writes the day: a read that was overtaken is done again.
        """
        wanted = None if names is None else list(names)
        for _ in range(_READ_AGAIN):
            seal = self.seal(engine, day)
            if seal is None:
                return {}
            moved = switch.waiting(self.root, engine, day)
            try:
                read = {
                    name: pl.read_parquet(moved.get(listed["file"], self.root / listed["file"]), hive_partitioning=False).drop(
                        *KEYS
                    )
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

    def _overtaken(self, engine: str, day: str, seal: Seal) -> bool:
        """Whether the day has another revision by now: no table changes before the journal makes the new seal readable."""
        now = self.seal(engine, day)
        return now is None or now["revision"] != seal["revision"]

    def seal(self, engine: str, day: str) -> Seal | None:
        """The seal of a day's current revision, None where there is none or it is damaged."""
        path = seal_path(self.root, engine, day)
        moved = switch.waiting(self.root, engine, day)
        try:
            return read_seal(moved.get(path.relative_to(self.root).as_posix(), path))
        except SealDamaged:
            return None

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
            if r["day"][:10] < before_day[:10] or (r["engine"] == printable(engine) and _before(r["day"], before_day))
        ]
        earlier.sort(key=lambda r: (r["day"][:10], _natural(r["day"]), r["engine"]))
        return [{**json.loads(r.pop("own")), **r} for r in earlier]

    def previous_record(self, engine: str, day: str) -> Record | None:
        """Record of this engine's last archived day before ``day``, or None where ``day`` is its first."""
        listed = self.catalog().filter(pl.col("engine") == printable(engine)).select("day").collect()["day"].to_list()
        earlier = sorted((d for d in listed if _before(d, day)), key=lambda d: (d[:10], _natural(d)))
        for last in reversed(earlier):
            record = self.read_record(engine, last)
            if record is not None:
                return record
        return None

    # --- writing -----------------------------------------------------------------------------------------------------

    def write_day(
        self,
        engine: str,
        day: str,
        *,
        tables: dict[str, pl.DataFrame],
        record: Record,
        inputs: list[Input],
        made_at: str,
        tool_version: str,
        method: int,
        own: dict[str, Any] | None = None,
    ) -> int:
        """Put a day into the archive as its new current revision, or nothing where it is there already.

        Parameters
        ----------
        engine, day
            Folder names.
        tables
            The stages' tables by name; those of ``schema.TABLES`` that are missing are written empty, further ones are kept too.
        record
            day.json. ``record["conditions"]`` (:func:`pullbook.archive.conditions.conditions`) feeds the history.
        inputs
            What the day was made from (:mod:`pullbook.archive.inputs`).
        made_at, tool_version, method
            When (UTC), by which version of the tool and of the method.
        own
            The day's own figures before pooling, frozen for later days' priors.

        Returns
        -------
        int
            The current revision: a new one, or the old where inputs and method are unchanged and the day stands complete.

        Raises
        ------
        ArchiveUnwritable
            No room or no right; the last complete state stands.
        """
        with disk.writing(self.root):
            disk.make_folder(self.root)
            with self._writer():
                folder = switch.staging_folder(self.root, engine, day)
                switch.follow(self.root, folder)
                now = self.current(engine, day)
                digest = inputs_digest(inputs)
                if now and now["complete"] and now["inputs_hash"] == digest and now["method"] == method:
                    return int(now["revision"])
                switch.clear(folder)
                revision = next_revision(self.root, engine, day, now)
                disk.make_folder(folder)
                head = {"revision": revision, "made_at": made_at, "tool_version": tool_version, "method": method,
                        "inputs_hash": digest}  # fmt: skip
                try:
                    made = Made(engine, day, tables, record, inputs, head, own)
                    steps = stage_day(self.root, folder, made, self.seal(engine, day))
                    switch.commit(self.root, engine, day, revision, steps)
                except OSError:
                    with suppress(OSError):  # else the next run clears it
                        switch.clear(folder)
                    raise
                switch.follow(self.root, folder)
                return revision

    def complete_unfinished(self) -> list[dict[str, Any]]:
        """What a run does first: finish days that a crash left half switched, clear what was never committed, mend the catalogue.

        Returns
        -------
        list
            ``{engine, day, revision}`` of every day that was completed. Nothing is written where there is nothing to do.

        Raises
        ------
        ArchiveUnwritable
            There is something to finish and the archive cannot be written.
        """
        left = switch.unfinished(self.root)
        behind = catalog.behind(self.root)
        if not left and not behind:
            return []
        done = []
        with disk.writing(self.root), self._writer():
            for folder in switch.unfinished(self.root):
                head = switch.follow(self.root, folder)
                if head is None:
                    switch.clear(folder)
                else:
                    done.append(head)
            if behind:
                catalog.rebuild(self.root)
        return done

    def update_catalog(self) -> int:
        """What a run does last: fold the new days into catalog.parquet. Returns how many; writes nothing where there are none."""
        if not catalog.slips(self.root):
            return 0
        with disk.writing(self.root), self._writer():
            return catalog.fold(self.root)

    def rebuild_catalog(self) -> int:
        """Make catalog.parquet anew from the days' seals; returns the number of days."""
        with disk.writing(self.root):
            disk.make_folder(self.root)
            with self._writer():
                return catalog.rebuild(self.root)

    def note_missing_logs(self, here: Collection[tuple[str, str]]) -> list[tuple[str, str]]:
        """Mark in the catalogue which days' folders are gone (and which are back); records and tables stay as they are.

        Parameters
        ----------
        here
            (engine, day) of every day folder that the book has now.

        Returns
        -------
        list of (engine, day)
            Days archived whose logs are not here, the newly noted and the known. Nothing is written where nothing changed.
        """
        present = {(printable(e), printable(d)) for e, d in here}
        rows = self.catalog().select("engine", "day", "logs_here").collect().rows()
        gone = [(e, d) for e, d, _ in rows if (e, d) not in present]
        if any(bool(noted) != ((e, d) in present) for e, d, noted in rows):
            with disk.writing(self.root), self._writer():
                table = self.catalog().collect()
                stands_now = [(e, d) in present for e, d in table.select("engine", "day").iter_rows()]
                catalog.write(self.root, table.with_columns(pl.Series("logs_here", stands_now, dtype=pl.Boolean)))
                for path in catalog.slips(self.root):
                    disk.remove(path)
        return gone

    def _head(self, path: Path, moved: dict[str, Path]) -> dict[str, Any] | None:
        try:
            seal = read_seal(moved.get(path.relative_to(self.root).as_posix(), path))
        except SealDamaged:
            return None
        if seal is None:
            return None
        complete = bool(moved) or stands(self.root, seal)
        head = {k: seal.get(k) for k in ("engine", "day", "revision", "inputs_hash", "method", "made_at", "tool_version", "inputs")}
        return {**head, "complete": complete, "inputs_hash": head["inputs_hash"] if complete else None}

    def _writer(self) -> Any:
        """The archive's own lock: also the jobs of one run, and an orphan of a killed one, write one at a time."""
        from filelock import FileLock

        return FileLock(self.root / _LOCK, timeout=_LOCK_WAIT_S)


def _before(day: str, other: str) -> bool:
    """Whether ``day`` comes before ``other``: by date, then a date's visits in natural order."""
    return (day[:10], _natural(day)) < (other[:10], _natural(other))
