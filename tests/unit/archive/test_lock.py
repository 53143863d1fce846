"""One run holds the book; a second is told who, or waits; a hold left by a killed run is cleared with a word."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pullbook.archive.lock import NOTE, BookHeld, hold_book

_HOLDS = """
import sys, time
from pathlib import Path
from pullbook.archive.lock import hold_book
hold = hold_book(Path(sys.argv[1]))
print("held", flush=True)
time.sleep(float(sys.argv[2]))
hold.release()
"""


def holder(work: Path, seconds: float) -> subprocess.Popen[str]:
    """Another process that holds the book for a while."""
    other = subprocess.Popen([sys.executable, "-c", _HOLDS, work, str(seconds)], stdout=subprocess.PIPE, text=True)
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    return other


def test_a_second_run_is_told_who_holds_the_book(tmp_path: Path) -> None:
    other = holder(tmp_path, 30)
    try:
        with pytest.raises(BookHeld, match=rf"held by the run of process {other.pid} on \S+ since \d{{4}}-"):
            hold_book(tmp_path)
    finally:
        other.kill()
        other.communicate()
    said: list[str] = []
    with hold_book(tmp_path, say=said.append) as hold:
        assert hold.word is not None
        assert f"process {other.pid}" in hold.word
        assert said == [hold.word]
    assert not (tmp_path / NOTE).exists()


def test_a_second_run_may_wait(tmp_path: Path) -> None:
    other = holder(tmp_path, 0.5)
    said: list[str] = []
    began = time.monotonic()
    with hold_book(tmp_path, wait_s=30, say=said.append) as hold:
        assert time.monotonic() - began < 20
        assert hold.word is None
        assert json.loads((tmp_path / NOTE).read_text())["pid"] == os.getpid()
    assert said == [f"waiting for the run of process {other.pid}" + said[0].partition(str(other.pid))[2]]
    other.communicate()


def test_letting_go_twice_is_once(tmp_path: Path) -> None:
    hold = hold_book(tmp_path / "made")
    hold.release()
    hold.release()
    hold_book(tmp_path / "made").release()
