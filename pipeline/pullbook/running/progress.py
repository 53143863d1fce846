"""What is being done and how far it is: jobs append lines to one file, the run shows them as a bar or as plain lines."""

import json
import sys
from pathlib import Path
from typing import Any, TextIO

STEPS = ("read", "align", "delivered", "best", "archive", "report")


def note(file: Path | None, **event: Any) -> None:
    """Append one event (one line, written at once so that several processes may share the file)."""
    if file is None:
        return
    with file.open("a", encoding="utf-8") as out:
        out.write(json.dumps(event, ensure_ascii=True) + "\n")


class Display:
    """Shows events on ``out``: a bar that redraws itself on a terminal, one plain line a finished day elsewhere."""

    def __init__(self, days: int, out: TextIO | None = None) -> None:
        self.out = out if out is not None else sys.stderr
        self.total = max(1, days) * len(STEPS)
        self.done = 0
        self.days = days
        self.finished = 0
        self.live = self.out.isatty()
        self._position = 0
        self._last = 0

    def follow(self, file: Path) -> None:
        """Show what has been appended to ``file`` since the last call; a half-written last line waits."""
        if not file.exists():
            return
        with file.open("rb") as events:
            events.seek(self._position)
            block = events.read()
        whole = block.rfind(b"\n") + 1
        self._position += whole
        for line in block[:whole].splitlines():
            self._show(json.loads(line))

    def close(self) -> None:
        """Leave the terminal on a fresh line."""
        if self.live and self._last:
            self.out.write("\r" + " " * self._last + "\r")
            self.out.flush()

    def _show(self, event: dict[str, Any]) -> None:
        step = event.get("step")
        if step in STEPS:
            self.done += int(event.get("weight", 1))
        if event.get("finished"):
            self.finished += 1
        where = f"{event.get('engine', '')} / {event.get('day', '')}".strip(" /")
        if self.live:
            wide = 24
            full = min(wide, wide * self.done // self.total)
            text = f"[{'#' * full}{'.' * (wide - full)}] {self.finished} of {self.days} days  {step or ''}  {where}"[:100]
            self.out.write("\r" + text.ljust(self._last))
            self._last = len(text)
        elif event.get("finished"):
            self.out.write(f"{self.finished} of {self.days}: {where}\n")
        self.out.flush()
