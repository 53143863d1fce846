"""`pullbook watch`: rerun days whose files arrived and have stopped growing. The watching library says where to look; a day is
run once its files' sizes and dates have stood still."""

import json
import queue
import signal
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

from pullbook.book import Book, engines, is_day_name
from pullbook.config import Settings
from pullbook.running.planning import Asked

_TICK_S = 0.2
_LOOK_S = 10.0
"""Network shares and sync clients do not always say what they did: the folders are looked over this often besides."""

_AGAIN_S = 60.0
"""A run that could not be made (another run holds the book, no room on the disc) is tried again after this long."""


@dataclass(slots=True)
class _Waiting:
    """A day somebody touched: what its files looked like when last seen, and since when they have looked so.

    ``looks``: name, size in bytes and date in ns of its files. ``since``: s on the monotonic clock; negative: not looked at yet.
    """

    looks: tuple[tuple[str, int, int], ...] = ()
    since: float = -1.0


def watch(book: Book, settings: Settings, *, as_json: bool) -> int:
    """Make what is new already, then watch until SIGINT or SIGTERM; returns 0.

    Parameters
    ----------
    book, settings
        The book and its settings (``settle_s``: how long a file must stand still).
    as_json
        One JSON object a line for every run, in place of text.

    Raises
    ------
    OSError
        The logs folder cannot be watched.
    """
    from watchdog.observers import Observer
    from watchdog.observers.polling import PollingObserver

    ended = threading.Event()
    before = {n: signal.signal(n, lambda _n, _f: _end(ended, _n, _f)) for n in (signal.SIGINT, signal.SIGTERM)}
    book.logs.mkdir(parents=True, exist_ok=True)
    arrivals: queue.SimpleQueue[Asked] = queue.SimpleQueue()
    watchers: list[Any] = [Observer(), PollingObserver(timeout=_LOOK_S)]
    try:
        _run_once(book, settings, None, as_json, ended)
        _start(watchers, book, arrivals)
        # what came between the first run and the watchers' start
        if not _run_once(book, settings, None, as_json, ended, only_if_new=True):
            for engine in engines(book):
                arrivals.put((engine, None))
        _loop(book, settings, arrivals, as_json, ended)
    finally:
        for watcher in watchers:
            if watcher.is_alive():
                watcher.stop()
                watcher.join(timeout=2.0)
        for number, handler in before.items():
            signal.signal(number, handler)
    return 0


def _start(watchers: list[Any], book: Book, arrivals: "queue.SimpleQueue[Asked]") -> None:
    """Start watching; a system that lets no more folders be watched leaves the one that looks them over."""
    for watcher in watchers:
        watcher.schedule(_Listener(book.logs, arrivals.put), str(book.logs), recursive=True, event_filter=_told_of())
        try:
            watcher.start()
        except OSError as refused:
            if watcher is watchers[-1]:
                raise
            print(
                f"pullbook: the system tells of no changes ({refused.strerror}): the folders are looked over every {_LOOK_S:.0f} s",
                file=sys.stderr,
                flush=True,
            )


def _told_of() -> list[Any]:
    """What the library is asked to tell of: not of files that are only read, since a run reads them all, which fills its queue."""
    from watchdog import events

    return [
        events.FileCreatedEvent, events.FileModifiedEvent, events.FileMovedEvent, events.FileDeletedEvent, events.FileClosedEvent,
        events.DirCreatedEvent, events.DirModifiedEvent, events.DirMovedEvent, events.DirDeletedEvent,
    ]  # fmt: skip


class _Listener:
    """Turns the library's events into engine and day; what is outside a day folder wakes its engine's days."""

    def __init__(self, logs: Path, tell: Callable[[Asked], None]) -> None:
        self._logs = logs
        self._tell = tell

    def dispatch(self, event: Any) -> None:
        """Called by the library for every event, from its own thread."""
        for name in {event.src_path, getattr(event, "dest_path", "") or event.src_path}:
            try:
                parts = Path(name if isinstance(name, str) else name.decode(errors="surrogateescape")).relative_to(self._logs).parts
            except ValueError:
                continue
            if parts and not parts[-1].startswith("."):
                self._tell((parts[0], parts[1] if len(parts) > 1 and is_day_name(parts[1]) else None))


def _loop(book: Book, settings: Settings, arrivals: "queue.SimpleQueue[Asked]", as_json: bool, ended: threading.Event) -> None:
    waiting: dict[Asked, _Waiting] = {}
    while not ended.is_set():
        try:
            waiting.setdefault(arrivals.get(timeout=_TICK_S), _Waiting())
            while True:
                waiting.setdefault(arrivals.get_nowait(), _Waiting())
        except queue.Empty:
            pass
        now = time.monotonic()
        for key, day in waiting.items():
            looks = _looks(book, key)
            if day.since < 0 or looks != day.looks:
                day.looks, day.since = looks, now
        still = [key for key, day in waiting.items() if now - day.since >= settings.settle_s]
        if still:
            made = _run_once(book, settings, still, as_json, ended, only_if_new=True)
            for key in still:
                if made:
                    del waiting[key]
                else:
                    waiting[key].since = time.monotonic() + _AGAIN_S - settings.settle_s


def _looks(book: Book, key: Asked) -> tuple[tuple[str, int, int], ...]:
    engine, day = key
    folder = book.logs / engine / day if day else book.logs / engine
    found = []
    try:
        for path in folder.iterdir():
            status = path.lstat()
            found.append((path.name, status.st_size, status.st_mtime_ns))
    except OSError:  # deleted under us, or not to be read: looks like nothing until it can be seen
        return ()
    return tuple(sorted(found))


def _run_once(
    book: Book, settings: Settings, only: list[Asked] | None, as_json: bool, ended: threading.Event, *, only_if_new: bool = False
) -> bool:
    """One run, and whether it could be made: a book another run holds, or not to be read or written, is said on stderr."""
    from pullbook.archive.lock import BookHeld
    from pullbook.running import say
    from pullbook.running.run import run
    from pullbook.running.stop import Stopped

    if ended.is_set():
        return True
    try:
        outcome = run(book, settings, only, quiet=as_json, wait_s=3600.0, stop=ended)
    except Stopped:
        ended.set()
        return True
    except (BookHeld, OSError) as refused:
        print(f"pullbook: {refused}; watching on", file=sys.stderr, flush=True)
        return False
    if not only_if_new or outcome.days or outcome.notices:
        print(json.dumps(say.as_json(book, outcome), ensure_ascii=False) if as_json else say.as_text(book, outcome), flush=True)
    if outcome.unwritable:
        print(f"pullbook: {outcome.unwritable}; watching on", file=sys.stderr, flush=True)
    return outcome.unwritable is None


def _end(ended: threading.Event, _number: int, _frame: FrameType | None) -> None:
    ended.set()
