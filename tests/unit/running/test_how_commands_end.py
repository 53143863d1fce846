"""How a command ends: the exit status of the contract and one line, whatever went wrong below it."""

import errno
import json
import os
from pathlib import Path

import pytest
from tests.unit.archive.made_up import writing

from pullbook import cli
from pullbook.archive.disk import ArchiveUnwritable
from pullbook.archive.lock import BookHeld
from pullbook.archive.store import Store
from pullbook.config import ConfigError
from pullbook.running.stop import Stopped

ENGINE, DAY = "blue coupé", "2031-04-05"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A book of one archived day without a log."""
    (tmp_path / "logs" / ENGINE / DAY).mkdir(parents=True)
    store = Store(tmp_path / "archive")
    store.write_day(ENGINE, DAY, **writing())
    store.update_catalog()
    return tmp_path


@pytest.mark.parametrize(
    ("fault", "status", "said"),
    [
        (KeyboardInterrupt(), 130, ""),
        (Stopped(143), 143, ""),
        (BookHeld("the run of process 7"), 2, "pullbook: the book is held by the run of process 7\n"),
        (ConfigError("config.yaml: found a list"), 2, "pullbook: config.yaml: found a list\n"),
        (ArchiveUnwritable(), 1, f"pullbook: {ArchiveUnwritable()}\n"),
        (OSError(errno.ENOSPC, "No space left on device", "x/day.json"), 1, "pullbook: No space left on device: x/day.json\n"),
        (OSError("a disk that says nothing"), 1, "pullbook: a disk that says nothing\n"),
    ],
    ids=lambda v: type(v).__name__ if isinstance(v, BaseException) else "",
)
def test_what_ends_a_command_is_a_status_and_at_most_a_line(
    folder: Path, fault: BaseException, status: int, said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object) -> None:
        raise fault

    monkeypatch.setattr("pullbook.archive.verify.verify", broken)
    assert cli.main(["verify", "--book", str(folder)]) == status
    shown = capsys.readouterr()
    assert (shown.out, shown.err) == ("", said)


def test_a_reader_of_the_output_that_goes_away_is_no_fault(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    closed: list[int] = []

    def gone(*_: object) -> None:
        raise BrokenPipeError

    monkeypatch.setattr("pullbook.archive.verify.verify", gone)
    monkeypatch.setattr(os, "dup2", lambda _, number: closed.append(number))
    monkeypatch.setattr("sys.stdout.fileno", lambda: 1)
    assert cli.main(["verify", "--book", str(folder)]) == 0
    assert closed == [1], "nothing more is written into the closed pipe"


def test_a_fault_of_our_own_where_nothing_can_be_written_is_still_one_line(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("oh")

    def refused(*_: object, **__: object) -> None:
        raise PermissionError

    monkeypatch.setattr("pullbook.archive.verify.verify", broken)
    monkeypatch.setattr(Path, "write_text", refused)
    assert cli.main(["verify", "--book", str(folder)]) == 3
    said = capsys.readouterr().err
    assert said.startswith("pullbook: a fault of pullbook's own: ZeroDivisionError: oh; the traceback is in no file: ")
    assert said.count("\n") == 1


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main([]) == 2
    assert "Example: pullbook run --book my-shop" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["verify", "--book", "{}/nowhere"], "is not a folder; --book names the folder that holds logs/"),
        (["run", "--book", "{}/empty"], "no logs/ in"),
        (
            ["run", "--book", "{}/bare"],
            "put logs in logs/<engine>/<YYYY-MM-DD>/; logs/lost.csv lies in no day folder",
        ),
        (["run", "--profile", "none such", "--book", "{}"], "no profile 'none such'"),
        (["check", "{}/gone.csv", "--book", "{}"], "no file or folder"),
        (["new", "..", "2031-04-05", "--book", "{}"], "expected"),
        (["history", "red", "--book", "{}"], "the archive has no day of 'red'"),
        (["compare", f"{ENGINE}/{DAY}", "red/2031-04-05", "--book", "{}"], "red"),
    ],
    ids=lambda v: v[0] if isinstance(v, list) else "",
)
def test_wrong_use_is_said_in_one_line(folder: Path, typed: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "empty").mkdir()
    (folder / "bare" / "logs").mkdir(parents=True)
    (folder / "bare" / "logs" / "lost.csv").write_text("rpm\n1\n")
    assert cli.main([word.replace("{}", str(folder)) for word in typed]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith("pullbook: ")
    assert said in shown.err
    assert shown.err.count("\n") == 1


def test_verify_says_what_is_damaged_and_that_the_rest_is_whole(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["verify", "--book", str(folder)]) == 0
    capsys.readouterr()
    next((folder / "archive" / "best").rglob("*.parquet")).unlink()
    assert cli.main(["verify", "--book", str(folder), "--json"]) == 1
    assert [found["what"] for found in json.loads(capsys.readouterr().out)["damage"]] == ["missing"]
