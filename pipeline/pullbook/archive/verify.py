"""`pullbook verify`: read every byte of the archive, older revisions too, against its seals, and the logs against their hashes.

Nothing is changed, nothing is trusted by size or date. Damage is what the archive itself has lost; a log that changed or went
away since is listed, with what to do, and is no damage.
"""

import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pullbook.archive import catalog, listing, switch
from pullbook.archive.found import Found, Whose
from pullbook.archive.inputs import InputHashes, differences
from pullbook.archive.kept import kept_file, kept_seals
from pullbook.archive.names import decode
from pullbook.archive.seal import FOLDER, NAME, Seal, SealDamaged, all_seals, file_hash, read_seal, seal_path
from pullbook.book import Book, printable

_LOOKS = 20
_SWITCH_S = 1.0
"""Longest that a run takes to put a day's staged files in their places."""


def verify(book: Book) -> dict[str, Any]:
    """Check a whole book.

    Returns
    -------
    dict
        ``days``, ``kept_revisions``, ``files`` and ``bytes`` read; ``damage``, ``inputs`` and ``notes``: lists of
        ``{what, file, found, remedy, engine, day, revision}``. Exit status 1 goes with damage alone.
    """
    check = _Check(book)
    check.current()
    check.kept()
    check.strays()
    check.catalog()
    return {
        "days": len(check.days),
        "kept_revisions": check.kept_count,
        **check.found.plain(),
    }


class _Check:
    def __init__(self, book: Book) -> None:
        self.book, self.root = book, book.archive
        self.found = Found(book)
        self.days: dict[str, Seal] = {}
        self.sealed: set[Path] = set()
        self.unsealed: set[Path] = set()  # days whose seal is damaged: what their files should be is not known
        self.kept_count = 0
        self._hashes = InputHashes(book, trust=False)

    # --- the current revisions -------------------------------------------------------------------------------------------

    def current(self) -> None:
        """Seals of every day and the files they name, staged ones of an unfinished switch included."""
        paths = set(all_seals(self.root)) | {p for p, _ in self._half_written()}
        for path in sorted(paths):
            shown = path.relative_to(self.root).as_posix()
            for _ in range(_LOOKS):  # a run may write the day while it is read: what was found of a revision that went is void
                before = self.found.so_far()
                moved = dict(self._half_written()).get(path, {})
                self._day(path, shown, moved)
                if len(self.found.damage) == before[0] or not _moved_on(moved.get(shown, path), self.days.get(shown)):
                    break
                self.found.back_to(before)
                self.unsealed.discard(path.parent.relative_to(self.root / FOLDER))

    def _day(self, path: Path, shown: str, moved: dict[str, Path]) -> None:
        engine, day = (decode(part.partition("=")[2]) for part in path.relative_to(self.root).parts[1:3])
        try:
            seal = read_seal(moved.get(shown, path))
        except SealDamaged as fault:
            remedy = "take it from a backup, or run `pullbook run`, which makes the day again from its logs"
            self.found.harm("damaged_seal", path, str(fault), remedy, Whose(engine, day))
            self.unsealed.add(path.parent.relative_to(self.root / FOLDER))
            return
        if seal is None:
            return
        self.days[shown] = seal
        remedy = self._compare_inputs(seal)
        for listed in seal["files"].values():
            place = self.root / listed["file"]
            self.sealed.add(place)
            self._check_file(moved.get(listed["file"], place), place, listed["sha256"], seal, remedy)

    def _half_written(self) -> Iterator[tuple[Path, dict[str, Path]]]:
        for folder in switch.unfinished(self.root):
            journal = switch.read_journal(folder)
            if journal is not None:
                engine, day = journal[0]["engine"], journal[0]["day"]
                yield seal_path(self.root, engine, day), switch.waiting(self.root, engine, day)

    def _check_file(self, path: Path, place: Path, sha256: str, seal: Seal, remedy: str) -> None:
        whose = Whose.of(seal)
        try:
            digest = file_hash(path)
            self.found.files, self.found.bytes = self.found.files + 1, self.found.bytes + path.stat().st_size
        except FileNotFoundError:
            self.found.harm("missing", place, "the file is not there", remedy, whose)
        except OSError as fault:
            self.found.harm("missing", place, f"the file cannot be read: {fault.strerror}", remedy, whose)
        else:
            if digest != sha256:
                self.found.harm("changed", place, "its content is not what was sealed", remedy, whose)

    def _compare_inputs(self, seal: Seal) -> str:
        """List what changed among a day's inputs; returns what to do where the day's tables are damaged."""
        engine, day = seal["engine"], seal["day"]
        here = self.book.day_folder(engine, day).is_dir()
        now = self._hashes.of_day(engine, day) if here else []
        found = differences(seal["inputs"], now)
        unreadable = {i["file"] for i in now if i["sha256"] is None}
        says = {
            "new": ("came after the record was made", "run `pullbook run` to take it in"),
            "changed": ("is not what the record was made from", "run `pullbook run`: a new revision is made, the old one is kept"),
            "gone": (
                "is not here any more; its record stays",
                "put it back where it is still had; `pullbook run` notes it otherwise",
            ),
            "unreadable": ("cannot be read", "see to its permissions, then run `pullbook run`"),
        }
        if not here:
            says["gone"] = ("is not here any more: the day's folder is gone; its record stays", "nothing has to be done")
        for what, files in found.items():
            for file in files:
                kind = "unreadable" if file in unreadable else what
                word, remedy = says[kind]
                self.found.moved(kind, file, word, remedy, Whose.of(seal))
        if not here:
            return "take it from a backup: the day's folder with the logs it came from is not here"
        again = (
            "take it from a backup; or move it out of the archive and run `pullbook run`, which makes the day again from its logs"
        )
        return again + (" as they are now" if found["changed"] or found["gone"] else "")

    # --- older revisions ---------------------------------------------------------------------------------------------------

    def kept(self) -> None:
        """Older revisions: each kept seal and every file it names."""
        remedy = "an older revision: take it from a backup; the day's current figures do not rest on it"
        seals: list[Seal] = []
        for path in kept_seals(self.root):
            try:
                seal = read_seal(path)
            except SealDamaged as fault:
                self.found.harm("damaged_seal", path, str(fault), remedy)
                continue
            seals += [seal] if seal else []
        self.kept_count = len(seals)
        mended = {
            (s["engine"], s["day"], s.get("replaced"), table) for s in [*seals, *self.days.values()] for table in s.get("lost", ())
        }
        for seal in seals:
            whose = Whose.of(seal)
            for table, listed in seal["files"].items():
                place = kept_file(self.root, table, seal["engine"], seal["day"], seal["revision"])
                self.sealed.add(place)
                aside = sorted(place.parent.glob(f"{place.stem}.unsealed-*")) if not place.exists() else []
                if (seal["engine"], seal["day"], seal["revision"], table) in mended:
                    self.found.note("mended", place, "it was missing when the day was made again", "nothing has to be done", whose)
                elif aside:
                    self.sealed.update(aside)
                    word = "did not match its seal when it was replaced, and is kept as it was found"
                    self.found.note("set_aside", aside[0], word, "nothing has to be done", whose)
                else:
                    self._check_file(place, place, listed["sha256"], seal, remedy)

    # --- what no seal names ------------------------------------------------------------------------------------------------

    def strays(self) -> None:
        """Half-switched days, staging folders without a commit, and Parquet files that no seal names."""
        if not self.root.is_dir():
            return
        for folder in switch.unfinished(self.root):
            journal = switch.read_journal(folder)
            if journal is None:
                word = "left by a run that ended before it had all of a day"
                self.found.note("uncommitted", folder, word, "nothing is lost; the next `pullbook run` clears it")
            elif _stays(folder):
                head = journal[0]
                word = f"the switch to revision {head['revision']} was not finished"
                remedy = "run `pullbook run`, which finishes it; nothing is lost"
                whose = Whose(head["engine"], head["day"], head["revision"])
                self.found.harm("half_written", folder, word, remedy, whose)
        for path in self._tables():
            part = Path(*path.relative_to(self.root).parts[1:3])
            if path in self.sealed or part in self.unsealed or self._sealed_since(path, part):
                continue
            if (self.root / FOLDER / part / NAME).exists():
                self.found.harm("stray", path, "no seal names this file, yet readers would count it", "move it out of the archive")
            else:
                remedy = "run `pullbook run`, which makes the day again from its logs, or take the archive's _days/ from a backup"
                self.found.harm("unsealed", path, "its day has no seal", remedy)

    def _sealed_since(self, path: Path, part: Path) -> bool:
        """Whether a run has written the file's day since its seal was looked for, or is writing it."""
        place = self.root / FOLDER / part / NAME
        if any(path == place for path, _ in self._half_written()):
            return True
        try:
            seal = read_seal(place)
        except SealDamaged:
            return False
        return seal is not None and any(self.root / listed["file"] == path for listed in seal["files"].values())

    def _tables(self) -> Iterator[Path]:
        for folder in sorted(self.root.iterdir()):
            if folder.is_dir() and not folder.name.startswith((".", "_")):
                yield from sorted(p for p in folder.rglob("*.parquet") if not p.name.startswith((".", "_")))

    # --- the catalogue -----------------------------------------------------------------------------------------------------

    def catalog(self) -> None:
        """catalog.parquet against its own hash and against the seals; one that lags is noted."""
        path = self.root / listing.NAME
        if not self.days and not path.exists():
            return
        if not (listing.intact(self.root) or listing.intact(self.root)):  # a run may have put another there at the first look
            word = "it is not there" if not path.exists() else "its content is not what was written"
            if path.exists() or not listing.slips(self.root):
                remedy = "run `pullbook run`, which makes it again from the days' seals; nothing is lost"
                self.found.harm("catalog", path, word, remedy)
                return
        rows = catalog.scan(self.root).select("engine", "day", "revision").collect().rows()
        sealed = Counter((printable(s["engine"]), printable(s["day"]), s["revision"]) for s in self.days.values())
        if Counter(rows) != sealed or listing.slips(self.root):
            self.found.note(
                "catalog_lags", path, "it does not list the days as they are", "the next `pullbook run` brings it up to date"
            )


def _moved_on(path: Path, read: Seal | None) -> bool:
    """Whether a day's seal is another one now than the one ``read``."""
    try:
        now = read_seal(path)
    except SealDamaged:
        return False
    return now != read


def _stays(folder: Path) -> bool:
    """Whether a half-written switch stays so: one that a run is just making is over in a moment."""
    end = time.monotonic() + _SWITCH_S
    while (folder / switch.JOURNAL).exists():
        if time.monotonic() > end:
            return True
        time.sleep(0.02)
    return False
