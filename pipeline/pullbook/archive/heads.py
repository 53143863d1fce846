"""Heads of the archived days: what their seals say and whether their files stand, without opening a table."""

import hashlib
from pathlib import Path
from typing import Any

from pullbook.archive import listing, switch
from pullbook.archive.listing import Listed
from pullbook.archive.seal import Seal, SealDamaged, all_seals, read_seal, seal_path, sealed_folders, stands

READ_AGAIN = 20


class Heads:
    """The archive in ``root`` by its seals alone; loads no library of tables.

    Parameters
    ----------
    root
        The archive.
    work
        The hidden work folder, where what the catalogue lists may be noted.
    """

    def __init__(self, root: Path, work: Path | None = None) -> None:
        self.root = root
        self._work = work

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
        moving = switch.unfinished(self.root)
        for path in all_seals(self.root):
            head = self._head(path, {})
            if head is not None and "engine" in head:
                found[head["engine"], head["day"]] = head
        for folder in moving:
            journal = switch.read_journal(folder)
            if journal is not None and (head := self.current(journal[0]["engine"], journal[0]["day"])) is not None:
                found[journal[0]["engine"], journal[0]["day"]] = head
        return found

    def seal(self, engine: str, day: str) -> Seal | None:
        """The seal of a day's current revision, None where there is none or it is damaged."""
        place = seal_path(self.root, engine, day)
        for _ in range(READ_AGAIN):
            staged = switch.waiting(self.root, engine, day).get(place.relative_to(self.root).as_posix())
            try:
                seal = read_seal(staged or place)
            except SealDamaged:
                return None
            if seal is not None or staged is None:
                return seal  # else it was moved into its place meanwhile
        return None

    def listed(self) -> list[Listed]:
        """Every day the catalogue lists, slips laid over it; in no order. A catalogue that was read before is not opened again."""
        data, over = listing.catalog_bytes(self.root), listing.slips(self.root)
        if data is None and not over:
            return []
        if data is None or over or self._work is None:
            return self._read_listed()
        digest = hashlib.sha256(data).hexdigest()
        days = listing.remembered(self._work, digest) if listing.is_known(self.root, data) else None
        if days is None:
            days = self._read_listed()
            if data == listing.catalog_bytes(self.root) and not listing.slips(self.root):
                listing.remember(self._work, digest, days)
        return days

    def _read_listed(self) -> list[Listed]:
        from pullbook.archive.catalog import scan

        return [Listed(*row) for row in scan(self.root).select(*Listed._fields).collect().rows()]

    def to_complete(self) -> bool:
        """Whether a crash left something that :meth:`pullbook.archive.store.Store.complete_unfinished` has to finish or mend."""
        return bool(switch.unfinished(self.root)) or self.behind()

    def behind(self) -> bool:
        """Whether the catalogue must be made anew: it, or a slip, is absent or damaged, or other days are archived."""
        folders = sealed_folders(self.root)
        if not folders:
            return False
        fresh = listing.slips(self.root)
        unread = any(listing.read_slip(p) is None for p in fresh)
        if unread or (((self.root / listing.NAME).exists() or not fresh) and not listing.intact(self.root)):
            return bool(all_seals(self.root))
        count = len(self.listed())
        return count != folders and count != len(all_seals(self.root))

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
