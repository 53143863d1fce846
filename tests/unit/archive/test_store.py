"""A day goes in whole, comes out as it was, and nothing it replaces is lost."""

import random
from pathlib import Path

import polars as pl
import pytest

from pullbook.archive import catalog, switch
from pullbook.archive.schema import TABLES, from_parquet, to_parquet
from pullbook.archive.store import Store

from .made_up import inputs, made, record, tables, writing

ENGINE, DAY = "blue coupé", "2031-04-05"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "archive")


def test_a_day_comes_back_as_it_went_in(store: Store) -> None:
    assert store.write_day(ENGINE, DAY, **writing()) == 1
    back = store.read_tables(ENGINE, DAY)
    assert set(back) == set(TABLES)
    samples = back["samples"]
    assert samples["torque_nm"].to_list() == [400.0] * 10
    assert samples["lambda"].to_list() == [0.87, None] * 5
    assert samples["oil_c"].null_count() == 10  # a channel the log had not is there, null
    assert back["pulls"]["reasons"].to_list() == [["a blip was cut"], []]
    assert back["best"]["best_deg"].to_list() == [33.0, None]  # NaN is kept as null
    assert back["knock"].height == 0
    assert store.read_record(ENGINE, DAY) == record()
    runs = back["runs"].to_dicts()
    assert len(runs) == 1
    assert runs[0]["sha256"] == [i["sha256"] for i in inputs()]


def test_unchanged_inputs_write_nothing(store: Store) -> None:
    store.write_day(ENGINE, DAY, **writing())
    before = snapshot(store.root)
    assert store.write_day(ENGINE, DAY, **writing(torque=500.0)) == 1
    assert snapshot(store.root) == before


def test_a_changed_input_makes_a_revision_and_keeps_the_old(store: Store) -> None:
    store.write_day(ENGINE, DAY, **writing("a", 400.0))
    assert store.write_day(ENGINE, DAY, **writing("b", 500.0)) == 2
    assert store.read_tables(ENGINE, DAY, ["best"])["best"]["best_torque_nm"][0] == 500.0
    current = pl.read_parquet(store.root / "best" / "**" / "*.parquet")
    assert current["revision"].unique().to_list() == [2]
    kept = pl.read_parquet(store.root / "_kept" / "best" / "**" / "*.parquet")
    assert kept["revision"].unique().to_list() == [1]
    assert kept["best_torque_nm"][0] == 400.0
    for name in TABLES:
        assert len(list((store.root / name).rglob("*.parquet"))) == 1
        assert len(list((store.root / "_kept" / name).rglob("*.parquet"))) == 1


def test_another_method_makes_a_revision(store: Store) -> None:
    store.write_day(ENGINE, DAY, **writing())
    assert store.write_day(ENGINE, DAY, **{**writing(), "made": made(inputs(), method=2)}) == 2


def test_a_missing_table_is_made_again(store: Store) -> None:
    store.write_day(ENGINE, DAY, **writing())
    next((store.root / "best").rglob("*.parquet")).unlink()
    head = store.current(ENGINE, DAY)
    assert head is not None
    assert head["complete"] is False
    assert head["inputs_hash"] is None
    assert store.write_day(ENGINE, DAY, **writing()) == 2
    assert store.current(ENGINE, DAY)["complete"] is True  # type: ignore[index]


def test_a_table_of_another_revision_is_seen_and_set_aside(store: Store) -> None:
    store.write_day(ENGINE, DAY, **writing("a", 400.0))
    store.write_day(ENGINE, DAY, **writing("b", 500.0))
    table = next((store.root / "best").rglob("*.parquet"))
    old = next((store.root / "_kept" / "best").rglob("*.parquet"))
    table.write_bytes(old.read_bytes())
    assert store.current_all()[ENGINE, DAY]["complete"] is False
    assert store.write_day(ENGINE, DAY, **writing("b", 500.0)) == 3
    names = sorted(p.name for p in (store.root / "_kept" / "best").rglob("*.parquet"))
    assert names[0] == "revision-0001.parquet"
    assert names[1].startswith("revision-0002.unsealed-")


def test_a_lost_seal_does_not_start_the_count_again(store: Store) -> None:
    store.write_day(ENGINE, DAY, **writing("a"))
    store.write_day(ENGINE, DAY, **writing("b"))
    for seal in store.root.rglob("*.json"):
        seal.unlink()
    assert store.current(ENGINE, DAY) is None
    assert store.write_day(ENGINE, DAY, **writing("b")) == 3


def test_an_uncommitted_switch_is_cleared_and_the_old_state_stands(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    store.write_day(ENGINE, DAY, **writing("a", 400.0))
    with monkeypatch.context() as patch:
        patch.setattr(switch, "commit", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            store.write_day(ENGINE, DAY, **writing("b", 500.0))
    assert switch.unfinished(store.root)
    assert store.read_tables(ENGINE, DAY, ["best"])["best"]["best_torque_nm"][0] == 400.0
    assert store.complete_unfinished() == []
    assert not switch.unfinished(store.root)
    assert store.write_day(ENGINE, DAY, **writing("b", 500.0)) == 2


def test_a_committed_switch_reads_as_new_and_is_completed(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    store.write_day(ENGINE, DAY, **writing("a", 400.0))
    with monkeypatch.context() as patch:
        committed = switch.commit

        def die_after(*steps: object) -> None:
            committed(*steps)  # type: ignore[arg-type]
            raise KeyboardInterrupt

        patch.setattr(switch, "commit", die_after)
        with pytest.raises(KeyboardInterrupt):
            store.write_day(ENGINE, DAY, **writing("b", 500.0))
    assert store.read_tables(ENGINE, DAY, ["best"])["best"]["best_torque_nm"][0] == 500.0
    assert store.current(ENGINE, DAY)["revision"] == 2  # type: ignore[index]
    assert store.current_all()[ENGINE, DAY]["revision"] == 2
    assert store.complete_unfinished() == [{"engine": ENGINE, "day": DAY, "revision": 2}]
    assert store.read_tables(ENGINE, DAY, ["best"])["best"]["best_torque_nm"][0] == 500.0


def test_the_catalogue_is_up_to_date_before_and_after_the_run_ends(store: Store) -> None:
    for day in ("2031-04-05", "2031-04-06"):
        store.write_day(ENGINE, day, **writing(day=day))
    assert not (store.root / "catalog.parquet").exists()
    assert store.catalog().collect().height == 2
    assert store.update_catalog() == 2
    assert store.update_catalog() == 0
    table = pl.read_parquet(store.root / "catalog.parquet").sort("day")
    assert table["day"].to_list() == ["2031-04-05", "2031-04-06"]
    assert table["dyno"].to_list() == ["cell 2"] * 2
    (store.root / "catalog.parquet").unlink()
    store.complete_unfinished()
    assert pl.read_parquet(store.root / "catalog.parquet").sort("day").equals(table)


def test_own_figures_of_earlier_days_feed_later_ones(store: Store) -> None:
    for engine, day in (
        (ENGINE, "2031-04-05"),
        (ENGINE, "2031-04-05-2"),
        (ENGINE, "2031-04-05-10"),
        ("red", "2031-04-05"),
        ("red", "2031-04-04"),
    ):
        store.write_day(engine, day, **writing(engine=engine, day=day))
    got = [(h["engine"], h["day"]) for h in store.own_history(ENGINE, "cell 2", "2031-04-05-10")]
    assert got == [("red", "2031-04-04"), (ENGINE, "2031-04-05"), (ENGINE, "2031-04-05-2")]
    assert store.own_history(ENGINE, None, "2031-04-05-2")[0]["k"] == 3e-4
    assert store.own_history("green", "cell 1", "2031-05-01") == []


def test_a_day_whose_folder_is_gone_stays_and_is_marked(store: Store) -> None:
    store.write_day(ENGINE, DAY, **writing())
    store.update_catalog()
    assert store.note_missing_logs({(ENGINE, DAY)}) == []
    assert store.note_missing_logs(set()) == [(ENGINE, DAY)]
    assert store.catalog().collect()["logs_here"].to_list() == [False]
    before = snapshot(store.root)
    assert store.note_missing_logs(set()) == [(ENGINE, DAY)]
    assert snapshot(store.root) == before
    assert store.read_record(ENGINE, DAY) is not None
    assert catalog.rebuild(store.root) == 1
    assert store.catalog().collect()["logs_here"].to_list() == [False]
    assert store.note_missing_logs({(ENGINE, DAY)}) == []
    assert store.catalog().collect()["logs_here"].to_list() == [True]


def test_the_book_can_be_moved(store: Store, tmp_path: Path) -> None:
    store.write_day(ENGINE, DAY, **writing())
    store.update_catalog()
    for path in store.root.rglob("*.json"):
        assert str(tmp_path) not in path.read_text()
    import shutil

    shutil.copytree(store.root, tmp_path / "elsewhere" / "archive", copy_function=shutil.copyfile)  # dates are not copied
    moved = Store(tmp_path / "elsewhere" / "archive")
    assert moved.current(ENGINE, DAY)["complete"] is True  # type: ignore[index]
    assert moved.write_day(ENGINE, DAY, **writing()) == 1


@pytest.mark.parametrize("engine", ["350", "a/b\\c=d%", "ü" * 200, "x'\"[]{}", "no utf-8 \udcff", " "])
def test_any_engine_name_the_file_system_can_hold(store: Store, engine: str) -> None:
    store.write_day(engine, DAY, **writing(engine=engine))
    assert store.read_tables(engine, DAY, ["best"])["best"].height == 2
    assert (engine, DAY) in store.current_all()
    store.update_catalog()
    assert store.catalog().collect().height == 1


def test_every_table_has_its_rows_even_where_the_day_brings_a_further_one(store: Store) -> None:
    call = writing()
    call["tables"] = {**tables(), "further": pl.DataFrame({"rpm": [3000.0], "advance_deg": [30.0], "torque_nm": [399.0]})}
    store.write_day(ENGINE, DAY, **call)
    assert store.read_tables(ENGINE, DAY, ["further"])["further"].rows() == [(3000.0, 30.0, 399.0)]


def test_further_columns_of_odd_kinds_are_kept_as_text(store: Store) -> None:
    call = writing()
    odd = pl.DataFrame({"rpm": [3000.0], "when": ["2031-04-05"], "word": ["a"], "none": [None]})
    odd = odd.with_columns(pl.col("when").str.to_date(), pl.col("word").cast(pl.Categorical))
    call["tables"] = {**tables(), "further": odd}
    store.write_day(ENGINE, DAY, **call)
    assert store.read_tables(ENGINE, DAY, ["further"])["further"].rows() == [(3000.0, "2031-04-05", "a", None)]


def snapshot(root: Path) -> dict[str, tuple[int, int]]:
    """Every file below ``root`` with size and date."""
    return {p.relative_to(root).as_posix(): (p.stat().st_size, p.stat().st_mtime_ns) for p in root.rglob("*") if p.is_file()}


def test_a_catalogue_asked_for_before_a_run_ended_is_read_as_it_stood(store: Store) -> None:
    store.write_day(ENGINE, DAY, **writing())
    store.update_catalog()
    asked = store.catalog()
    for number in range(9):  # the next run's catalogue is longer than the footer of the old one says
        store.write_day(f"engine {number}", DAY, **writing(engine=f"engine {number}"))
    store.update_catalog()
    assert asked.collect()["engine"].to_list() == [ENGINE]
    assert store.catalog().collect().height == 10


def test_a_damaged_table_is_an_error_that_can_be_caught(tmp_path: Path) -> None:
    path, draw = tmp_path / "best.parquet", random.Random(7)
    whole = to_parquet("best", tables()["best"], engine=ENGINE, day=DAY, revision=1)
    caught = 0
    for _ in range(300):
        where = draw.randrange(len(whole))
        path.write_bytes(whole[:where] + bytes([whole[where] ^ 1 << draw.randrange(8)]) + whole[where + 1 :])
        try:
            from_parquet(path)
        except ValueError:
            caught += 1
    assert caught > 30, "many a flipped bit lies where a reader stumbles over it; the seal's hash finds the others"
