"""Who holds the book: only one run at a time writes, a second one waits or says who it is.

The hold is the operating system's own file lock, which ends with the process however it ends; the note beside it says who holds
the book, for people. A note without a hold behind it was left by a run that was killed, and is cleared with a word.
"""

import json
import os
import socket
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from filelock import BaseFileLock, FileLock, Timeout

LOCK = "book.lock"
NOTE = "book.held.json"


class BookHeld(Exception):
    """Another run holds the book; ``who`` says which."""

    def __init__(self, who: str) -> None:
        super().__init__(f"the book is held by {who}")
        self.who = who


@dataclass(slots=True)
class Hold:
    """A held book; let go with :meth:`release`, or by leaving a ``with`` block. ``word``: what was cleared, if anything."""

    lock: BaseFileLock
    note: Path
    word: str | None = None

    def release(self) -> None:
        """Let the book go."""
        if self.lock.is_locked:
            self.note.unlink(missing_ok=True)
            self.lock.release(force=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None) -> None:
        self.release()


def hold_book(work: Path, *, wait_s: float = 0.0, say: Callable[[str], None] | None = None) -> Hold:
    """Hold the book whose hidden work folder is ``work``.

    Parameters
    ----------
    work
        The hidden work folder; made where it is absent.
    wait_s
        How long to wait for another run, in seconds.
    say
        Told once who is waited for, and of a hold that was cleared.

    Raises
    ------
    BookHeld
        Another run still holds it.
    OSError
        The work folder cannot be written.
    """
    work.mkdir(parents=True, exist_ok=True)
    note = work / NOTE
    lock = FileLock(work / LOCK, thread_local=False)
    try:
        lock.acquire(timeout=0, poll_interval=0.05)
    except Timeout:
        if wait_s <= 0:
            raise BookHeld(holder(work)) from None
        if say:
            say(f"waiting for {holder(work)}")
        try:
            lock.acquire(timeout=wait_s, poll_interval=0.1)
        except Timeout:
            raise BookHeld(holder(work)) from None
    hold = Hold(lock, note)
    left = _read(note)
    if left:
        hold.word = f"a hold left by {_named(left)} was cleared: that run ended without letting go"
        if say:
            say(hold.word)
    me = {"pid": os.getpid(), "host": socket.gethostname(), "since": datetime.now(UTC).strftime("%Y-%m-%d %H:%M:%S UTC")}
    with suppress(OSError):  # the note is for people; the hold is real without it
        note.write_text(json.dumps(me), encoding="utf-8")
    return hold


def holder(work: Path) -> str:
    """Who holds the book, in words."""
    return _named(_read(work / NOTE))


def _read(note: Path) -> dict[str, Any]:
    try:
        content = json.loads(note.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return content if isinstance(content, dict) else {}


def _named(who: dict[str, Any]) -> str:
    if not who:
        return "another run"
    return f"the run of process {who.get('pid')} on {who.get('host')} since {who.get('since')}"
