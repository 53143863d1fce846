"""Where the disk refuses or cannot do what is asked: one clear error, nothing staged left behind, whole copies instead of links."""

import errno
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pullbook.archive import disk, switch
from pullbook.archive.disk import ArchiveUnwritable
from pullbook.archive.query import scan
from pullbook.archive.store import Store
from pullbook.archive.verify import verify
from pullbook.book import Book

from .made_up import writing

ENGINE, DAY = "blue coupé", "2031-04-05"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = Store(tmp_path / "archive")
    made.write_day(ENGINE, DAY, **writing("a", 400.0))
    made.update_catalog()
    return made


def refuse(number: int) -> Any:
    """A file operation that the system refuses."""

    def refused(path: Path, *_: object) -> None:
        raise OSError(number, os.strerror(number), str(path))

    return refused


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EDQUOT, errno.EIO])
def test_a_refusal_is_one_clear_error_and_the_old_state_stands(store: Store, monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(disk, "write_file", refuse(number))
        with pytest.raises(
            ArchiveUnwritable, match=rf"archive/ could not be written: {os.strerror(number)} \(.*complete state stands"
        ):
            store.write_day(ENGINE, DAY, **writing("b", 500.0))
        assert "\n" not in str(ArchiveUnwritable())
    assert not switch.unfinished(store.root)
    assert store.read_tables(ENGINE, DAY, ["best"])["best"]["best_torque_nm"][0] == 400.0
    assert store.write_day(ENGINE, DAY, **writing("b", 500.0)) == 2


def test_a_refusal_in_mid_switch_leaves_the_new_state_for_the_next_run(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    moved, real = [0], disk.replace

    def some(source: Path, target: Path) -> None:
        moved[0] += 1
        if moved[0] == 5:  # the journal and three tables have gone through
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(target))
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(disk, "replace", some)
        with pytest.raises(ArchiveUnwritable):
            store.write_day(ENGINE, DAY, **writing("b", 500.0))
    assert {r for p in store.root.glob("[a-z]*/**/*.parquet") for r in pl.read_parquet(p, hive_partitioning=False)["revision"]} == {
        1,
        2,
    }
    assert store.read_tables(ENGINE, DAY, ["setting_curves"])["setting_curves"]["torque_nm"][0] == 500.0
    assert scan(store.root, "setting_curves").collect()["revision"].unique().to_list() == [2]
    assert store.complete_unfinished() == [{"engine": ENGINE, "day": DAY, "revision": 2}]
    assert not verify(Book.at(store.root.parent))["damage"]


def test_where_there_are_no_hard_links_whole_copies_are_kept(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(disk.os, "link", refuse(errno.EPERM))
    assert store.write_day(ENGINE, DAY, **writing("b", 500.0)) == 2
    assert pl.read_parquet(store.root / "_kept" / "best" / "**" / "*.parquet")["best_torque_nm"][0] == 400.0
    assert not list(store.root.rglob("*.part"))
    store.update_catalog()
    told = verify(Book.at(store.root.parent))
    assert (told["damage"], told["kept_revisions"]) == ([], 1)


def test_an_archive_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "archive").write_text("not a folder")
    store = Store(tmp_path / "archive")
    assert store.current(ENGINE, DAY) is None
    with pytest.raises(ArchiveUnwritable):
        store.write_day(ENGINE, DAY, **writing())


def test_a_read_only_archive_is_read_and_not_written(store: Store) -> None:
    if os.geteuid() == 0:
        pytest.skip("root may write anywhere")
    store.root.chmod(0o500)
    try:
        assert store.read_record(ENGINE, DAY) is not None
        assert store.complete_unfinished() == []
        with pytest.raises(ArchiveUnwritable):
            store.write_day("another", DAY, **writing("b", engine="another"))
    finally:
        store.root.chmod(0o700)


def test_migrate_from_the_command_line_says_what_it_did(store: Store) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "pullbook.archive.migrate", str(store.root.parent)], capture_output=True, text=True, check=True
    )
    assert ran.stdout == "every day is in schema version 1\n"
