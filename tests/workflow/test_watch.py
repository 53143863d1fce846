"""`pullbook watch`: what arrives is made once it stands still, and nothing that happens to the folder ends the watch."""

import json
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.xdist_group("watch")


class Watched:
    """A running watch and what it has said so far."""

    def __init__(self, process: subprocess.Popen[str], log: Path) -> None:
        self.process = process
        self._log = log

    def said(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self._log.read_text(encoding="utf-8").splitlines() if line.endswith("}")]

    def wait_for(self, runs: int) -> list[dict[str, Any]]:
        return self.wait_until(lambda said: len(said) >= runs)

    def wait_until(self, enough: Callable[[list[dict[str, Any]]], bool], seconds: float = 120.0) -> list[dict[str, Any]]:
        end = time.monotonic() + seconds
        while not enough(said := self.said()):
            assert self.process.poll() is None, "the watch ended by itself"
            assert time.monotonic() < end, f"{len(said)} runs said, and not what was waited for"
            time.sleep(0.2)
        return said


MUTE = """
import sys
import watchdog.observers
import pullbook.running.watch
from pullbook.cli import main

class Mute(watchdog.observers.Observer):
    def start(self):
        raise OSError(38, "Function not implemented")

watchdog.observers.Observer = Mute
pullbook.running.watch._LOOK_S = 1.0
sys.exit(main(sys.argv[1:]))
"""
"""The watch where the system tells of nothing, as on a network share: the folders are looked over, here once a second."""


@contextmanager
def watching(book: Path, tmp_path: Path, *, mute: bool = False) -> Iterator[Watched]:
    log = tmp_path / "said.jsonl"
    with log.open("w", encoding="utf-8") as out, (tmp_path / "complaints.txt").open("w") as complaints:
        command = [sys.executable, *(["-c", MUTE] if mute else ["-m", "pullbook"]), "watch", "--book", str(book), "--json"]
        process = subprocess.Popen(command, stdout=out, stderr=complaints, text=True)
        try:
            yield Watched(process, log)
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()


def test_watch_makes_what_arrives_and_outlives_what_goes(small: Callable[[str], Path], tmp_path: Path) -> None:
    book = small("watched")
    day = next((book / "logs" / "watched").iterdir())
    with watching(book, tmp_path) as watch:
        first = watch.wait_for(1)[0]  # what was new already
        assert [d["day"] for d in first["days"]] == [day.name]

        log = next(p for p in sorted(day.iterdir()) if p.suffix in (".csv", ".txt") and p.name not in ("pulls.csv", "strobe.csv"))
        text = log.read_bytes()
        with (day / "growing.csv").open("wb") as growing:  # still being written: not touched until it stands still
            for part in range(5):
                growing.write(text[part * len(text) // 5 : (part + 1) * len(text) // 5])
                growing.flush()
                time.sleep(0.7)
        second = watch.wait_for(2)[1]
        assert [d["why"] for d in second["days"]] == ["new: growing.csv"]
        assert len(watch.said()) == 2

        other = day.with_name("2031-01-31")
        shutil.copytree(day, tmp_path / "moved in")
        (tmp_path / "moved in").rename(other)  # a move, as a sync client makes it
        # a busy machine may stall the writer above for longer than a file must stand still: then one run more comes before this one
        watch.wait_until(lambda said: "2031-01-31" in [d["day"] for run in said[2:] for d in run["days"]])

        made = len(watch.said())
        shutil.rmtree(other)  # a folder deleted under the watch
        (day / "broken.csv").write_text("K1,K2\n1,2\n3,4\n")
        watch.wait_until(lambda said: any(d["errors"] for run in said[made:] for d in run["days"]))

        watch.process.send_signal(signal.SIGTERM)
        assert watch.process.wait(timeout=15) == 0


def test_a_share_that_tells_of_nothing_is_looked_over(small: Callable[[str], Path], tmp_path: Path) -> None:
    """A slow copy is waited for; what a sync client puts in its place under the old date and size is seen, and what goes."""
    book = small("shared")
    day = next((book / "logs" / "shared").iterdir())
    log = next(p for p in sorted(day.iterdir()) if p.suffix in (".csv", ".txt") and p.name not in ("pulls.csv", "strobe.csv"))
    text = log.read_bytes()
    with watching(book, tmp_path, mute=True) as watch:
        watch.wait_for(1)
        with (day / "slow.csv").open("wb") as growing:
            for part in range(5):
                growing.write(text[part * len(text) // 5 : (part + 1) * len(text) // 5])
                growing.flush()
                time.sleep(0.7)
        assert watch.wait_for(2)[1]["days"][0]["why"] == "new: slow.csv"

        half = day / f".{log.name}.Xy12"  # hidden until it is whole: looked past
        shutil.copy2(log, half)
        half.write_bytes(text.replace(b"1", b"2", 2))
        shutil.copystat(log, half)
        time.sleep(3.0)
        assert len(watch.said()) == 2
        half.replace(log)
        assert watch.wait_for(3)[2]["days"][0]["why"] == f"changed: {log.name}"

        (day / "slow.csv").unlink()
        assert watch.wait_for(4)[3]["days"][0]["why"] == "gone: slow.csv"

        watch.process.send_signal(signal.SIGINT)
        assert watch.process.wait(timeout=15) == 0
    assert "the system tells of no changes (Function not implemented)" in (tmp_path / "complaints.txt").read_text()
