"""engine.yaml, day.yaml and columns.yaml as values, and what is said when they are wrong."""

from pathlib import Path

import pytest

from pullbook.air import saturation_kpa
from pullbook.facts import DayFacts, EngineFacts, Spring
from pullbook.sheets.facts_files import FactsRead, read_columns, read_facts

ENGINE = """\
name: Blue
cylinders: 8
displacement_l: 5.0
altitude_m: 300
compression_ratio: 9.5
fuel: pump 95
used_rpm: [2000, 6000]
damper_diameter_mm: 180
rotating_inertia_kg_m2: 0.3
ignition:
  kind: mechanical
  advance_scale: crank
  spark: single
  stops_deg: [18, 20, 24]
  springs:
    - {name: soft, start_rpm: 900, all_in_rpm: 2800, at_stop_deg: 20}
  breakpoints_rpm: [1000, 2000, 3000]
known_limits: {max_advance_deg: 38, note: it broke once}
"""
DAY = """\
air: {pressure_kpa: 97.2, temperature_c: 20, humidity_pct: 50}
correction: ISO 1585
logs_already_corrected: SAE J607
zero_mark: {stop_before_tdc_deg: 27, stop_after_tdc_deg: 31, checked: 2031-04-05}
dyno: {name: cell 2, kind: engine, repeatability_pct: 0.4}
fuel: race 98
vacuum_advance: off
light: {kind: dial_back}
listening: ear
limits: {tolerance_pct: 0.3}
"""


def read(folder: Path, engine: str | None = None, day: str | None = None) -> FactsRead:
    given = []
    for name, text in (("engine.yaml", engine), ("day.yaml", day)):
        if text is not None:
            (folder / name).write_text(text)
        given.append((folder / name, name) if text is not None else None)
    return read_facts(*given)


def test_everything_the_contract_names(tmp_path: Path) -> None:
    found = read(tmp_path, ENGINE, DAY)
    assert found.faults == ()
    assert found.questions == ()
    e, d = found.engine, found.day
    assert (e.name, e.cylinders, e.displacement_l, e.altitude_m, e.compression_ratio) == ("Blue", 8, 5.0, 300.0, 9.5)
    assert (e.used_rpm, e.damper_diameter_mm, e.rotating_inertia_kg_m2) == ((2000.0, 6000.0), 180.0, 0.3)
    assert e.ignition.springs == (Spring("soft", 900.0, 2800.0, 20.0),)
    assert (e.ignition.kind, e.ignition.stops_deg, e.ignition.breakpoints_rpm) == ("mechanical", (18, 20, 24), (1000, 2000, 3000))
    assert (e.max_advance_deg, e.max_advance_note) == (38.0, "it broke once")
    assert (d.correction, d.logs_already_corrected, d.vacuum_advance, d.light, d.listening) == (
        "ISO 1585", "SAE J607", "off", "dial_back", "ear",
    )  # fmt: skip
    assert (d.zero_mark.stop_before_tdc_deg, d.zero_mark.stop_after_tdc_deg, d.zero_mark.checked) == (27.0, 31.0, "2031-04-05")
    assert (d.dyno.name, d.dyno.kind, d.dyno.repeatability_pct) == ("cell 2", "engine", 0.4)
    assert (d.limits.tolerance_pct, d.limits.margin_below_knock_deg, d.limits.max_step_deg) == (0.3, 2.0, 2.0)
    assert d.air.vapour_pressure_kpa == pytest.approx(0.5 * saturation_kpa(20.0))


def test_nothing_written_gives_the_defaults(tmp_path: Path) -> None:
    assert read(tmp_path) == FactsRead()
    assert read(tmp_path, "", "# nothing\n") == FactsRead(EngineFacts(), DayFacts())
    assert read(tmp_path, None, "air:\nnotes: ~\n").day == DayFacts()


def test_the_day_wins_over_the_engine(tmp_path: Path) -> None:
    found = read(tmp_path, ENGINE + "dyno: {name: cell 1, kind: roller}\n", "fuel: race\ndyno: {kind: hub}\ndisplacement_l: 5.2\n")
    assert found.day.fuel == "race"
    assert found.engine.displacement_l == 5.2
    assert (found.day.dyno.name, found.day.dyno.kind) == ("cell 1", "hub")


def test_air_of_the_day_replaces_that_of_the_engine_whole(tmp_path: Path) -> None:
    found = read(tmp_path, "air: {pressure_kpa: 98, temperature_c: 15, dew_point_c: 5}\n", "air: {pressure_kpa: 97}\n")
    assert found.day.air.temperature_c is None
    assert found.day.air.vapour_pressure_kpa is None
    assert any("engine.yaml gives `air`" in q for q in found.questions)


@pytest.mark.parametrize(
    ("air", "kpa"),
    [
        ("temperature_c: 25, humidity_pct: 100", saturation_kpa(25.0)),
        ("temperature_c: 25, dew_point_c: 10", saturation_kpa(10.0)),
        ("vapour_pressure_kpa: 1.2", 1.2), ("humidity_pct: 40", None), ("temperature_c: 25", None),
    ],
)  # fmt: skip
def test_vapour_pressure_from_the_one_humidity_given(tmp_path: Path, air: str, kpa: float | None) -> None:
    found = read(tmp_path, None, f"air: {{{air}}}\n")
    assert found.day.air.vapour_pressure_kpa == (None if kpa is None else pytest.approx(kpa))


def test_two_humidities_that_disagree_are_asked_about(tmp_path: Path) -> None:
    agree = read(tmp_path, None, "air: {temperature_c: 20, humidity_pct: 52.5, dew_point_c: 10.0}\n")
    assert agree.questions == ()
    part = read(tmp_path, None, "air: {temperature_c: 20, humidity_pct: 90, dew_point_c: 5}\n")
    assert "disagree" in part.questions[0]
    assert part.day.air.vapour_pressure_kpa == pytest.approx(saturation_kpa(5.0))


def test_more_water_than_the_air_can_hold(tmp_path: Path) -> None:
    assert "more water" in read(tmp_path, None, "air: {temperature_c: 10, dew_point_c: 18}\n").questions[0]


@pytest.mark.parametrize(
    ("line", "key", "hint"),
    [
        ("cylinderz: 8", "cylinderz", "`cylinders`"), ("preassure_kpa: 97", "preassure_kpa", "`pressure_kpa`"),
        ("air: {presure_kpa: 97}", "air.presure_kpa", "`pressure_kpa`"),
        ("ignition: {stop_deg: [20]}", "ignition.stop_deg", "`stops_deg`"),
        ("pressure_kpa: 97", "pressure_kpa", "under `air:`"), ("kind: plain", "kind", "under `ignition:` or `dyno:` or `light:`"),
        ("colour: blue", "colour", "notes"),
    ],
)  # fmt: skip
def test_unknown_keys_are_named_with_the_nearest(tmp_path: Path, line: str, key: str, hint: str) -> None:
    (fault,) = read(tmp_path, "name: x\n" + line + "\n").faults
    assert (fault.file, fault.line, fault.column) == ("engine.yaml", 2, key)
    assert hint in fault.remedy


def test_lines_out_of_step_are_told_without_a_machines_words(tmp_path: Path) -> None:
    (fault,) = read(tmp_path, "air:\n  pressure_kpa: 97\n   temperature_c: 20\n").faults
    assert fault.line == 3
    assert "not indented like its neighbours" in fault.found
    assert "alike" in fault.remedy


@pytest.mark.parametrize(
    "line",
    ["cylinders: many", "cylinders: 8.5", "cylinders: -1", "displacement_l: 5000", "used_rpm: [6000, 2000]", "used_rpm: 3000",
     "used_rpm: [1, 2, 3]", "air: 97", "air: [97]", "correction: SAE", "dyno: {kind: brake}", "ignition: {springs: [{name: x}]}",
     "ignition: {stops_deg: [a]}", "light: plain", "listening: maybe", "zero_mark: {stop_before_tdc_deg: 200}", "name: {a: b}",
     "limits: {tolerance_pct: 0}", "air: {pressure_kpa: .nan}", "air: {pressure_kpa: 1e400}", "altitude_m: 1,200"],
)  # fmt: skip
def test_wrong_values_are_faults_with_a_line_and_are_left_out(tmp_path: Path, line: str) -> None:
    found = read(tmp_path, None, f"notes: kept\n{line}\n")
    assert len(found.faults) == 1
    assert found.faults[0].line == 2
    assert found.faults[0].remedy
    assert found.day == DayFacts(notes="kept")
    assert found.engine == EngineFacts()


@pytest.mark.parametrize(
    ("line", "key", "value"),
    [
        ("correction: j1349", "correction", "SAE J1349"), ("correction: Din70020", "correction", "DIN 70020"),
        ("correction: none", "correction", "none"), ("logs_already_corrected: no", "logs_already_corrected", False),
        ("logs_already_corrected: unknown", "logs_already_corrected", "unknown"), ("vacuum_advance: on", "vacuum_advance", "on"),
        ("listening: none", "listening", "none"), ("light: {kind: dial-back}", "light", "dial_back"),
    ],
)  # fmt: skip
def test_words_in_any_spelling_and_never_truth_values(tmp_path: Path, line: str, key: str, value: object) -> None:
    found = read(tmp_path, None, line + "\n")
    assert found.faults == ()
    assert getattr(found.day, key) == value


@pytest.mark.parametrize(
    ("text", "kpa"), [("97,2", 97.2), ("97.2 kPa", 97.2), ("97.2kPa", 97.2), ("'97.2'", 97.2), ("+97.2", 97.2)]
)  # fmt: skip
def test_numbers_as_shops_write_them(tmp_path: Path, text: str, kpa: float) -> None:
    assert read(tmp_path, None, f"air:\n  pressure_kpa: {text}\n").day.air.pressure_kpa == kpa


def test_hectopascals_are_recognised_in_the_remedy(tmp_path: Path) -> None:
    (fault,) = read(tmp_path, None, "air: {pressure_kpa: 972}\n").faults
    assert "97.2" in fault.remedy


def test_inches_of_mercury_and_fahrenheit_are_recognised_in_the_remedy(tmp_path: Path) -> None:
    found = read(tmp_path, None, "air: {pressure_kpa: 28.8, temperature_c: 75}\n").faults
    assert [f.remedy for f in found] == ["28.8 looks like inHg: write 97.5", "75 looks like °F: write 23.9"]


def test_columns(tmp_path: Path) -> None:
    path = tmp_path / "columns.yaml"
    path.write_text(
        "'run *.csv':\n  'Spark [°]': {channel: advance_deg, unit: °BTDC, scale: 2}\n  K1: {channel: rpm}\n"
        "Run 2.csv: {K1: {channel: roller_rpm}, off: {channel: throttle_pct}}\n"
    )
    found = read_columns(path, shown="columns.yaml")
    assert found.faults == ()
    assert found.hints_for("run 1.CSV")["Spark [°]"] == {"channel": "advance_deg", "unit": "°BTDC", "scale": 2.0}
    assert found.hints_for("run 2.csv")["K1"] == {"channel": "roller_rpm"}, "a file named outright goes over a pattern"
    assert found.hints_for("run 2.csv")["off"] == {"channel": "throttle_pct"}, "a header stays text"
    assert found.hints_for("other.csv") == {}
    assert found.unmatched(["run 7.csv"]) == ["Run 2.csv"]


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("x.csv: {K1: {channel: torqe_nm}}", "x.csv: K1"), ("x.csv: {K1: {chanel: rpm}}", "x.csv: K1.chanel"),
        ("x.csv: {K1: {channel: rpm, sign: 2}}", "x.csv: K1.sign"), ("x.csv: {K1: {channel: rpm, scale: 0}}", "x.csv: K1"),
        ("x.csv: rpm", "x.csv"), ("x.csv: {K1: [rpm]}", "x.csv: K1"), ("x.csv: {K1: {channel: rpm, sign: 0}}", "x.csv: K1"),
    ],
)  # fmt: skip
def test_columns_that_cannot_be_used(tmp_path: Path, text: str, column: str) -> None:
    path = tmp_path / "columns.yaml"
    path.write_text(text + "\n")
    found = read_columns(path, shown="columns.yaml")
    assert [(f.line, f.column) for f in found.faults] == [(1, column)]
