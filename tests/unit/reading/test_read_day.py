"""A day folder read into one record: order, settings, baseline, what has no partner, what is asked."""

from pathlib import Path

import polars as pl
import pytest
from tests.unit.reading.driven import SWEEP, Plan, drive, write_log

from pullbook.book import Book
from pullbook.columns import FOUND_PULLS, SAMPLES, STROBE
from pullbook.handover import DayReading
from pullbook.reading.day import read_day

LOW: Plan = [(3, 1800, 0.3), (1, 1800, 1), (5, 3800, 1), (7, 1500, 0)]


class Shop:
    """A book with one day in it."""

    def __init__(self, root: Path) -> None:
        self.book = Book.at(root)
        self.folder = self.book.logs / "blue" / "2031-04-05"
        self.folder.mkdir(parents=True)

    def log(
        self, name: str, *, number: int = 1, advance: float | None = 30.0, plan: Plan = SWEEP, torque: bool = True
    ) -> pl.DataFrame:
        samples = drive(plan, number=number, torque=torque)
        write_log(self.folder / name, samples, advance)
        return samples

    def text(self, name: str, content: str) -> None:
        (self.folder / name).write_text(content, encoding="utf-8")

    def read(self) -> DayReading:
        return read_day(self.book, "blue", "2031-04-05")


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path / "book")


def column(day: DayReading, name: str) -> list[object]:
    return day.pulls[name].to_list()


def test_tables_have_their_schemas_even_when_empty(shop: Shop) -> None:
    empty = shop.read()
    shop.log("a.csv")
    for day in (empty, shop.read()):
        assert dict(list(day.pulls.schema.items())[: len(FOUND_PULLS)]) == FOUND_PULLS
        assert dict(list(day.samples.schema.items())[: len(SAMPLES)]) == SAMPLES
        assert dict(list(day.coast_downs.schema.items())[: len(SAMPLES)]) == SAMPLES
        assert dict(day.strobe.schema) == STROBE


def test_order_is_that_of_the_sheet(shop: Shop) -> None:
    for number in (1, 2, 3):
        shop.log(f"run{number}.csv", number=number)
    shop.text("pulls.csv", "file,setting,total\nrun3.csv,A,30\nrun1.csv,B,32\nrun2.csv,A,30\n")
    day = shop.read()
    assert column(day, "file") == ["run3.csv", "run1.csv", "run2.csv"]
    assert column(day, "order") == [1, 2, 3]
    assert column(day, "setting") == ["A", "B", "A"]
    assert column(day, "baseline") == [True, False, True], "the setting most often run"
    assert not any("order" in q for q in day.questions)


def test_order_without_a_sheet_is_natural_and_asked(shop: Shop) -> None:
    for number in (10, 2, 1):
        shop.log(f"run{number}.csv", number=number)
    day = shop.read()
    assert column(day, "file") == ["run1.csv", "run2.csv", "run10.csv"]
    assert any("order" in q for q in day.questions)


def test_order_by_dates_in_the_logs(shop: Shop) -> None:
    for name, hour in (("a", 11), ("b", 9), ("c", 10)):
        samples = drive(SWEEP, number=hour)
        stamps = [f"05.04.2031 {hour:02d}:{int(t) // 60:02d}:{t % 60:06.3f}" for t in samples["time_s"]]
        table = pl.DataFrame(
            {"Date and time": stamps, "Engine speed [rpm]": samples["rpm"].round(1), "Torque [Nm]": samples["torque_nm"].round(2)}
        )
        table.write_csv(shop.folder / f"{name}.csv", separator=";")
    day = shop.read()
    assert column(day, "file") == ["b.csv", "c.csv", "a.csv"]
    assert str(column(day, "started")[0]).startswith("2031-04-05 09:00:0")
    assert not any("In which order" in q for q in day.questions)


def test_baseline_of_the_sheet_wins_and_two_are_asked_about(shop: Shop) -> None:
    for number in (1, 2, 3):
        shop.log(f"run{number}.csv", number=number)
    shop.text("pulls.csv", "file,setting,baseline\nrun1.csv,A,\nrun2.csv,A,\nrun3.csv,B,yes\n")
    assert column(shop.read(), "baseline") == [False, False, True]
    shop.text("pulls.csv", "file,setting,baseline\nrun1.csv,A,yes\nrun2.csv,A,\nrun3.csv,B,yes\n")
    day = shop.read()
    assert column(day, "baseline") == [True, True, False]
    assert any("baseline" in q for q in day.questions)


def test_baseline_on_a_tie_is_the_first_run(shop: Shop) -> None:
    for number in (1, 2):
        shop.log(f"run{number}.csv", number=number)
    shop.text("pulls.csv", "file,setting\nrun2.csv,B\nrun1.csv,A\n")
    assert column(shop.read(), "baseline") == [True, False]


def test_settings_grouped_by_the_advance_they_ran(shop: Shop) -> None:
    for number, advance in enumerate((30.0, 34.0, 30.0, 32.0), start=1):
        shop.log(f"run{number}.csv", number=number, advance=advance)
    day = shop.read()
    labels = column(day, "setting")
    assert labels[0] == labels[2]
    assert len(set(labels)) == 3
    assert any("grouped into settings by the advance" in q for q in day.questions)


def test_without_label_and_advance_each_log_is_a_setting(shop: Shop) -> None:
    shop.log("one.csv", number=1, advance=None)
    shop.log("two.csv", number=2, advance=None)
    day = shop.read()
    assert column(day, "setting") == ["one", "two"]
    assert any("setting of its own" in q for q in day.questions)


def test_label_from_initial_and_total(shop: Shop) -> None:
    shop.log("one.csv")
    shop.text("pulls.csv", "file,initial_deg,total_deg\none.csv,12,34.5\n")
    assert column(shop.read(), "setting") == ["12 to 34.5°"]


def test_labels_that_differ_in_case_are_one(shop: Shop) -> None:
    shop.log("one.csv", number=1)
    shop.log("two.csv", number=2)
    shop.text("pulls.csv", "file,setting\none.csv,Base  line\ntwo.csv,base line\n")
    day = shop.read()
    assert column(day, "setting") == ["Base  line", "Base  line"]
    assert any("taken as one" in w for w in day.warnings)


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


def test_pull_ids_are_safe_in_any_file_system(shop: Shop) -> None:
    shop.log("=weird name & (1) <b>.csv")
    (pull_id,) = column(shop.read(), "pull_id")
    assert str(pull_id).startswith("p01-")
    assert str(pull_id).replace("-", "").isalnum()


def test_own_air_keeps_or_replaces_the_vapour_pressure(shop: Shop) -> None:
    for number in (1, 2, 3):
        shop.log(f"run{number}.csv", number=number)
    shop.text("day.yaml", "air: {pressure_kpa: 98, temperature_c: 20, humidity_pct: 50}\n")
    shop.text("pulls.csv", "file,temperature_c,humidity_pct\nrun1.csv,,\nrun2.csv,25,\nrun3.csv,20,100\n")
    day = shop.read()
    vapour = column(day, "vapour_pressure_kpa")
    assert vapour[0] is None
    assert vapour[1] == pytest.approx(day.facts.air.vapour_pressure_kpa)
    assert vapour[2] == pytest.approx(2 * float(str(vapour[1])))


def test_samples_are_each_pulls_own_rows_and_coast_downs_stand_apart(shop: Shop) -> None:
    made = shop.log("run.csv")
    day = shop.read()
    (pull,) = (s for s in day.logs[0].segments if s.kind == "pull")
    assert day.samples.height == pull.rows
    assert day.samples["time_s"].to_list() == pytest.approx(made["time_s"].slice(pull.first, pull.rows).to_list(), abs=1e-3)
    assert day.samples["kind"].unique().to_list() == ["pull"]
    assert day.coast_downs["kind"].unique().to_list() == ["coast_down"]
    assert day.coast_downs["pull_id"].unique().to_list() == column(day, "pull_id")


def test_torque_is_taken_from_power_where_there_is_no_other(shop: Shop) -> None:
    samples = drive(SWEEP)
    table = pl.DataFrame({"Time [s]": samples["time_s"], "Engine speed [rpm]": samples["rpm"].round(1),
                          "Power [kW]": (samples["torque_nm"] * samples["rpm"] / 9549.297).round(4)})  # fmt: skip
    table.write_csv(shop.folder / "power.csv")
    day = shop.read()
    (pull,) = (s for s in day.logs[0].segments if s.kind == "pull")
    wanted = samples["torque_nm"].slice(pull.first, pull.rows).to_list()
    assert day.samples["torque_nm"].to_list() == pytest.approx(wanted, rel=2e-3, abs=0.1)
    assert any("power over speed" in w or "power" in w for w in day.warnings)


def test_two_copies_of_one_log_count_once(shop: Shop) -> None:
    shop.log("run1.csv")
    (shop.folder / "copy.csv").write_bytes((shop.folder / "run1.csv").read_bytes())
    day = shop.read()
    assert sorted(map(bool, column(day, "usable"))) == [False, True]
    assert any("byte for byte" in q for q in day.questions)


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


def test_light_readings_take_the_spelling_of_the_settings(shop: Shop) -> None:
    shop.log("run.csv")
    shop.text("pulls.csv", "file,setting\nrun.csv,Soft Springs\n")
    shop.text("strobe.csv", "setting,rpm,advance_deg\nsoft springs,3000,30\nstiff,3000,31\n")
    day = shop.read()
    assert day.strobe["setting"].to_list() == ["Soft Springs", "stiff"]
    assert any("'stiff'" in q for q in day.questions)


def test_same_inputs_same_number_changed_input_another(shop: Shop) -> None:
    shop.log("run.csv")
    shop.text("day.yaml", "notes: a\n")
    first, again = shop.read().seed, shop.read().seed
    shop.text("day.yaml", "notes: b\n")
    assert first == again != shop.read().seed


def test_double_speed_is_kept_shown_and_not_used(shop: Shop) -> None:
    samples = drive(SWEEP)
    table = pl.DataFrame({"Time [s]": samples["time_s"], "Engine speed [rpm]": (2 * samples["rpm"]).round(1),
                          "Torque [Nm]": samples["torque_nm"].round(2),
                          "Power [kW]": (samples["torque_nm"] * samples["rpm"] / 9549.297).round(2)})  # fmt: skip
    table.write_csv(shop.folder / "double.csv")
    day = shop.read()
    assert set(column(day, "usable")) == {False}
    assert all(column(day, "why_not"))
    assert day.samples["rpm"].max() == pytest.approx(11_600, abs=100), "kept as read"
    assert any("double.csv" in q for q in day.questions)


def test_nothing_in_the_folder_is_changed(shop: Shop) -> None:
    shop.log("run.csv")
    shop.text("pulls.csv", "file\nrun.csv\n")
    before = {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in shop.folder.iterdir()}
    shop.read()
    assert {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in shop.folder.iterdir()} == before


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


def test_rows_of_a_log_of_holds_count_the_holds(shop: Shop) -> None:
    shop.log("sweep.csv", plan=[(2, 3000, 1), (8, 3000, 1), (1, 3500, 1), (8, 3500, 1), (5, 1000, 0)])
    shop.text("pulls.csv", "file,pull,setting\nsweep.csv,1,A\nsweep.csv,2,B\n")
    day = shop.read()
    assert column(day, "kind") == ["hold", "hold"]
    assert column(day, "setting") == ["A", "B"]


def test_spark_sweep_at_steady_speed_is_one_setting_a_step(shop: Shop) -> None:
    samples = drive([(2, 3000, 1), (40, 3000, 1), (5, 1000, 0)])
    advance = pl.when(pl.col("time_s") < 15).then(20.0).when(pl.col("time_s") < 28).then(26.0).otherwise(32.0)
    write_log(shop.folder / "sweep.csv", samples.with_columns(advance_deg=advance))
    shop.text("pulls.csv", "file,setting,initial_deg,total_deg\nsweep.csv,spark sweep,10,20\n")
    day = shop.read()
    assert column(day, "setting") == ["hold 20°", "hold 26°", "hold 32°"]
    assert column(day, "total_deg") == [None, None, None], "what the row says was set is not what the steps ran"
    assert not any("repeats" in q for q in day.questions), "their advance tells the steps apart"


def test_runs_of_holds_have_a_row_each(shop: Shop) -> None:
    """Two runs up three speeds: the sheet has a row a run, not a row a hold."""
    steps = [step for n in (2000, 2500, 3000) for step in ((1, n, 1), (8, n, 1))]
    shop.log("holds.csv", plan=[*steps, (3, 1900, 0), *steps, (3, 1900, 0)])
    shop.text("pulls.csv", "file,pull,setting\nholds.csv,1,A\nholds.csv,2,B\n")
    day = shop.read()
    assert column(day, "kind") == ["hold"] * 6
    assert column(day, "setting") == ["A", "A", "A", "B", "B", "B"]
    assert any("6 holds in 2 runs up the speeds; each of the sheet's rows is one run" in w for w in day.warnings)


def test_runs_of_holds_with_a_row_each_are_no_spark_sweep(shop: Shop) -> None:
    steps = [step for n in (2000, 2500, 3000) for step in ((1, n, 1), (8, n, 1))]
    samples = drive([*steps, (3, 1900, 0), *steps, (3, 1900, 0)])
    middle = float(samples["time_s"].to_numpy()[-1]) / 2.0
    write_log(
        shop.folder / "holds.csv", samples.with_columns(advance_deg=pl.when(pl.col("time_s") < middle).then(20.0).otherwise(26.0))
    )
    shop.text("pulls.csv", "file,pull,setting\nholds.csv,1,A\nholds.csv,2,B\n")
    assert column(shop.read(), "setting") == ["A", "A", "A", "B", "B", "B"]


def test_holds_alike_in_speed_and_advance_are_asked_about(shop: Shop) -> None:
    shop.log("holds.csv", plan=[(2, 3000, 1), (8, 3000, 1), (2, 1500, 0), (2, 3000, 1), (8, 3000, 1), (5, 1000, 0)])
    shop.text("pulls.csv", "file,setting\nholds.csv,A\n")
    day = shop.read()
    assert column(day, "kind") == ["hold", "hold"]
    assert sum("2 pulls" in q and "repeats" in q for q in day.questions) == 1


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


def test_times_that_run_backwards_are_asked_about(shop: Shop) -> None:
    for number in (1, 2, 3):
        shop.log(f"run{number}.csv", number=number)
    shop.text("pulls.csv", "file,setting,time\nrun1.csv,A,10:00\nrun2.csv,B,9:30\nrun3.csv,A,10:30\n")
    assert any("backwards at line 3" in q for q in shop.read().questions)
    shop.text("pulls.csv", "file,setting,time\nrun1.csv,A,23:50\nrun2.csv,B,0:10\nrun3.csv,A,0:30\n")
    assert not any("backwards" in q for q in shop.read().questions), "midnight"


def test_excluded_pulls_keep_their_place_and_reason(shop: Shop) -> None:
    for number in (1, 2):
        shop.log(f"run{number}.csv", number=number)
    shop.text("pulls.csv", "file,setting,exclude\nrun1.csv,A,plug fouled\nrun2.csv,B,no\n")
    day = shop.read()
    assert column(day, "exclude") == ["plug fouled", None]
    assert column(day, "order") == [1, 2]
    assert column(day, "baseline") == [False, True], "a pull left out does not make a baseline"


def test_double_speed_does_not_make_the_others_aborted(shop: Shop) -> None:
    shop.log("run.csv")
    for number in (2, 3):
        samples = drive(SWEEP, number=number)
        power = (samples["torque_nm"] * samples["rpm"] / 9549.297).round(2)
        table = samples.select(pl.col("time_s").alias("Time [s]"), (2 * pl.col("rpm")).round(1).alias("RPM"),
                               pl.col("torque_nm").round(2).alias("Torque [Nm]"), power.alias("Power [kW]"))  # fmt: skip
        table.write_csv(shop.folder / f"double{number}.csv")
    day = shop.read()
    assert column(day, "kind") == ["pull", "pull", "pull"]
    assert sorted(map(bool, column(day, "usable"))) == [False, False, True]


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


def test_logs_without_a_row_go_where_their_dates_put_them(shop: Shop) -> None:
    for name, hour in (("a", 9), ("b", 11), ("c", 10)):
        samples = drive(SWEEP, number=hour)
        stamps = [f"05.04.2031 {hour:02d}:{int(t) // 60:02d}:{t % 60:06.3f}" for t in samples["time_s"]]
        table = samples.select(pl.Series("Date and time", stamps), pl.col("rpm").round(1).alias("Engine speed [rpm]"),
                               pl.col("torque_nm").round(2).alias("Torque [Nm]"))  # fmt: skip
        table.write_csv(shop.folder / f"{name}.csv", separator=";")
    shop.text("pulls.csv", "file,setting\na.csv,A\nb.csv,B\n")
    assert column(shop.read(), "file") == ["a.csv", "c.csv", "b.csv"]
    shop.text("pulls.csv", "file,setting\nb.csv,A\na.csv,B\n")
    day = shop.read()
    assert column(day, "file") == ["b.csv", "a.csv", "c.csv"], "the sheet's order wins"
    assert any("order is not that of the dates" in q for q in day.questions)
    assert any("put last" in q for q in day.questions)


def test_half_throttle_holds_are_told_by_the_torque_of_the_days_sweeps(shop: Shop) -> None:
    shop.log("sweep.csv")
    full = drive([(2, 3000, 1), (6, 3000, 1), (1, 3500, 1), (6, 3500, 1), (5, 1000, 0)], number=2)
    half = pl.when(pl.col("time_s") < 8.5).then(0.55 * pl.col("torque_nm")).otherwise(pl.col("torque_nm"))
    write_log(shop.folder / "steps.csv", full.with_columns(torque_nm=half), 30.0)
    day = shop.read()
    holds = day.pulls.filter(pl.col("kind") == "hold")
    assert holds.height == 1
    speeds = day.samples.filter(pl.col("kind") == "hold")["rpm"]
    assert speeds.median() == pytest.approx(3500, abs=30)


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
