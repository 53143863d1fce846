"""What a record was made from: hashes of content, a memory that a run may trust, and when it may not."""

import os
import time
from pathlib import Path

import pytest

from pullbook.archive import inputs as inputs_module
from pullbook.archive.inputs import InputHashes, differences, gone_since, inputs_digest, why_changed
from pullbook.archive.settings import settings_table
from pullbook.book import Book

from .made_up import day_folder

ENGINE, DAY = "blue coupé", "2031-04-05"


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = Book.at(tmp_path)
    folder = day_folder(made)
    (folder / "day.yaml").write_text("dyno: {name: cell 2}\nused: [1, 2]\nodd: null\n")
    (folder / "plug.jpg").write_bytes(b"\xff\xd8")
    (folder.parent / "engine.yaml").write_text("cylinders: 8\n")
    long_ago = time.time_ns() - 10**12
    for path in tmp_path.rglob("*"):
        os.utime(path, ns=(long_ago, long_ago))
    return made


def test_every_log_sheet_yaml_and_picture_is_an_input(book: Book) -> None:
    found = InputHashes(book).of_day(ENGINE, DAY)
    assert {(Path(i["file"]).name, i["kind"]) for i in found} == {
        ("pull 01.csv", "log"), ("pulls.csv", "pulls.csv"), ("day.yaml", "day.yaml"), ("plug.jpg", "picture"),
        ("engine.yaml", "engine.yaml"),
    }  # fmt: skip
    assert all(not i["file"].startswith("/") and len(i["sha256"]) == 64 for i in found)


def test_a_touched_file_is_the_same_and_a_changed_one_is_not(book: Book) -> None:
    before = InputHashes(book).of_day(ENGINE, DAY)
    log = book.day_folder(ENGINE, DAY) / "pull 01.csv"
    log.touch()
    assert inputs_digest(InputHashes(book).of_day(ENGINE, DAY)) == inputs_digest(before)
    log.write_text("rpm,torque\n3000,401\n")
    now = InputHashes(book).of_day(ENGINE, DAY)
    assert inputs_digest(now) != inputs_digest(before)
    assert differences(before, now) == {"new": [], "changed": [book.shown(log)], "gone": []}


def test_what_was_hashed_before_is_not_read_again(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inputs_module, "_SETTLED_NS", -(10**18))  # the files of this test were just made
    first = InputHashes(book)
    known = first.of_day(ENGINE, DAY)
    first.keep()
    monkeypatch.setattr(inputs_module, "file_hash", lambda path: pytest.fail(f"{path} was read again"))
    assert InputHashes(book).of_day(ENGINE, DAY) == known
    monkeypatch.setattr(inputs_module, "file_hash", lambda _: "read")
    assert {i["sha256"] for i in InputHashes(book, trust=False).of_day(ENGINE, DAY)} == {"read"}


def test_a_file_just_written_is_not_trusted_by_its_date(book: Book) -> None:
    log = book.day_folder(ENGINE, DAY) / "pull 01.csv"
    log.write_text("rpm,torque\n3000,500\n")
    hashes = InputHashes(book)
    before = hashes.of_day(ENGINE, DAY)
    status = log.stat()
    log.write_text("rpm,torque\n3000,600\n")  # within the clock's grain a second change could carry the same date
    os.utime(log, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert differences(before, hashes.of_day(ENGINE, DAY))["changed"] == [book.shown(log)]


def test_a_damaged_or_unwritable_memory_only_costs_time(book: Book) -> None:
    hashes = InputHashes(book)
    known = hashes.of_day(ENGINE, DAY)
    book.work.write_text("a file where the folder should be")
    hashes.keep()
    assert InputHashes(book).of_day(ENGINE, DAY) == known


def test_settings_stand_value_by_value_with_the_hash_of_their_file(book: Book) -> None:
    table = settings_table(book, ENGINE, DAY, InputHashes(book).of_day(ENGINE, DAY))
    values = {(Path(f).name, i, k): v for f, i, k, v in table.select("file", "item", "key", "value").iter_rows()}
    assert values["day.yaml", None, "dyno.name"] == "cell 2"
    assert values["day.yaml", None, "used[1]"] == "2"
    assert values["engine.yaml", None, "cylinders"] == "8"
    assert values["pulls.csv", 1, "setting"] == "14+20 grey"
    assert values["pull 01.csv", None, None] is None
    assert values["day.yaml", None, None].startswith("dyno:")
    assert table["sha256"].null_count() == 0


def test_a_copy_that_was_read_as_the_sheet_is_kept_as_one(book: Book) -> None:
    (book.day_folder(ENGINE, DAY) / "pulls.csv").rename(book.day_folder(ENGINE, DAY) / "pulls (1).csv")
    table = settings_table(book, ENGINE, DAY, InputHashes(book).of_day(ENGINE, DAY))
    values = {(Path(f).name, i, k): v for f, i, k, v in table.select("file", "item", "key", "value").iter_rows()}
    assert values["pulls (1).csv", 1, "setting"] == "14+20 grey"
    assert set(table.filter(table["key"] == "setting")["kind"]) == {"pulls.csv"}


def test_a_yaml_that_unfolds_without_end_is_cut_short(book: Book) -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"] + [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 9)]
    (book.day_folder(ENGINE, DAY) / "day.yaml").write_text("\n".join(lines))
    table = settings_table(book, ENGINE, DAY, InputHashes(book).of_day(ENGINE, DAY))
    assert table.height < 25_000


def test_an_input_that_cannot_be_read_has_no_hash_and_counts_when_it_can(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    real = inputs_module.file_hash

    def refused(path: Path) -> str:
        if path.name == "pulls.csv":
            raise PermissionError
        return real(path)

    with monkeypatch.context() as patch:
        patch.setattr(inputs_module, "file_hash", refused)
        before = InputHashes(book).of_day(ENGINE, DAY)
    assert [i["kind"] for i in before if i["sha256"] is None] == ["pulls.csv"]
    now = InputHashes(book).of_day(ENGINE, DAY)
    assert why_changed(before, now) == "changed: pulls.csv"
    assert gone_since(now, [i for i in now if i["kind"] != "log"]) == [
        "not here any more since the last revision, so this one is without it: pull 01.csv"
    ]
    assert gone_since(before, now) == []


def test_names_of_inputs_are_told_shortly_and_harmlessly() -> None:
    listed = [{"file": f"logs/a/b/{n}\x1b[2J.csv", "sha256": "0"} for n in range(5)]
    assert why_changed([], listed) == "new: 0\ufffd[2J.csv, 1\ufffd[2J.csv, 2\ufffd[2J.csv and 2 more"


@pytest.mark.parametrize(
    ("data", "text"),
    [
        ("notes: für\n".encode("utf-16"), "für"), ("notes: für\n".encode("cp1252"), "für"), (b"notes: [1, 2\n", None),
        (b"x" * 1_100_000, None),
    ],
)  # fmt: skip
def test_sheets_in_any_encoding_and_broken_ones(book: Book, data: bytes, text: str | None) -> None:
    (book.day_folder(ENGINE, DAY) / "day.yaml").write_bytes(data)
    table = settings_table(book, ENGINE, DAY, InputHashes(book).of_day(ENGINE, DAY))
    day = [(k, v) for kind, k, v in table.select("kind", "key", "value").iter_rows() if kind == "day.yaml"]
    assert day[0][0] is None
    assert ("notes", text) in day or text is None
