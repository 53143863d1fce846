"""A day folder read into one record: order, settings, baseline, what has no partner, what is asked."""

import polars as pl
import pytest
from tests.unit.reading.driven import SWEEP, drive
from tests.unit.reading.shop import Shop, column

from pullbook.columns import FOUND_PULLS, SAMPLES, STROBE


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
