"""Being told to stop: signals noted instead of dying halfway, and a family of processes ended to the last."""

import signal
from types import FrameType
from typing import Any, Self

_GRACE_S = 1.5


class Stopped(Exception):
    """The run was told to stop; ``status`` is the exit status that says by which signal."""

    def __init__(self, status: int) -> None:
        super().__init__(f"stopped by signal {status - 128}")
        self.status = status


class Stop:
    """While entered, SIGINT and SIGTERM are noted instead of ending this process halfway."""

    def __init__(self) -> None:
        self._signal: int | None = None
        self._before: dict[int, Any] = {}

    def status(self) -> int | None:
        """Exit status to end with, or None while nobody asked."""
        return self._signal

    def __enter__(self) -> Self:
        for number in (signal.SIGINT, signal.SIGTERM):
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
