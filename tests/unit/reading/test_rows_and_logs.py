"""Rows of the pull sheet and the logs of the day find each other: names, numbers, copies, second recorders."""

import polars as pl
import pytest
from tests.unit.reading.driven import SWEEP, write_log
from tests.unit.reading.shop import LOW, Shop, column


def test_row_without_log_and_log_without_row_are_both_named(shop: Shop) -> None:
    shop.log("run1.csv", number=1)
    shop.log("run2.csv", number=2)
    shop.text("pulls.csv", "file,setting\nRUN1,A\nrun11.csv,B\n")
    day = shop.read()
    assert column(day, "file") == ["run1.csv", "run2.csv"], "a forgotten ending and another case are forgiven"
    assert any("run11.csv" in q and "Did you mean 'run1.csv'" in q for q in day.questions)
    assert any("run2.csv" in q and "no row" in q for q in day.questions)


def test_pull_numbers_count_pulls_and_aborted_pulls(shop: Shop) -> None:
    shop.log("day.csv", plan=[*SWEEP, (5, 900, 0.1), *LOW, (5, 900, 0.1), *SWEEP])
    shop.text(
        "pulls.csv", "file,pull,setting,knock\nday.csv,3,C,heard\nday.csv,1,A,\nday.csv,2,B,faint\nday.csv,4,D,\nday.csv,1,E,\n"
    )
    day = shop.read()
    assert column(day, "setting") == ["C", "A", "B"]
    assert column(day, "kind") == ["pull", "pull", "aborted"]
    assert column(day, "knock") == ["heard", "not listened", "faint"]
    assert any("pull 4" in q and "3 pulls" in q for q in day.questions)
    assert any("a second time" in q for q in day.questions)
    assert any("do not follow the clock" in q for q in day.questions)


def test_one_row_for_a_log_of_several_pulls_is_asked_about(shop: Shop) -> None:
    shop.log("day.csv", plan=[*SWEEP, (5, 900, 0.1), *SWEEP])
    shop.text("pulls.csv", "file,setting\nday.csv,A\n")
    day = shop.read()
    assert column(day, "setting") == ["A", "A"]
    assert any("2 pulls" in q and "repeats" in q for q in day.questions)


def test_two_copies_of_one_log_count_once(shop: Shop) -> None:
    shop.log("run1.csv")
    (shop.folder / "copy.csv").write_bytes((shop.folder / "run1.csv").read_bytes())
    day = shop.read()
    assert sorted(map(bool, column(day, "usable"))) == [False, True]
    assert any("byte for byte" in q for q in day.questions)


def test_a_pull_that_the_second_recorder_missed_has_no_clock_of_it(shop: Shop) -> None:
    samples = shop.log("dyno.csv", advance=None, plan=[*SWEEP, (5, 900, 0.1), *SWEEP])
    write_log(shop.folder / "logger.csv", samples.filter(pl.col("time_s") < 22).drop("torque_nm"), 31.5)
    shop.text("pulls.csv", "file,pull,setting,logger_file\ndyno.csv,1,A,logger.csv\ndyno.csv,2,A,logger.csv\n")
    day = shop.read()
    first, second = (s for log in day.logs for s in log.segments if log.file.endswith("dyno.csv") and s.kind == "pull")
    assert first.clock is not None
    assert first.clock.residual_rpm < 15
    assert second.clock is None
    assert any("logger.csv recorded nothing of segment" in w for w in day.warnings)


def test_second_recorder_of_the_sheet_is_merged(shop: Shop) -> None:
    samples = shop.log("dyno.csv", advance=None)
    other = samples.filter(pl.col("time_s") > 1).with_columns(time_s=(pl.col("time_s") - 1) / 1.003)
    write_log(shop.folder / "logger.csv", other.drop("torque_nm"), 31.5)
    shop.text("pulls.csv", "file,setting,logger_file\ndyno.csv,A,logger.csv\n")
    day = shop.read()
    assert column(day, "file") == ["dyno.csv"]
    assert day.samples["advance_deg"].drop_nulls().to_list() == pytest.approx([31.5] * day.samples.height)
    clock = next(s.clock for log in day.logs if log.file.endswith("dyno.csv") for s in log.segments if s.kind == "pull")
    assert clock is not None
    assert clock.other_file == "logs/blue/2031-04-05/logger.csv"
    assert clock.rate == pytest.approx(1.003, abs=1e-3)


def test_settings_are_grouped_by_the_advance_of_the_second_recorder(shop: Shop) -> None:
    for number, advance in ((1, 30.0), (2, 34.0), (3, 30.0)):
        samples = shop.log(f"dyno{number}.csv", number=number, advance=None)
        write_log(shop.folder / f"logger{number}.csv", samples.drop("torque_nm").with_columns(pl.col("time_s") + 1), advance)
    shop.text("pulls.csv", "file,logger_file\n" + "".join(f"dyno{n}.csv,logger{n}.csv\n" for n in (1, 2, 3)))
    assert column(shop.read(), "setting") == ["30.0° logged", "34.0° logged", "30.0° logged"]


def test_second_recorder_nobody_named_is_found_and_asked_about(shop: Shop) -> None:
    samples = shop.log("dyno.csv", advance=None)
    write_log(shop.folder / "logger.csv", samples.drop("torque_nm").with_columns(pl.col("time_s") + 2), 31.5)
    day = shop.read()
    assert column(day, "file") == ["dyno.csv"]
    assert day.samples["advance_deg"].null_count() == 0
    assert any("logger.csv" in q and "second recorder" in q for q in day.questions)


def test_rows_left_over_are_named(shop: Shop) -> None:
    shop.log("run.csv")
    shop.text("pulls.csv", "file,setting\nrun.csv,A\nrun.csv,B\n")
    day = shop.read()
    assert column(day, "setting") == ["A"]
    assert any("line 3" in q and "no pull of run.csv is left" in q for q in day.questions)


def test_log_without_a_pull_is_said(shop: Shop) -> None:
    shop.log("warm.csv", plan=[(20, 2000, 0.3), (10, 900, 0.1)])
    shop.log("run.csv")
    day = shop.read()
    assert column(day, "file") == ["run.csv"]
    assert any("warm.csv" in w and "no pull was found" in w for w in day.warnings)


@pytest.mark.parametrize("lost", ["?", "\ufffd", "–"])
def test_a_dash_that_an_encoding_lost_is_the_dash_where_one_label_fits(shop: Shop, lost: str) -> None:
    shop.log("run-1.csv", number=1)
    shop.log("run-2.csv", number=2)
    shop.text("pulls.csv", f"file,setting\nrun{lost}1.csv,base{lost}4\nrun-2,base-4\n")
    shop.text("strobe.csv", f"setting,rpm,advance_deg\nbase{lost}4,3000,30\n")
    day = shop.read()
    assert column(day, "setting") == ["base-4" if lost != "–" else "base–4"] * 2
    assert day.strobe["setting"].to_list() == column(day, "setting")[:1]
    assert not any("no log named" in q or "no pull ran" in q for q in day.questions)


def test_a_lost_sign_that_two_labels_fit_stays_a_stranger(shop: Shop) -> None:
    for number in (1, 2, 3):
        shop.log(f"run{number}.csv", number=number)
    shop.text("pulls.csv", "file,setting\nrun1.csv,base-4\nrun2.csv,base+4\nrun3.csv,base?4\n")
    assert column(shop.read(), "setting") == ["base-4", "base+4", "base?4"]


def test_a_log_named_as_its_own_recorder_is_still_read(shop: Shop) -> None:
    shop.log("run.csv")
    shop.text("pulls.csv", "file,setting,logger_file\nrun.csv,A,run.csv\n")
    day = shop.read()
    assert column(day, "file") == ["run.csv"]
    assert any("its own second recorder" in q for q in day.questions)


def test_a_log_with_a_row_stays_a_log_when_it_is_a_recorder_too(shop: Shop) -> None:
    samples = shop.log("one.csv", advance=None)
    write_log(shop.folder / "two.csv", samples.with_columns(pl.col("time_s") + 1), 33.0)
    shop.text("pulls.csv", "file,setting,logger_file\none.csv,A,two.csv\ntwo.csv,B,\n")
    day = shop.read()
    assert column(day, "file") == ["one.csv", "two.csv"]
    assert any("read as both" in q for q in day.questions)


@pytest.mark.parametrize(("name", "hint"), [("day.yml", "day.yaml"), ("pulls.ods", "pulls.csv"), ("strobe.xlsx", "strobe.csv")])
def test_names_that_nearly_are_ones_read(shop: Shop, name: str, hint: str) -> None:
    shop.text(name, "x")
    assert any(name in w and hint in w for w in shop.read().warnings)


def test_engine_yml_is_a_fault(shop: Shop) -> None:
    (shop.book.logs / "blue" / "engine.yml").write_text("name: x\n")
    assert [f.file for f in shop.read().errors] == ["logs/blue/engine.yml"]


def test_one_pull_exported_twice_counts_once(shop: Shop) -> None:
    """Other units and fewer decimals, the same noise: the log with the sheet's row counts. A repeat of the setting is no copy."""
    samples = shop.log("run1.csv")
    shop.log("run2.csv", number=2)
    pl.DataFrame(
        {
            "Time [ms]": (samples["time_s"] * 1000).round().cast(pl.Int64),
            "Engine speed [rpm]": samples["rpm"].round().cast(pl.Int64),
            "Torque [lbf.ft]": (samples["torque_nm"] / 1.3558179).round(1),
        }
    ).write_csv(shop.folder / "export.txt", separator="\t")
    shop.text("pulls.csv", "file,setting\nrun1.csv,A\nrun2.csv,A\n")
    day = shop.read()
    standing = dict(zip(column(day, "file"), column(day, "why_not"), strict=True))
    assert standing == {"run1.csv": None, "run2.csv": None, "export.txt": "the same recording as run1.csv"}
    assert any("export.txt holds what run1.csv holds" in q for q in day.questions)


def test_a_name_may_hold_marks_of_direction_and_hard_blanks(shop: Shop) -> None:
    names = ["\u202egnihtemos.csv", "run\u00a01.csv"]
    for number, name in enumerate(names, start=1):
        shop.log(name, number=number)
    shop.text("pulls.csv", "file,setting\n" + "".join(f"{name},A\n" for name in names))
    day = shop.read()
    assert column(day, "setting") == ["A", "A"]
    assert not day.errors


def test_a_missing_log_is_not_guessed_to_be_one_that_has_its_own_row(shop: Shop) -> None:
    for name in ("r01.csv", "r02.csv"):
        shop.log(name, number=int(name[2]))
    shop.text("pulls.csv", "file,setting\nr01.csv,A\nr02.csv,A\nr03.csv,A\n")
    (asked,) = (q for q in shop.read().questions if "r03.csv" in q)
    assert "Did you mean" not in asked
    shop.text("pulls.csv", "file,setting\nr01.csv,A\nr20.csv,A\n")
    assert any("Did you mean 'r02.csv'" in q for q in shop.read().questions)


def test_a_copy_has_its_originals_row_and_no_place_in_the_order(shop: Shop) -> None:
    """Thinned to every second row, it is still the same recording; the shop is not asked what was set on it."""
    for number in (1, 2):
        samples = shop.log(f"run{number}.csv", number=number)
        write_log(shop.folder / f"a thin {number}.csv", samples[::2], 30.0)
    shop.text("pulls.csv", "file,setting\nrun1.csv,A\nrun2.csv,B\n")
    day = shop.read()
    assert column(day, "file") == ["run1.csv", "run2.csv", "a thin 1.csv", "a thin 2.csv"]
    assert column(day, "setting") == ["A", "B", "A", "B"]
    assert column(day, "usable") == [True, True, False, False]
    assert not any("What was set" in q or "When w" in q for q in day.questions)
