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

_Look = tuple[str, int, int, int, int]
"""Name, size in bytes, dates of content and of entry in ns, inode."""

_GONE: _Look = ("not to be read", 0, 0, 0, 0)


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
        self._inputs: dict[DayKey, list[_Look] | None] = {}
        self._held: set[DayKey] = set()
        self._last: tuple[str, _Look] = ("", _GONE)
        try:
            read = json.loads((book.work / _FILE).read_text(encoding="utf-8"))
            if read["version"] == self._version:
                self._known = dict(read["days"])
        except (OSError, ValueError, KeyError, TypeError):
            self._known = {}

    def holds(self, engine: str, day: str) -> bool:
        """Whether the day stands as a run left it. If not, its inputs as seen now are what :meth:`remember` vouches for."""
        now = time.time_ns()
        inputs = self._of_inputs(engine, day)
        known = self._known.get(_key(engine, day))
        if known is not None and known == _digest(inputs, self._of_outputs(engine, day)):
            self._held.add((engine, day))
            return True
        self._inputs[engine, day] = None if max(max(at[2:4]) for at in inputs) > now - _GRAIN_NS else inputs
        return False

    def remember(self, keys: set[DayKey]) -> None:
        """Note that these days are in order, with the inputs they were looked at with; forgets days no longer looked at."""
        now: dict[str, str] = {}
        for engine, day in keys:
            if (engine, day) in self._held:
                now[_key(engine, day)] = self._known[_key(engine, day)]
            elif (inputs := self._inputs.get((engine, day))) is not None:
                now[_key(engine, day)] = _digest(inputs, self._of_outputs(engine, day))
        if now == self._known:
            return
        half = self._book.work / f".{_FILE}.part"
        try:
            self._book.work.mkdir(parents=True, exist_ok=True)
            half.write_text(json.dumps({"version": self._version, "days": now}, ensure_ascii=True), encoding="utf-8")
            half.replace(self._book.work / _FILE)
        except OSError:  # only costs time next run
            return

    def _of_inputs(self, engine: str, day: str) -> list[_Look]:
        """What lies in the day folder, and engine.yaml, looked at once for all days of the engine that follow each other."""
        if self._last[0] != engine:
            self._last = (engine, _one(f"{self._logs}/{engine}/engine.yaml"))
        return [*_inside(f"{self._logs}/{engine}/{day}"), self._last[1]]

    def _of_outputs(self, engine: str, day: str) -> list[Any]:
        report = f"{self._reports}/{engine}/{day}"
        # a folder's date tells what came or went in it
        return [stamp(self._archive, engine, day, self._tables), _one(report), _one(f"{report}/figures")]


def _inside(folder: str) -> list[_Look]:
    """Everything in a folder, in order of names; one that is not to be read looks like nothing that can be in it."""
    looks: list[_Look] = []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                now = entry.stat()
                looks.append((entry.name, now.st_size, now.st_mtime_ns, now.st_ctime_ns, now.st_ino))
    except OSError:
        return [_GONE]
    looks.sort()
    return looks


def _one(path: str) -> _Look:
    try:
        now = os.stat(path)  # noqa: PTH116 - text paths cost a tenth
    except OSError:
        return _GONE
    return ("", now.st_size, now.st_mtime_ns, now.st_ctime_ns, now.st_ino)


def _digest(inputs: list[_Look], outputs: list[Any]) -> str:
    return hashlib.blake2b(marshal.dumps([inputs, outputs], _PLAIN), digest_size=12).hexdigest()


def _key(engine: str, day: str) -> str:
    return f"{engine}/{day}"
