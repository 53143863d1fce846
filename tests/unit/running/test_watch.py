"""What the watch is told of, and what it does where the system tells it nothing."""

import os
import queue
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from watchdog.observers import Observer
from watchdog.observers.polling import PollingObserver

from pullbook.archive.lock import BookHeld
from pullbook.book import Book
from pullbook.config import Settings
from pullbook.running.planning import Asked
from pullbook.running.run import Outcome
from pullbook.running.stop import Stopped
from pullbook.running.watch import _identity, _loop, _start, watch

ENGINE, DAY = "red", "2031-04-05"


@pytest.fixture
def book(tmp_path: Path) -> Book:
    book = Book.at(tmp_path)
    book.day_folder(ENGINE, DAY).mkdir(parents=True)
    (book.day_folder(ENGINE, DAY) / "pull 1.csv").write_text("rpm,torque\n3000,200\n", encoding="utf-8")
    return book


def test_a_log_that_is_read_is_no_news_and_one_that_is_written_is(book: Book) -> None:
    arrivals: queue.SimpleQueue[Asked] = queue.SimpleQueue()
    watcher = Observer()
    log = book.day_folder(ENGINE, DAY) / "pull 1.csv"
    try:
        _start([watcher], book, arrivals)
        log.read_bytes()
        with pytest.raises(queue.Empty):
            arrivals.get(timeout=1.0)
        with log.open("a", encoding="utf-8") as growing:
            growing.write("3100,201\n")
        assert arrivals.get(timeout=30.0) == (ENGINE, DAY)
        log.rename(log.with_name("pull 2.csv"))
        while not arrivals.empty():
            arrivals.get()
        log.with_name("pull 2.csv").unlink()
        assert arrivals.get(timeout=30.0) == (ENGINE, DAY)
    finally:
        watcher.stop()
        watcher.join()


class Refusing:
    """A watching library on a system that has no watch left to give."""

    def schedule(self, *_: Any, **__: Any) -> None:
        """Takes anything."""

    def start(self) -> None:
        """As the system answers it."""
        raise OSError(28, "inotify watch limit reached")


def test_a_system_that_lets_no_more_be_watched_leaves_the_looking_over(book: Book, capsys: pytest.CaptureFixture[str]) -> None:
    arrivals: queue.SimpleQueue[Asked] = queue.SimpleQueue()
    watcher = PollingObserver(timeout=0.2)
    try:
        _start([Refusing(), watcher], book, arrivals)
        (book.day_folder(ENGINE, DAY) / "pull 3.csv").write_text("rpm\n", encoding="utf-8")
        assert arrivals.get(timeout=30.0) == (ENGINE, DAY)
    finally:
        watcher.stop()
        watcher.join()
    assert capsys.readouterr().err == (
        "pullbook: the system tells of no changes (inotify watch limit reached): the folders are looked over every 10 s\n"
    )
    with pytest.raises(OSError, match="limit"):
        _start([Refusing()], book, arrivals)


@pytest.mark.parametrize(
    "refusal", [BookHeld("another run"), OSError(28, "No space left on device"), Outcome(unwritable="no room in archive", status=1)]
)
def test_a_day_whose_run_could_not_be_made_is_tried_again(
    book: Book, refusal: Exception | Outcome, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked: list[object] = []
    ended = threading.Event()

    def run(_book: Book, _settings: Settings, only: object, **_: Any) -> Outcome:
        asked.append(only)
        if len(asked) == 1 and isinstance(refusal, Outcome):
            return refusal
        if len(asked) == 1:
            raise refusal
        ended.set()
        raise Stopped(143)

    monkeypatch.setattr("pullbook.running.run.run", run)
    monkeypatch.setattr("pullbook.running.watch._AGAIN_S", 0.5)
    arrivals: queue.SimpleQueue[Asked] = queue.SimpleQueue()
    arrivals.put((ENGINE, DAY))
    started = time.monotonic()
    _loop(book, Settings("logs", "a4", 0.1, 8), arrivals, False, ended, _identity(book))
    assert asked == [[(ENGINE, DAY)]] * 2
    assert time.monotonic() - started > 0.5
    assert "watching on" in capsys.readouterr().err


class Counting:
    """Stands in for a run: which days were asked for, and it ends the watch after so many."""

    def __init__(self, most: int, ended: threading.Event, meanwhile: Callable[[], None]) -> None:
        self.asked: list[object] = []
        self._most, self._ended, self._meanwhile = most, ended, meanwhile

    def __call__(self, _book: Book, _settings: Settings, only: object, **_: Any) -> Outcome:
        self.asked.append(only)
        if len(self.asked) == self._most:
            self._ended.set()
        else:
            self._meanwhile()
        return Outcome()


def test_a_day_told_of_twice_is_run_once_and_again_only_when_it_changed(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    arrivals: queue.SimpleQueue[Asked] = queue.SimpleQueue()
    ended = threading.Event()
    log = book.day_folder(ENGINE, DAY) / "pull 1.csv"

    def meanwhile() -> None:
        arrivals.put((ENGINE, DAY))  # the other watcher tells of the same change
        threading.Timer(1.5, change).start()

    def change() -> None:
        status = log.stat()
        log.write_text("rpm,torque\n3000,201\n", encoding="utf-8")  # in place, of the same size
        os.utime(log, ns=(status.st_atime_ns, status.st_mtime_ns))  # and under the same date
        arrivals.put((ENGINE, DAY))

    run = Counting(2, ended, meanwhile)
    monkeypatch.setattr("pullbook.running.run.run", run)
    arrivals.put((ENGINE, DAY))
    started = time.monotonic()
    _loop(book, Settings("logs", "a4", 0.1, 8), arrivals, False, ended, _identity(book))
    assert run.asked == [[(ENGINE, DAY)]] * 2
    assert time.monotonic() - started > 1.5, "it was run again although nothing had changed"


def test_another_logs_folder_in_its_place_is_watched_anew(book: Book) -> None:
    stood = _identity(book)
    book.logs.rename(book.logs.with_name("put away"))
    book.logs.mkdir()
    _loop(book, Settings("logs", "a4", 0.1, 8), queue.SimpleQueue(), False, threading.Event(), stood)  # ends by itself
    book.logs.rmdir()
    assert _identity(book) is None


def test_ctrl_c_is_answered_in_the_middle_of_a_look(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    def endless(*_: Any, **__: Any) -> Outcome:
        signal.raise_signal(signal.SIGINT)
        raise AssertionError("the look went on")

    monkeypatch.setattr("pullbook.running.run.run", endless)
    before = signal.getsignal(signal.SIGINT)
    assert watch(book, Settings("logs", "a4", 0.1, 8), as_json=True) == 0
    assert signal.getsignal(signal.SIGINT) is before
