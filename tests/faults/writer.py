"""The process that gets killed: `python -m tests.faults.writer ROOT --first N --stop M [--die-at K] [--full-at BYTES]`.

Says `done <step> <revision>` after each step that the archive acknowledged. With ``--die-at`` it kills itself at the K-th point
between (or in the middle of) file operations; with ``--full-at`` the disk is full after so many bytes. With
``--hold`` it holds the book as a run does, waiting for another, and leaves alone what that one has done meanwhile; with
``--linger`` too it says `held` and goes on when a line comes on standard input.
"""

import argparse
import errno
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pullbook.archive import disk
from pullbook.archive.disk import ArchiveUnwritable
from pullbook.archive.lock import hold_book
from pullbook.archive.store import Store
from tests.faults.work import ENGINE, Step

_OPERATIONS = ("write_file", "replace", "keep_beside", "make_folders", "sync_folder", "remove", "remove_folder")


class Doom:
    """Counts points between file operations and dies at the one that was drawn."""

    def __init__(self, at: int | None) -> None:
        self._left = at

    def point(self) -> None:
        """Die here, if this is the point; as a power cut, without a chance to tidy."""
        if self._left is None:
            return
        self._left -= 1
        if self._left <= 0:
            os.kill(os.getpid(), signal.SIGKILL)


def arm(doom: Doom, room: int | None) -> None:
    """Put points before and after every file operation of the archive, and in the middle of every write; bound the disk's room."""
    left = [room]

    def watched(plain: Callable[..., Any]) -> Callable[..., Any]:
        def operation(*what: Any) -> Any:
            doom.point()
            done = plain(*what)
            doom.point()
            return done

        return operation

    def write_half_then_all(path: Path, data: bytes) -> None:
        doom.point()
        with path.open("wb") as out:
            out.write(data[: len(data) // 2])
            out.flush()
            doom.point()
            if left[0] is not None:
                left[0] -= len(data)
                if left[0] < 0:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
            out.write(data[len(data) // 2 :])
            out.flush()
            os.fsync(out.fileno())
        doom.point()

    for name in _OPERATIONS:
        setattr(disk, name, watched(getattr(disk, name)))
    disk.write_file = write_half_then_all


def main() -> int:
    """Do the steps."""
    given = argparse.ArgumentParser()
    given.add_argument("root", type=Path)
    given.add_argument("--first", type=int, default=0)
    given.add_argument("--stop", type=int, default=9)
    given.add_argument("--die-at", type=int)
    given.add_argument("--full-at", type=int)
    given.add_argument("--hold", action="store_true")
    given.add_argument("--linger", action="store_true")
    asked = given.parse_args()
    hold = None
    if asked.hold:
        hold = hold_book(asked.root.parent / ".pullbook", wait_s=300, say=lambda text: print(f"said {text}", flush=True))
    if asked.linger:
        print("held", flush=True)
        sys.stdin.readline()
    arm(Doom(asked.die_at), asked.full_at)
    store = Store(asked.root)
    try:
        store.complete_unfinished()
        print("ready", flush=True)
        for number in range(asked.first, asked.stop):
            step = Step(number)
            now = store.current(ENGINE, step.day)
            if asked.hold and now is not None and now["revision"] >= step.revision:
                continue
            revision = store.write_day(ENGINE, step.day, **step.writing())
            print(f"done {number} {revision}", flush=True)
            if number % 4 == 3:
                store.update_catalog()
        store.update_catalog()
    except ArchiveUnwritable as refused:
        print(f"refused {refused}", flush=True)
        return 1
    finally:
        if hold is not None:
            hold.release()
    return 0


if __name__ == "__main__":
    sys.exit(main())
