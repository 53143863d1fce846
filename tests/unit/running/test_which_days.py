"""Which day, and which profile, a name on the command line means."""

from pathlib import Path

import pytest

from pullbook.book import Book
from pullbook.commands import WrongUse, engine_day, profile_folder


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """Two engines, one of them called like the folder of the logs."""
    for engine in ("four", "logs"):
        (tmp_path / "logs" / engine / "2030-01-01").mkdir(parents=True)
    return Book.at(tmp_path)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("four", ("four", None)),
        ("four/2030-01-01/", ("four", "2030-01-01")),
        ("logs/2030-01-01", ("logs", "2030-01-01")),
    ],
)
def test_a_name_is_an_engine_or_its_day(book: Book, typed: str, meant: tuple[str, str | None]) -> None:
    assert engine_day(book, typed) == meant


def test_the_folder_of_the_logs_may_stand_before_it(tmp_path: Path) -> None:
    (tmp_path / "logs" / "four" / "2030-01-01").mkdir(parents=True)
    assert engine_day(Book.at(tmp_path), "logs/four/2030-01-01") == ("four", "2030-01-01")


@pytest.mark.parametrize("typed", ["five", "four/2031-01-01", "elsewhere/four"])
def test_what_is_not_there_is_refused(book: Book, typed: str) -> None:
    with pytest.raises(WrongUse, match="no "):
        engine_day(book, typed)


def test_a_profile_is_ours_by_name_or_any_folder_and_else_it_is_said_where_ours_lie(tmp_path: Path) -> None:
    slurm = profile_folder("slurm")
    assert slurm is not None
    assert (slurm / "profile.v9+.yaml").is_file()
    assert profile_folder(None) is None
    assert profile_folder(str(slurm)) == slurm
    with pytest.raises(WrongUse, match=r"no profile 'none'; there are any-submit-command, default, .*, or give a folder") as said:
        profile_folder("none")
    assert str(slurm.parent) in str(said.value)
    with pytest.raises(WrongUse, match="no profile"):
        profile_folder(str(tmp_path))  # a folder that holds none
