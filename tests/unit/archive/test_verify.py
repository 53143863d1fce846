"""verify finds what was lost, says where and what to do, and does not call a changed log damage."""

import json
import os
import threading
import time
from pathlib import Path

import pytest

from pullbook.archive import switch
from pullbook.archive.found import as_text
from pullbook.archive.inputs import InputHashes
from pullbook.archive.schema import TABLES
from pullbook.archive.seal import SealDamaged, read_seal, seal_bytes
from pullbook.archive.store import Store
from pullbook.archive.verify import verify
from pullbook.book import Book

from .made_up import day_folder, made, writing

ENGINE, DAY = "blue coupé", "2031-04-05"


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = Book.at(tmp_path)
    folder = day_folder(made)
    store = Store(made.archive)
    for mark in ("a", "b"):
        (folder / "day.yaml").write_text(f"notes: {mark}\n")
        archive(made, store)
    store.update_catalog()
    return made


def archive(book: Book, store: Store) -> int:
    return store.write_day(ENGINE, DAY, **{**writing(), "made": made(InputHashes(book).of_day(ENGINE, DAY))})


def only(book: Book, key: str) -> dict[str, object]:
    told = verify(book)
    found = told.pop(key)
    assert len(found) == 1, found
    assert not any(told[k] for k in ("damage", "inputs") if k != key)
    assert str(found[0]["found"]) in as_text({**told, key: found})
    json.dumps(found)
    return dict(found[0])


def test_a_whole_archive_has_nothing_to_say(book: Book) -> None:
    told = verify(book)
    assert (told["days"], told["kept_revisions"]) == (1, 1)
    assert told["files"] == 2 * len(TABLES)  # every table of two revisions
    assert not told["damage"] + told["inputs"] + told["notes"]
    assert "whole" in as_text(told)


@pytest.mark.parametrize("where", ["samples", "runs", "_kept/best"])
def test_a_flipped_bit_is_found_though_size_and_date_are_as_before(book: Book, where: str) -> None:
    path = next((book.archive / where).rglob("*.parquet"))
    flip(path)
    finding = only(book, "damage")
    assert finding["what"] == "changed"
    assert finding["file"] == book.shown(path)
    assert finding["revision"] == (1 if "_kept" in where else 2)
    assert "backup" in str(finding["remedy"])


def test_a_flipped_bit_in_a_seal_is_found(book: Book) -> None:
    flip(next((book.archive / "_days").rglob("seal.json")))
    assert only(book, "damage")["what"] == "damaged_seal"


def test_a_flipped_bit_in_the_catalogue_is_found_and_the_next_run_mends_it(book: Book) -> None:
    flip(book.archive / "catalog.parquet")
    assert only(book, "damage")["what"] == "catalog"
    Store(book.archive).complete_unfinished()
    assert verify(book)["damage"] == []


@pytest.mark.parametrize("where", ["best", "_kept/best"])
def test_a_missing_file_is_found(book: Book, where: str) -> None:
    next((book.archive / where).rglob("*.parquet")).unlink()
    assert only(book, "damage")["what"] == "missing"


def test_a_missing_table_is_made_again_and_the_archive_is_whole(book: Book) -> None:
    next((book.archive / "best").rglob("*.parquet")).unlink()
    store = Store(book.archive)
    assert archive(book, store) == 3
    store.update_catalog()
    told = verify(book)
    assert told["damage"] == []
    assert [(n["what"], n["revision"]) for n in told["notes"]] == [("mended", 2)]  # that table of revision 2 is lost, and said so


def test_a_damaged_table_is_kept_aside_when_the_day_is_made_again(book: Book) -> None:
    path = next((book.archive / "best").rglob("*.parquet"))
    path.write_bytes(path.read_bytes()[:-7])
    store = Store(book.archive)
    assert archive(book, store) == 3
    store.update_catalog()
    told = verify(book)
    assert told["damage"] == []
    assert [n["what"] for n in told["notes"]] == ["set_aside"]


def test_a_log_changed_or_gone_or_new_is_listed_and_is_no_damage(book: Book) -> None:
    log = book.day_folder(ENGINE, DAY) / "pull 01.csv"
    status = log.stat()
    log.write_text("rpm,torque\n3000,401\n")
    os.utime(log, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert only(book, "inputs")["what"] == "changed"
    log.unlink()
    assert only(book, "inputs")["what"] == "gone"
    (log.parent / "pull 02.csv").write_text("rpm,torque\n3000,400\n")
    assert [f["what"] for f in verify(book)["inputs"]] == ["new", "gone"]


def test_every_input_that_cannot_be_read_is_listed(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not only the first of them: the second once ended the command with a fault of its own."""

    def refuse(path: Path) -> str:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr("pullbook.archive.inputs.file_hash", refuse)
    found = verify(book)["inputs"]
    assert [(Path(f["file"]).name, f["what"]) for f in found] == [
        (n, "unreadable") for n in ("day.yaml", "pull 01.csv", "pulls.csv")
    ]


def test_a_day_folder_taken_away_is_no_damage(book: Book) -> None:
    book.day_folder(ENGINE, DAY).rename(book.root / "elsewhere")
    told = verify(book)
    assert told["damage"] == []
    assert {f["what"] for f in told["inputs"]} == {"gone"}


def test_a_half_written_day_is_found_and_the_next_run_finishes_it(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    committed = switch.commit

    def die_after(*steps: object) -> None:
        committed(*steps)  # type: ignore[arg-type]
        raise KeyboardInterrupt

    store = Store(book.archive)
    with monkeypatch.context() as patch:
        patch.setattr(switch, "commit", die_after)
        (book.day_folder(ENGINE, DAY) / "day.yaml").write_text("notes: c\n")
        with pytest.raises(KeyboardInterrupt):
            archive(book, store)
    finding = only(book, "damage")
    assert (finding["what"], finding["revision"]) == ("half_written", 3)
    assert "nothing is lost" in str(finding["remedy"])
    store.complete_unfinished()
    store.update_catalog()
    assert not verify(book)["damage"]


def test_a_file_that_no_seal_names_is_found(book: Book) -> None:
    path = next((book.archive / "best").rglob("*.parquet"))
    (path.parent / "copy of best.parquet").write_bytes(path.read_bytes())
    (path.parent / "_half.parquet").write_bytes(b"")  # readers pass it over
    assert only(book, "damage")["what"] == "stray"


def test_lost_seals_are_named_table_by_table(book: Book) -> None:
    next((book.archive / "_days").rglob("seal.json")).unlink()
    assert {f["what"] for f in verify(book)["damage"]} == {"unsealed"}


def test_an_empty_book_is_whole(tmp_path: Path) -> None:
    assert verify(Book.at(tmp_path))["damage"] == []


def flip(path: Path) -> None:
    """Flip one bit in the middle, as a failing disk does: size and date stay."""
    status = path.stat()
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))


@pytest.mark.parametrize("where", range(0, 1000, 97))
def test_a_damaged_seal_never_stops_a_run(book: Book, where: int) -> None:
    path = next((book.archive / "_days").rglob("seal.json"))
    data = bytearray(path.read_bytes())
    data[where * len(data) // 1000] ^= 4
    path.write_bytes(bytes(data))
    store = Store(book.archive)
    store.complete_unfinished()
    assert store.current(ENGINE, DAY) is None
    assert store.current_all() == {}
    assert store.read_record(ENGINE, DAY) is None
    assert archive(book, store) == 3
    store.update_catalog()
    assert not verify(book)["damage"]
    assert next((book.archive / "_kept" / "_days").rglob("*.unsealed-*.json")).read_bytes() == data


def test_a_damaged_catalogue_is_read_from_the_seals(book: Book) -> None:
    flip(book.archive / "catalog.parquet")
    assert Store(book.archive).catalog().select("engine", "day", "revision").collect().rows() == [(ENGINE, DAY, 2)]


def test_a_journal_that_leads_out_of_the_archive_is_not_followed(book: Book) -> None:
    folder = book.archive / "_staged" / "0123"
    folder.mkdir(parents=True)
    (folder / "x").write_text("theirs")
    for to in ("../logs/x", str(book.root / "x"), "best/../../x", "c:\\x"):
        step = {"staged": "x", "to": to, "keep": None}
        (folder / "journal.json").write_text(json.dumps({"engine": "e", "day": "d", "revision": 1, "steps": [step]}))
        assert switch.read_journal(folder) is None
    assert Store(book.archive).complete_unfinished() == []
    assert not folder.exists()
    assert not (book.root / "x").exists()


def test_a_seal_that_names_files_outside_is_no_seal(tmp_path: Path) -> None:
    path = tmp_path / "seal.json"
    path.write_bytes(seal_bytes({"revision": 1, "files": {"best": {"file": "../../secret"}}}))
    with pytest.raises(SealDamaged, match="outside"):
        read_seal(path)


def test_a_run_going_on_meanwhile_is_no_damage_and_tears_no_table(book: Book) -> None:
    store, more = Store(book.archive), Store(book.archive)
    ended = threading.Event()

    def write() -> None:
        number = 0
        while not ended.is_set():
            number += 1
            new = writing(f"{number % 10}", torque=100.0 + number)
            store.write_day(ENGINE, DAY, **{**new, "made": made(InputHashes(book).of_day(ENGINE, DAY))}, again=True)
            store.write_day(f"engine {number}", DAY, **new)
            if number % 3 == 0:
                store.update_catalog()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        end, looks = time.monotonic() + 1.5, 0
        while time.monotonic() < end or not looks:
            assert not verify(book)["damage"]
            torques = {n: set(t["torque_nm"]) for n, t in more.read_tables(ENGINE, DAY, ["samples", "setting_curves"]).items()}
            assert len(set().union(*torques.values())) == 1
            looks += 1
    finally:
        ended.set()
        writer.join()
