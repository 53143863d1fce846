"""`pullbook watch`: rerun days whose files arrived and have stopped growing. The watching library says where to look; a day is
run once its files' sizes and dates have stood still."""

import json
import queue
import signal
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pullbook.book import Book, days, engines, is_day_name
from pullbook.config import Settings
from pullbook.running.planning import Asked

_TICK_S = 0.2
_LOOK_S = 10.0
"""Network shares and sync clients do not always say what they did: the folders are looked over this often besides."""
_CLOSE_S = 0.5
"""How long the watching library, which waits for a look over the folders to end, may take to stop."""
_AGAIN_S = 60.0
"""A run that could not be made (another run holds the book, no room on the disc) is tried again after this long."""


Looks = tuple[tuple[str, int, int, int, int], ...]
"""Name, size in bytes, dates of content and of entry in ns, and inode of what lies in a folder."""


@dataclass(slots=True)
class _Waiting:
    """A day somebody touched: what its files looked like when last seen, and since when they have looked so.

    ``since``: s on the monotonic clock; negative: not looked at yet.
    """

    looks: Looks = ()
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
    ended = threading.Event()
    before = {n: signal.signal(n, lambda *_: _end(ended)) for n in (signal.SIGINT, signal.SIGTERM)}
    book.logs.mkdir(parents=True, exist_ok=True)
    try:
        _watch_folder(book, settings, as_json, ended, first=True)
        while not ended.is_set():  # logs/ was taken away, or another stands in its place, which nobody watches yet
            with suppress(OSError):  # gone again
                if book.logs.is_dir():
                    _watch_folder(book, settings, as_json, ended, first=False)
            time.sleep(_TICK_S)
    except KeyboardInterrupt:  # of _end
        pass
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    return 0


def _watch_folder(book: Book, settings: Settings, as_json: bool, ended: threading.Event, *, first: bool) -> None:
    """Watch logs/ as it stands, until the end or until it is another folder."""
    from watchdog.observers import Observer
    from watchdog.observers.polling import PollingObserver

    arrivals: queue.SimpleQueue[Asked] = queue.SimpleQueue()
    watchers: list[Any] = [Observer(), PollingObserver(timeout=_LOOK_S)]
    stands = _identity(book)
    try:
        _start(watchers, book, arrivals)
        if not _run_once(book, settings, None, as_json, ended, only_if_new=not first):
            for engine in engines(book):
                arrivals.put((engine, None))
        _loop(book, settings, arrivals, as_json, ended, stands)
    finally:
        for watcher in (w for w in watchers if w.is_alive()):
            closing = threading.Thread(target=watcher.stop, daemon=True)
            closing.start()
            closing.join(_CLOSE_S)


def _identity(book: Book) -> tuple[int, int] | None:
    """Which folder logs/ is; None: there is none, or its share is away."""
    try:
        status = book.logs.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


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


def _loop(
    book: Book,
    settings: Settings,
    arrivals: "queue.SimpleQueue[Asked]",
    as_json: bool,
    ended: threading.Event,
    stands: tuple[int, int] | None,
) -> None:
    waiting: dict[Asked, _Waiting] = {}
    ran: dict[Asked, Looks] = {}  # as it was when last run: both watchers tell of a change, and what failed is not said twice
    while not ended.is_set() and _identity(book) == stands:
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
        seen = {part: _looks(book, part) for key in still for part in _parts(book, key)}
        fresh = [key for key in still if any(seen[part] != ran.get(part) for part in _parts(book, key))]
        made = not fresh or _run_once(book, settings, fresh, as_json, ended, only_if_new=True)
        for key in still:
            if made:
                del waiting[key]
            else:
                waiting[key].since = time.monotonic() + _AGAIN_S - settings.settle_s
        if made:
            ran |= seen


def _parts(book: Book, key: Asked) -> list[Asked]:
    """A day; an engine and its days."""
    engine, day = key
    with suppress(OSError):  # the engine's folder is gone
        return [key] if day else [key, *((engine, d) for d in days(book, engine)[0])]
    return [key]


def _looks(book: Book, key: Asked) -> Looks:
    engine, day = key
    folder = book.logs / engine / day if day else book.logs / engine
    found = []
    try:
        for path in folder.iterdir():
            status = path.lstat()
            found.append((path.name, status.st_size, status.st_mtime_ns, status.st_ctime_ns, status.st_ino))
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
        outcome = run(book, settings, only, quiet=as_json, wait_s=3600.0)
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


def _end(ended: threading.Event) -> None:
    """The first signal is obeyed wherever it comes, but while jobs run, which are ended in order (stop.py); later ones change
    nothing."""
    if not ended.is_set():
        ended.set()
        raise KeyboardInterrupt
