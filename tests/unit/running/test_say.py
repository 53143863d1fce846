"""What a run says at its end, in words and as JSON."""

from pathlib import Path
from typing import Any

from pullbook.book import Book
from pullbook.running.run import Outcome
from pullbook.running.say import as_json, as_text

ERROR = {"file": "pull 3.csv", "line": 12, "column": "Torque", "found": "'x'", "expected": "a number", "remedy": "correct it"}
DAY: dict[str, Any] = {
    "engine": "grey four", "day": "2031-04-05", "why": "new pull", "sentence": "Set 32° total.", "report": "reports/r.html",
    "revision": 2, "errors": [ERROR],
}  # fmt: skip


def test_a_run_says_each_day_its_sentence_and_what_could_not_be_used(tmp_path: Path) -> None:
    book = Book.at(tmp_path)
    (tmp_path / "reports").mkdir()
    (tmp_path / "reports" / "index.html").write_text("x", encoding="utf-8")
    said = as_text(book, Outcome(days=[DAY], notices=["config changed"], status=1)).splitlines()
    assert said[:3] == ["config changed", "grey four / 2031-04-05 (new pull)", "  Set 32° total."]
    assert said[3] == "  not used: pull 3.csv, line 12, column 'Torque': found 'x'; expected a number; correct it"
    assert said[4].startswith("Reports: ")
    made = as_json(book, Outcome(days=[DAY], status=1, unwritable="the disk is full"))
    assert (made["status"], made["nothing_new"], made["notices"]) == (1, False, ["the disk is full"])
    assert made["days"][0]["errors"] == [ERROR]
    assert made["days"][0]["revision"] == 2


def test_nothing_new_and_days_that_failed_are_said(tmp_path: Path) -> None:
    book = Book.at(tmp_path)
    assert as_text(book, Outcome()) == "Nothing new."
    assert as_json(book, Outcome())["nothing_new"] is True
    failed = {"engine": "e", "day": "d", "why": "new day", "fault": "ValueError", "log": "job.log", "unwritable": "no room"}
    said = as_text(book, Outcome(days=[failed]))
    assert "not archived: no room" in said
    assert "a fault of pullbook's own: ValueError; the traceback is in .pullbook (job.log)" in said


def test_names_of_folders_cannot_steer_the_screen(tmp_path: Path) -> None:
    said = as_text(Book.at(tmp_path), Outcome(days=[{"engine": "a\x1b[2Jb", "day": "d", "why": "new day"}]))
    assert "\x1b" not in said
