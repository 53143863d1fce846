"""Being told to stop: signals noted instead of dying halfway, and a family of processes ended to the last."""

import json
import signal
from contextlib import suppress
from pathlib import Path
from types import FrameType
from typing import Any, Self

_GRACE_S = 1.5
_FAMILY = "family.json"
_ASKING = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
"""The last is sent where the window is closed, or the line drops."""


class Stopped(Exception):
    """The run was told to stop; ``status`` is the exit status that says by which signal."""

    def __init__(self, status: int) -> None:
        super().__init__(f"stopped by signal {status - 128}")
        self.status = status


class Stop:
    """While entered, SIGINT, SIGTERM and SIGHUP are noted instead of ending this process halfway; ignored ones (nohup) stay so."""

    def __init__(self) -> None:
        self._signal: int | None = None
        self._before: dict[int, Any] = {}

    def status(self) -> int | None:
        """Exit status to end with, or None while nobody asked."""
        return self._signal

    def __enter__(self) -> Self:
        for number in _ASKING:
            if signal.getsignal(number) is not signal.SIG_IGN:
                self._before[number] = signal.signal(number, self._note)
        return self

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _note(self, number: int, _frame: FrameType | None) -> None:
        self._signal = 128 + number


def end_family(pid: int) -> None:
    """Ask process ``pid`` and all it started to end, and make those that do not."""
    import psutil

    try:
        family = [psutil.Process(pid), *psutil.Process(pid).children(recursive=True)]
    except psutil.NoSuchProcess:
        return
    for kill in (False, True):
        for member in family:
            try:
                member.kill() if kill else member.terminate()
            except psutil.NoSuchProcess:
                continue
        _, family = psutil.wait_procs(family, timeout=_GRACE_S)
        if not family:
            return


def note_family(work: Path, pid: int) -> None:
    """Note in the work folder that process ``pid`` and what it starts are at work for this run."""
    import psutil

    with suppress(psutil.Error, OSError):
        (work / _FAMILY).write_text(json.dumps({"pid": pid, "started": psutil.Process(pid).create_time()}), encoding="utf-8")


def forget_family(work: Path) -> None:
    """The noted processes have ended."""
    with suppress(OSError):
        (work / _FAMILY).unlink(missing_ok=True)


def end_left_behind(work: Path) -> bool:
    """End what a run that was killed outright left at work, and whether there was anything. For who holds the book."""
    try:
        noted = json.loads((work / _FAMILY).read_bytes())
    except (OSError, ValueError):
        return False
    import psutil

    left = False
    with suppress(psutil.Error, KeyError, TypeError):  # it has ended, or the number is another's now
        left = psutil.Process(noted["pid"]).create_time() == noted["started"]
        if left:
            end_family(noted["pid"])
    forget_family(work)
    return left
