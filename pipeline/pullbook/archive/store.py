"""Write a day into the archive so that all its tables switch together, and keep what it replaces."""

from collections.abc import Collection
from contextlib import suppress
from typing import Any

import polars as pl

from pullbook.archive import catalog, disk, listing, switch
from pullbook.archive.inputs import inputs_digest
from pullbook.archive.reader import Reader, Record
from pullbook.archive.schema import SCHEMA_VERSION
from pullbook.archive.staging import Revision, next_revision, stage_day
from pullbook.book import printable
from pullbook.provenance import Provenance

_LOCK = "_writing.lock"
_LOCK_WAIT_S = 120.0


class Store(Reader):
    """The archive in ``root``, for reading and writing.

    Writing raises :class:`pullbook.archive.disk.ArchiveUnwritable` where there is no room or no right.
    """

    def write_day(
        self,
        engine: str,
        day: str,
        *,
        tables: dict[str, pl.DataFrame],
        record: Record,
        made: Provenance,
        own: dict[str, Any] | None = None,
        again: bool = False,
    ) -> int:
        """Put a day into the archive as its new current revision, or nothing where it is there already.

        Parameters
        ----------
        engine, day
            Folder names.
        tables
            The stages' tables by name; those of ``schema.TABLES`` that are missing are written empty, further ones are kept too.
        record
            day.json. ``record["conditions"]`` (:func:`pullbook.comparison.conditions.conditions`) feeds the history.
        made
            From which inputs (:mod:`pullbook.archive.inputs`), when, by which version of the tool and of the method.
        own
            The day's own figures before pooling, frozen for later days' priors.
        again
            Make a revision though inputs and method are unchanged.

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
            disk.make_folders(self.root)
            with self._writer():
                folder = switch.staging_folder(self.root, engine, day)
                switch.follow(self.root, folder)
                now = self.current(engine, day)
                digest = inputs_digest(made.inputs)
                if now and now["complete"] and not again and (now["inputs_hash"], now["method"]) == (digest, made.method):
                    return int(now["revision"])
                seal = self.seal(engine, day)
                if seal is not None and seal["schema"] > SCHEMA_VERSION:
                    raise disk.ArchiveUnwritable(
                        f"{printable(engine)} / {printable(day)} was archived by a newer pullbook; update this one"
                    )
                switch.clear(folder)
                number = next_revision(self.root, engine, day, now)
                disk.make_folders(folder)
                try:
                    steps = stage_day(self.root, folder, Revision(engine, day, number, tables, record, made, digest, own), seal)
                    switch.commit(self.root, engine, day, number, steps)
                except OSError:
                    with suppress(OSError):  # else the next run clears it
                        switch.clear(folder)
                    raise
                switch.follow(self.root, folder)
                return number

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
        behind = self.behind()
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
        if not listing.slips(self.root):
            return 0
        with disk.writing(self.root), self._writer():
            return catalog.take_slips(self.root)

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
        days = self.listed()
        gone = [(e, d) for e, d, _ in days if (e, d) not in present]
        if listing.out_of_step(days, here):
            with disk.writing(self.root), self._writer():
                table = self.catalog().collect()
                stands_now = [(e, d) in present for e, d in table.select("engine", "day").iter_rows()]
                catalog.write(self.root, table.with_columns(pl.Series("logs_here", stands_now, dtype=pl.Boolean)))
                for path in listing.slips(self.root):
                    disk.remove(path)
        return gone

    def _writer(self) -> Any:
        """The archive's own lock: also the jobs of one run, and an orphan of a killed one, write one at a time."""
        from filelock import FileLock

        return FileLock(self.root / _LOCK, timeout=_LOCK_WAIT_S)
