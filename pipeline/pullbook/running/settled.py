"""Days that need no look: nothing about their files' sizes, dates and inodes differs from when a run last left them in order.

Only a short cut for years of logs. Whatever is not settled is compared by content, and the file may be deleted at any time.
"""

import hashlib
import json
import marshal
import os
import time
from typing import Any

from pullbook import METHOD
from pullbook.archive.seal import stamp, table_folders
from pullbook.book import Book
from pullbook.running.drawn import DRAWING, DayKey

_FILE = "settled.json"
_PLAIN = 2
"""Version of marshal that writes equal values as equal bytes (later ones write what is shared once); quicker than text."""

_GRAIN_NS = 2_000_000_000
"""A file changed within this of now may change again under the same date: it is looked at again next time."""


class Settled:
    """Stamps of days, as remembered and as they are now.

    Parameters
    ----------
    book, page
        The book, and the paper its reports are for.
    """

    def __init__(self, book: Book, page: str) -> None:
        self._book = book
        # text, not paths: hundreds of thousands of files are looked at
        self._logs, self._reports, self._archive = os.fspath(book.logs), os.fspath(book.reports), os.fspath(book.archive)
        self._tables = table_folders(self._archive)
        self._version = [METHOD, DRAWING, page]
        self._known: dict[str, str] = {}
        self._inputs: dict[DayKey, str | None] = {}
        self._held: set[DayKey] = set()
        self._last: tuple[str, tuple[int, tuple[int, int, int]]] = ("", (0, (0, 0, 0)))
        try:
            read = json.loads((book.work / _FILE).read_text(encoding="utf-8"))
            if read["version"] == self._version:
                self._known = dict(read["days"])
        except (OSError, ValueError, KeyError, TypeError):
            self._known = {}

    def holds(self, engine: str, day: str) -> bool:
        """Whether the day stands as a run left it. Its inputs as seen now are what :meth:`remember` vouches for."""
        inputs = self._inputs[engine, day] = self._of_inputs(engine, day)
        known = self._known.get(_key(engine, day))
        if inputs is None or known is None or known != inputs + self._of_outputs(engine, day):
            return False
        self._held.add((engine, day))
        return True

    def remember(self, keys: set[DayKey]) -> None:
        """Note that these days are in order, with the inputs they were looked at with; forgets days no longer looked at."""
        if keys == self._held and len(keys) == len(self._known):
            return
        now: dict[str, str] = {}
        for (engine, day), inputs in self._inputs.items():
            if inputs is not None and (engine, day) in keys:
                now[_key(engine, day)] = inputs + self._of_outputs(engine, day)
        if now == self._known:
            return
        half = self._book.work / f".{_FILE}.part"
        try:
            self._book.work.mkdir(parents=True, exist_ok=True)
            half.write_text(json.dumps({"version": self._version, "days": now}, ensure_ascii=True), encoding="utf-8")
            half.replace(self._book.work / _FILE)
        except OSError:  # only costs time next run
            return

    def _of_inputs(self, engine: str, day: str) -> str | None:
        """Stamp of the day folder and engine.yaml; None where something changed too short a while ago to be trusted."""
        newest, listed = _scanned(f"{self._logs}/{engine}/{day}")
        own, facts = self._engine(engine)
        if max(newest, own) > time.time_ns() - _GRAIN_NS:
            return None
        return _digest([listed, facts])

    def _engine(self, engine: str) -> tuple[int, tuple[int, int, int]]:
        """The stamp of engine.yaml, looked at once for all days of the engine that follow each other."""
        if self._last[0] != engine:
            self._last = (engine, _one(f"{self._logs}/{engine}/engine.yaml"))
        return self._last[1]

    def _of_outputs(self, engine: str, day: str) -> str:
        archived = stamp(self._archive, engine, day, self._tables)
        report = f"{self._reports}/{engine}/{day}"
        return _digest([archived, _one(report)[1], _one(f"{report}/figures")[1]])  # a folder's date tells what came or went in it


def _scanned(folder: str) -> tuple[int, list[tuple[str, int, int, int, int]]]:
    """Newest change in a folder, in ns, and each entry's name, size, dates and inode; a folder that is not there is empty."""
    newest, listed = 0, []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                status = entry.stat()
                newest = max(newest, status.st_mtime_ns, status.st_ctime_ns)
                listed.append((entry.name, status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino))
    except OSError:
        listed.append(("not to be read", 0, 0, 0, 0))
    listed.sort()
    return newest, listed


def _one(path: str) -> tuple[int, tuple[int, int, int]]:
    try:
        status = os.stat(path)  # noqa: PTH116 - text paths cost a tenth
    except OSError:
        return 0, (0, 0, 0)
    return max(status.st_mtime_ns, status.st_ctime_ns), (status.st_size, status.st_mtime_ns, status.st_ino)


def _digest(value: Any) -> str:
    return hashlib.blake2b(marshal.dumps(value, _PLAIN), digest_size=12).hexdigest()


def _key(engine: str, day: str) -> str:
    return f"{engine}/{day}"
