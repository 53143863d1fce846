"""How far a run is: a bar on a terminal, a line a finished day elsewhere, no half-written line shown."""

import io
from pathlib import Path

from pullbook.running.progress import STEPS, Display, note


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_elsewhere_than_on_a_terminal_a_finished_day_is_a_line(tmp_path: Path) -> None:
    events, out = tmp_path / "events", io.StringIO()
    shown = Display(2, out)
    shown.follow(events)
    note(events, engine="blue", day="2031-04-05", step="read")
    note(events, engine="blue", day="2031-04-05", finished=True)
    with events.open("a") as half:
        half.write('{"engine": "red", "day": ')
    shown.follow(events)
    assert out.getvalue() == "1 of 2: blue / 2031-04-05\n"
    with events.open("a") as rest:
        rest.write('"2031-05-02", "finished": true}\n')
    shown.follow(events)
    assert out.getvalue().endswith("2 of 2: red / 2031-05-02\n")


def test_on_a_terminal_a_bar_fills_and_goes(tmp_path: Path) -> None:
    events, out = tmp_path / "events", Terminal()
    shown = Display(1, out)
    for step in STEPS:
        note(events, engine="blue", day="2031-04-05", step=step)
    shown.follow(events)
    first, *_, last = out.getvalue().split("\r")[1:]
    assert first.count("#") == 24 // len(STEPS)
    assert last.count("#") == 24
    shown.close()
    assert out.getvalue().endswith(" \r")
