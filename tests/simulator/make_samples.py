"""Make sample_logs/: ``python -m tests.simulator.make_samples [FOLDER]``. The same command gives the same files."""

import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.simulator import scenario
from tests.simulator.mark_picture import draw_mark
from tests.simulator.write import SecondRecorder, write_day

HOME = Path(__file__).parents[2] / "sample_logs"


@dataclass
class Listing:
    """What the README says of each file, in one line, in the order written."""

    root: Path
    lines: dict[str, str] = field(default_factory=dict)

    def say(self, path: Path, text: str) -> None:
        """One file's line (said again: the later words are kept)."""
        self.lines[path.relative_to(self.root).as_posix()] = text

    def say_all(self, folder: Path, pattern: str, text: str) -> None:
        """The same line for every file of a pattern."""
        for path in sorted(folder.glob(pattern)):
            self.say(path, text)


def make(root: Path) -> Listing:
    """Write all sample days below ``root``; returns what each file is."""
    list_ = Listing(root)
    _v8(root / "bracken-v8", list_)
    _four(root / "teasel-four", list_)
    _twin(root / "sallow-twin", list_)
    return list_


def _v8(engine: Path, list_: Listing) -> None:
    spring, autumn = scenario.v8_spring(), scenario.v8_autumn()
    facts: dict[str, Any] = {
        "name": "Bracken, two-valve V8, one four-barrel carburettor", "altitude_m": 160, "fuel": "98 RON pump fuel",
        "damper_diameter_mm": 203, "used_rpm": [2400, 5600],
        "ignition": {
            "kind": "mechanical", "advance_scale": "crank", "spark": "single", "stops_deg": [16, 18, 20, 24],
            "springs": [
                {"name": "two stiff, as it came", "start_rpm": 1400, "all_in_rpm": 3900, "at_stop_deg": 20},
                {"name": "two soft", "start_rpm": 1100, "all_in_rpm": 2900, "at_stop_deg": 20},
                {"name": "one soft, one stiff", "start_rpm": 1100, "all_in_rpm": 4400, "at_stop_deg": 20},
            ],
        },
        "known_limits": {"max_advance_deg": 42, "note": "engine builder's figure for this fuel"},
    }  # fmt: skip
    day = engine / spring.day
    more = {"dyno": {"name": "cell 2", "kind": "engine"}, "fuel": "98 RON pump fuel", "oil": "10W-40, fresh",
            "plugs": "new, 0.9 mm",
            "mixture": "power jets, lambda 0.87 to 0.90", "notes": "customer wants one curve he can leave alone"}  # fmt: skip
    write_day(spring, day, "cell", names=lambda i: f"run {i + 1:02d}", engine_more=facts, day_more=more)
    draw_mark(day / "damper_mark.png", light_reads=34.5)
    list_.say(engine / "engine.yaml", "engine, stops and springs the shop owns")
    list_.say(day / "day.yaml", "air, piston-stop check of the damper mark (it reads about 1° high), notes")
    list_.say(day / "pulls.csv", "pull sheet with air and oil for each pull; the first setting is repeated at the end")
    list_.say(day / "strobe.csv", "light readings on the damper's scale, up and down, rounded to half degrees")
    list_.say(day / "damper_mark.png", "picture: the damper mark as seen by the light (drawn)")
    list_.say_all(
        day,
        "run*.csv",
        "log, comma, preamble with a barometer, lbf·ft and hp, oil in °F on every fifth row; advance reads about 2° high and late",
    )
    _sentinels(day / "run 06.csv", -1)
    list_.say(day / "run 06.csv", "as the others, and the oil probe dropped out: -999 in its column")

    day = engine / autumn.day
    stop = (
        {"zero_mark": {"stop_before_tdc_deg": spring.stop[0], "stop_after_tdc_deg": spring.stop[1], "checked": spring.day}}
        if spring.stop
        else {}
    )
    write_day(
        autumn, day, "tab_units", names=lambda i: f"session {min(i // 3, 2) + 1}", sessions=((0, 1, 2), (3, 4, 5), (6, 7, 8, 9)),
        engine_more=facts,
        day_more=stop | more | {"notes": "other recorder since summer; mark not checked again", "oil": "10W-40, 900 km"},
    )  # fmt: skip
    _cut(day / "session 3.txt", 13)
    list_.say(day / "day.yaml", "air; the mark's check is the spring one")
    list_.say(day / "pulls.csv", "pull sheet; column `pull` says which pull of a session file a row is")
    list_.say(day / "strobe.csv", "fewer light readings than in spring")
    list_.say_all(
        day,
        "session*.txt",
        "several pulls, recorder restarted with the header again; tab, units row, CRLF, ms; another advance offset and delay",
    )
    list_.say(day / "session 1.txt", "as the others; its third pull was lifted at about half the span")
    list_.say(day / "session 3.txt", "as the others; the last line is cut off in the middle")


def _four(engine: Path, list_: Listing) -> None:
    four = scenario.four_day()
    day = engine / four.day
    write_day(
        four, day, "date", names=lambda i: f"essai_{i + 1:02d}", recorder=SecondRecorder(),
        engine_more={
            "name": "Teasel, four-valve four", "altitude_m": 240, "fuel": "95 RON pump fuel", "used_rpm": [3000, 7000],
            "ignition": {"kind": "mapped", "advance_scale": "crank", "spark": "single",
                         "breakpoints_rpm": list(range(3000, 7001, 500))},
        },
        day_more={"dyno": {"name": "banc B", "kind": "engine"}, "fuel": "95 RON pump fuel", "listening": "sensor",
                  "notes": "locked-out sweep: the table is overridden with one number a pull"},
    )  # fmt: skip
    list_.say(engine / "engine.yaml", "mapped ignition with the table's breakpoints")
    list_.say(day / "day.yaml", "air, mark checked with a stop, knock sensor with headset")
    list_.say(
        day / "pulls.csv",
        "pull sheet, semicolons, decimal commas and a byte-order mark; knock noted with its rpm; one pull nobody listened to",
    )
    list_.say(day / "strobe.csv", "light readings, semicolons")
    list_.say_all(
        day,
        "essai_*.csv",
        "dyno log, French, semicolons, decimal comma, date and time on each row, slow temperatures; no advance in it",
    )
    list_.say_all(
        day,
        "essai_*.log",
        "second recorder of the same pull: advance, lambda, knock counts; own clock, started earlier and 0.3 % fast",
    )


def _twin(engine: Path, list_: Listing) -> None:
    twin = scenario.twin_day()
    day = engine / twin.day
    write_day(
        twin, day, "semicolon", names=lambda i: f"Messung {i + 1}",
        engine_more={
            "name": "Sallow, air-cooled twin", "altitude_m": 420, "fuel": "98 ROZ", "used_rpm": [2500, 5500],
            "ignition": {"kind": "mechanical", "advance_scale": "crank", "spark": "wasted", "stops_deg": [16],
                         "springs": [{"name": "Serie", "start_rpm": 1200, "all_in_rpm": 2900, "at_stop_deg": 16}]},
        },
        day_more={"dyno": {"name": "Rolle", "kind": "roller"}, "notes": "Zeit war knapp, Markierung nicht geprüft"},
    )  # fmt: skip
    list_.say(engine / "engine.yaml", "air-cooled twin, one stop, one spring pair, wasted spark")
    list_.say(day / "day.yaml", "one air reading for the whole day; the mark was not checked; nobody listened")
    list_.say(day / "pulls.csv", "pull sheet: six pulls, always upward, no return to the first setting")
    list_.say(day / "strobe.csv", "four light readings, decimal commas")
    list_.say_all(
        day,
        "Messung*.csv",
        "roller log, German, CP1252, semicolons (one at the line's end), decimal comma, thousands point, PS; noisy, no advance",
    )


def _sentinels(path: Path, column: int) -> None:
    """Replace the values of one column by -999 in the middle of a log."""
    lines = path.read_text(encoding="utf-8").split("\n")
    for i in range(120, 220):
        cells = lines[i].split(",")
        if cells[column]:
            cells[column] = "-999"
            lines[i] = ",".join(cells)
    path.write_text("\n".join(lines), encoding="utf-8", newline="")


def _cut(path: Path, characters: int) -> None:
    """Cut the end off a log, as a recorder switched off too early does."""
    path.write_bytes(path.read_bytes()[:-characters])


def readme(list_: Listing) -> str:
    """README.md of the sample logs: one line a file."""
    words = [
        "# Sample logs", "",
        "Three invented shops, made by `python -m tests.simulator.make_samples` from an engine simulator (docs/simulator.md);",
        "no real engine, shop or person is meant. This folder stands for `<book>/logs`.", "",
        "One line per file: what it is and what is wrong with it.",
    ]  # fmt: skip
    folder = None
    for path, text in sorted(list_.lines.items()):
        parent, _, name = path.rpartition("/")
        if parent != folder:
            words += ["", f"## {parent}", ""]
            folder = parent
        words.append(f"- `{name}`: {text}")
    return "\n".join(words) + "\n"


def main() -> None:
    """Write the sample logs and their README."""
    root = Path(sys.argv[1]) if len(sys.argv) > 1 else HOME
    root.mkdir(parents=True, exist_ok=True)
    (root / "README.md").write_text(readme(make(root)), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
