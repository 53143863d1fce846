"""What a run makes of the ways its work can end: jobs that never got their turn, a disk that took nothing more, days in part."""

import json
from pathlib import Path
from typing import Any

import pytest
from tests.unit.archive.made_up import day_folder

from pullbook.archive.disk import ArchiveUnwritable
from pullbook.archive.store import Store
from pullbook.book import Book
from pullbook.config import load
from pullbook.running import run as run_module
from pullbook.running.plan import Plan
from pullbook.running.run import Outcome, run


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """Two engines with a day each, never run."""
    made = Book.at(tmp_path)
    for engine in ("blue", "red"):
        day_folder(made, engine)
    return made


def ended(
    book: Book, monkeypatch: pytest.MonkeyPatch, said: dict[str, dict[str, Any]], *, pages: bool = True, full: str | None = None
) -> Outcome:
    """A run whose workflow left these statuses, by engine (an engine without one never got its turn)."""

    def work(plan: Plan, *_: object) -> None:
        for parcel, idents in plan.parcels.items():
            told = {i: said[plan.days[i].engine] for i in idents if plan.days[i].engine in said}
            plan.reported(parcel).parent.mkdir(parents=True, exist_ok=True)
            plan.reported(parcel).write_text(json.dumps(told), encoding="utf-8")
        if pages:
            plan.pages_made.parent.mkdir(parents=True, exist_ok=True)
            plan.pages_made.touch()

    monkeypatch.setattr(run_module, "_work", work)
    monkeypatch.setattr(run_module, "_refusal", lambda _: full)
    return run(book, load(book.root), None, quiet=True)


WHOLE = {"sentence": "Set 32° total.", "errors": []}
BROKEN = {"file": "a.csv", "line": 1, "column": None, "found": "x", "expected": "y", "remedy": "z"}


@pytest.mark.parametrize(
    ("red", "status"),
    [(WHOLE, 0), (WHOLE | {"errors": [BROKEN]}, 1), ({"unwritable": "no room"}, 1), ({"fault": "ValueError", "log": "job.log"}, 3)],
)
def test_the_worst_day_gives_the_status(book: Book, monkeypatch: pytest.MonkeyPatch, red: dict[str, Any], status: int) -> None:
    outcome = ended(book, monkeypatch, {"blue": WHOLE, "red": red})
    assert outcome.status == status
    assert [(d["engine"], d["why"]) for d in outcome.days] == [("blue", "new day"), ("red", "new day")]
    assert outcome.unwritable == red.get("unwritable")
    kept = list((book.work / "reported").glob("*.json"))
    assert bool(kept) == (status == 3), "after a fault of ours the work folder is kept to be looked at"


def test_a_day_that_never_got_its_turn_is_our_fault_and_is_said(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    outcome = ended(book, monkeypatch, {"blue": WHOLE}, pages=False)
    assert outcome.status == 3
    assert outcome.days[1] | {"why": ""} == {
        "engine": "red", "day": "2031-04-05", "fault": "its job ended early", "log": "workflow.log", "why": "",
    }  # fmt: skip


def test_pages_that_were_not_made_are_our_fault(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    outcome = ended(book, monkeypatch, {"blue": WHOLE, "red": WHOLE}, pages=False)
    assert outcome.status == 3
    assert outcome.notices[0].startswith("the index pages were not made; see ")


@pytest.mark.parametrize("said", [{"blue": WHOLE}, {"blue": WHOLE, "red": WHOLE}])
def test_a_full_disk_is_nobodys_fault(book: Book, monkeypatch: pytest.MonkeyPatch, said: dict[str, Any]) -> None:
    outcome = ended(book, monkeypatch, said, pages=False, full="the book could not be written: no room")
    assert outcome.status == 1
    assert outcome.unwritable == "the book could not be written: no room"
    assert not any("fault" in day for day in outcome.days)


def test_room_is_tried_and_left_as_it_was(tmp_path: Path) -> None:
    assert run_module._refusal(tmp_path) is None
    assert list(tmp_path.iterdir()) == []
    said = run_module._refusal(tmp_path / "nowhere")
    assert said == "the book could not be written: No such file or directory; what was complete stands"


def test_an_archive_that_cannot_be_completed_or_marked_is_said(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise ArchiveUnwritable

    monkeypatch.setattr(Store, "complete_unfinished", refused)
    monkeypatch.setattr(Store, "note_missing_logs", refused)
    for step in (lambda o: run_module._complete(book, o), lambda o: run_module._note_missing(book, [], o)):
        outcome = Outcome()
        step(outcome)
        assert (outcome.status, outcome.unwritable) == (1, str(ArchiveUnwritable()))


def test_what_a_crash_left_is_completed_with_a_word(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Store, "complete_unfinished", lambda _: [{"engine": "blue", "day": "2031-04-05", "revision": 2}])
    outcome = Outcome()
    run_module._complete(book, outcome)
    assert (outcome.status, outcome.notices) == (0, ["blue / 2031-04-05: an interrupted run was completed"])
