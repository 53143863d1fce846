"""What the catalogue lists is noted, and the note is believed only of the very catalogue it was read from."""

from pathlib import Path
from typing import Any

import pytest

from pullbook.archive import catalog
from pullbook.archive.heads import Heads
from pullbook.archive.listing import MEMORY, out_of_step
from pullbook.archive.store import Store

from .made_up import writing

ENGINE, DAYS = "blue coupé", ("2031-04-05", "2031-04-06")


@pytest.fixture
def heads(tmp_path: Path) -> Heads:
    """An archive of one day, listed once."""
    store = Store(tmp_path / "archive")
    store.write_day(ENGINE, DAYS[0], **writing(day=DAYS[0]))
    store.update_catalog()
    heads = Heads(store.root, tmp_path / "work")
    assert [d[:2] for d in heads.listed()] == [(ENGINE, DAYS[0])]
    return heads


def test_a_catalogue_that_was_read_is_not_opened_again(heads: Heads, monkeypatch: pytest.MonkeyPatch) -> None:
    def opened(root: Path) -> Any:
        raise AssertionError(f"{root} was opened")

    monkeypatch.setattr(catalog, "scan", opened)
    assert heads.listed() == [(ENGINE, DAYS[0], True)]
    assert not heads.to_complete()


def test_a_day_more_is_listed_from_its_slip_and_then_from_the_catalogue(heads: Heads) -> None:
    store = Store(heads.root)
    store.write_day(ENGINE, DAYS[1], **writing(day=DAYS[1]))
    assert sorted(d.day for d in heads.listed()) == list(DAYS)
    store.update_catalog()
    assert sorted(d.day for d in heads.listed()) == list(DAYS)


@pytest.mark.parametrize("note", ["", "[]", '{"sha256": 3}', None])
def test_a_damaged_note_is_read_anew(heads: Heads, tmp_path: Path, note: str | None) -> None:
    memory = tmp_path / "work" / MEMORY
    memory.write_text(memory.read_text().replace(DAYS[0], "x", 1)[:-9] if note is None else note, encoding="utf-8")
    assert heads.listed() == [(ENGINE, DAYS[0], True)]


def test_a_damaged_catalogue_is_seen_past_the_note(heads: Heads) -> None:
    path = heads.root / "catalog.parquet"
    whole = path.read_bytes()
    path.write_bytes(whole[:40] + bytes([whole[40] ^ 1]) + whole[41:])
    assert heads.to_complete()
    path.write_bytes(whole)
    assert not heads.to_complete()
    path.unlink()
    assert heads.to_complete()


def test_marks_of_logs_that_are_gone_or_back(heads: Heads) -> None:
    assert not out_of_step(heads.listed(), [(ENGINE, DAYS[0])])
    assert out_of_step(heads.listed(), [])
    Store(heads.root).note_missing_logs([])
    assert not out_of_step(heads.listed(), [])
    assert out_of_step(heads.listed(), [(ENGINE, DAYS[0])])


def test_no_archive_lists_nothing_and_notes_nothing(tmp_path: Path) -> None:
    assert Heads(tmp_path / "archive", tmp_path / "work").listed() == []
    assert not (tmp_path / "work").exists()
