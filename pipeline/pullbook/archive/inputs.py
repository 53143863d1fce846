"""Content hashes of a day's inputs: what a record was made from, and whether anything changed since.

A file hashed before is trusted by its size, dates and inode, so that looking over years of logs costs a glance at each file;
:mod:`pullbook.archive.verify` trusts nothing and reads every byte.
"""

import hashlib
import json
import os
import time
from pathlib import Path
from typing import Any

from pullbook.archive import disk
from pullbook.archive.names import day_key
from pullbook.archive.seal import file_hash
from pullbook.book import Book, day_files, on_screen
from pullbook.wording import few

Input = dict[str, Any]
"""``file`` (relative to the book), ``kind`` (log, picture, a sheet's name), ``sha256`` (null: could not be read), ``bytes``."""

FOLDER = "known_inputs"
_NAMED = 3
_SETTLED_NS = 2_000_000_000


def inputs_digest(inputs: list[Input]) -> str:
    """One hash for all inputs of a day: names and contents, in order of name."""
    listed = sorted((str(i["file"]), str(i["sha256"])) for i in inputs)
    return hashlib.sha256(json.dumps(listed).encode()).hexdigest()


def input_files(book: Book, engine: str, day: str) -> list[tuple[Path, str]]:
    """Files a day is made from, with their kinds: logs, sheets, pictures, and the engine's own yaml."""
    files = day_files(book, engine, day)
    listed = [(p, "log") for p in (*files.logs, *files.copies)] + [(p, "picture") for p in files.pictures]
    listed += [(p, name) for name, p in files.sheets.items()]
    own = book.engine_yaml(engine)
    return listed if own is None else [*listed, (own, "engine.yaml")]


class InputHashes:
    """Hashes of inputs with a memory of what was hashed before, kept in the hidden work folder (which may be deleted).

    Parameters
    ----------
    book
        Where the inputs lie.
    trust
        False: read every byte and remember nothing.
    """

    def __init__(self, book: Book, *, trust: bool = True) -> None:
        self._book = book
        self._trust = trust
        self._known: dict[str, dict[str, list[Any]]] = {}
        self._changed: set[str] = set()

    def of_day(self, engine: str, day: str) -> list[Input]:
        """Inputs of one day as they stand now; one that vanishes meanwhile is left out, an unreadable one has no hash."""
        known = self._memory(engine)
        found: list[Input] = []
        for path, kind in input_files(self._book, engine, day):
            shown = self._book.shown(path)
            try:
                status = path.stat()
            except FileNotFoundError:
                continue
            except OSError:
                found.append({"file": shown, "kind": kind, "sha256": None, "bytes": None})
                continue
            stamp = _stamp(status)
            before = known.get(shown)
            if before is not None and before[:4] == stamp:
                digest: str | None = before[4]
            else:
                digest, stamp, settled = _hash_standing_still(path, stamp)
                if settled and digest is not None:
                    known[shown] = [*stamp, digest]
                    self._changed.add(engine)
            found.append({"file": shown, "kind": kind, "sha256": digest, "bytes": stamp[0]})
        return found

    def keep(self) -> None:
        """Write the memory down, where it changed; a work folder that cannot be written only costs time next run."""
        if not self._trust:
            return
        folder = self._book.work / FOLDER
        for engine in sorted(self._changed):
            half = folder / f".{day_key(engine, '')}.part"
            try:
                folder.mkdir(parents=True, exist_ok=True)
                half.write_text(json.dumps(self._known[engine], ensure_ascii=True), encoding="utf-8")
                disk.replace(half, folder / f"{day_key(engine, '')}.json")
            except OSError:
                return
        self._changed.clear()

    def _memory(self, engine: str) -> dict[str, list[Any]]:
        if engine not in self._known:
            path = self._book.work / FOLDER / f"{day_key(engine, '')}.json"
            try:
                read = json.loads(path.read_text(encoding="utf-8")) if self._trust else {}
            except (OSError, ValueError):
                read = {}
            good = isinstance(read, dict)
            self._known[engine] = {k: v for k, v in read.items() if isinstance(v, list) and len(v) == 5} if good else {}
        return self._known[engine]


def differences(before: list[Input], now: list[Input]) -> dict[str, list[str]]:
    """Which inputs are ``new``, ``changed`` and ``gone`` between two lists, by file name.

    Parameters
    ----------
    before, now
        Inputs of a day at two times (:data:`Input`).
    """
    was = {i["file"]: i["sha256"] for i in before}
    is_now = {i["file"]: i["sha256"] for i in now}
    return {
        "new": sorted(is_now.keys() - was.keys()),
        "changed": sorted(f for f in is_now.keys() & was.keys() if is_now[f] != was[f]),
        "gone": sorted(was.keys() - is_now.keys()),
    }


def why_changed(before: list[Input], now: list[Input]) -> str:
    """What differs between two lists of inputs, in a few words.

    Examples
    --------
    >>> why_changed([{"file": "logs/a/b/1.csv", "sha256": "0"}], [{"file": "logs/a/b/2.csv", "sha256": "1"}])
    'new: 2.csv; gone: 1.csv'
    """
    return "; ".join(f"{what}: {_few(files)}" for what, files in differences(before, now).items() if files)


def gone_since(before: list[Input], now: list[Input]) -> list[str]:
    """A sentence for the record where files it was made from were taken away."""
    gone = differences(before, now)["gone"]
    return [f"not here any more since the last revision, so this one is without it: {_few(gone)}"] if gone else []


def _few(files: list[str]) -> str:
    return few([on_screen(file.rpartition("/")[2]) for file in files], _NAMED)


def _stamp(status: os.stat_result) -> list[Any]:
    return [status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino]


def _hash_standing_still(path: Path, stamp: list[Any]) -> tuple[str | None, list[Any], bool]:
    """Hash, stamp and whether the stamp may be trusted: not for a file that changed within the clock's grain."""
    try:
        digest = file_hash(path)
        after = _stamp(path.stat())
    except OSError:
        return None, stamp, False
    settled = after == stamp and time.time_ns() - max(stamp[1], stamp[2]) > _SETTLED_NS
    return digest, after, settled
