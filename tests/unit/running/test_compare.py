"""`compare` and `history` as typed: sides of the archive by name, a page, one object; a side that is not there is named."""

import json
from pathlib import Path

import pytest
from tests.unit.archive.made_up import SETTINGS, writing

from pullbook.archive.store import Store
from pullbook.book import Book
from pullbook.cli import main

ENGINE = "blue coupé"
A, B = f"{ENGINE}/2031-04-05", f"{ENGINE}/2031-05-02"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    store = Store(Book.at(tmp_path).archive)
    for day in ("2031-04-05", "2031-05-02"):
        (tmp_path / "logs" / ENGINE / day).mkdir(parents=True)
        store.write_day(ENGINE, day, **writing(day=day))
    store.update_catalog()
    return tmp_path


def test_two_days_make_a_page_and_an_object(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", A, B, "--book", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    (kept,) = (folder / "reports" / "compare").glob("*/compare.json")
    assert told == json.loads(kept.read_text())
    assert (kept.parent / "compare.html").exists()
    assert main(["compare", A, B, "--book", str(folder)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert (lines[0], lines[1]) == (f"A: {told['a']['name']}", f"B: {told['b']['name']}")
    assert told["sentence"] in lines


def test_a_setting_is_named_behind_its_day(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", f"{A}:{SETTINGS[0]}", f"{A}:{SETTINGS[1]}", "--book", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert SETTINGS[0] in told["a"]["name"]
    assert SETTINGS[1] in told["b"]["name"]


@pytest.mark.parametrize(("side", "said"), [(f"{ENGINE}/2031-04-06", "2031-04-06"), (f"{A}:purple", "purple")])
def test_a_side_that_is_not_there_is_named(folder: Path, capsys: pytest.CaptureFixture[str], side: str, said: str) -> None:
    assert main(["compare", A, side, "--book", str(folder)]) not in (0, None)
    assert said in capsys.readouterr().err
    assert not (folder / "reports" / "compare").exists()


def test_the_history_is_told_as_lines_and_as_one_object(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["history", ENGINE, "--book", str(folder)]) == 0
    assert "2 days" in capsys.readouterr().out
    assert main(["history", ENGINE, "--book", str(folder), "--json"]) == 0
    assert [d["day"] for d in json.loads(capsys.readouterr().out)["days"]] == ["2031-04-05", "2031-05-02"]


def test_a_history_that_is_not_there_names_those_that_are(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["history", "nosuch", "--book", str(folder)]) == 2
    assert f"no day of 'nosuch'; it has {ENGINE}; `pullbook run` puts days there" in capsys.readouterr().err


def test_a_number_of_pulls_that_is_none_is_said_in_plain_words(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["new", "x", "2031-01-01", "--pulls", "ten", "--book", str(folder)])
    assert "argument --pulls: 'ten' is no whole number" in capsys.readouterr().err
