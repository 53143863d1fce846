"""Columns of the pull sheet that their cells tell: labels, degrees, ranges of speed, per cents of a spreadsheet, odd units."""

from pathlib import Path

import openpyxl
import pytest

from pullbook.sheets.pull_sheet import PullSheet, read_pull_sheet
from pullbook.sheets.words import strobe_column


def sheet(folder: Path, text: str) -> PullSheet:
    """A pull sheet of this text, read."""
    path = folder / "pulls.csv"
    path.write_text(text, encoding="utf-8")
    return read_pull_sheet(path, shown="pulls.csv")


@pytest.mark.parametrize("heading", ["Essai", "Prova", "Prueba", "Setup used", "Konfig. Nr.", "Stand", "Config name", "Libellé"])
def test_labels_are_the_setting_whatever_their_column_is_called(tmp_path: Path, heading: str) -> None:
    found = sheet(tmp_path, f"Datei;{heading};Gesamt\nlauf 1;A;34\nlauf 2;B2;36\n")
    assert ([r.setting for r in found.rows], found.faults) == (["A", "B2"], ())


def test_a_column_called_run_counts_names_files_or_labels_by_what_is_in_it(tmp_path: Path) -> None:
    counted = sheet(tmp_path, "file,run,setting\na.csv,1,A\na.csv,2,B\n")
    assert [(r.pull, r.setting) for r in counted.rows] == [(1, "A"), (2, "B")]
    named = sheet(tmp_path, "run,total\na.csv,34\nb.csv,36\n")
    assert [(r.file, r.pull, r.total_deg) for r in named.rows] == [("a.csv", None, 34.0), ("b.csv", None, 36.0)]


def test_the_word_for_setting_over_degrees_beside_labels_is_the_initial(tmp_path: Path) -> None:
    found = sheet(tmp_path, "Fichier;Essai;Calage;Avance max\na.csv;A;11;34\nb.csv;B;12,5;36\n")
    assert [(r.setting, r.initial_deg, r.total_deg) for r in found.rows] == [("A", 11.0, 34.0), ("B", 12.5, 36.0)]
    alone = sheet(tmp_path, "Fichier;Calage\na.csv;11\nb.csv;12\n")
    assert [(r.setting, r.initial_deg) for r in alone.rows] == [("11", None), ("12", None)]


@pytest.mark.parametrize(
    ("initial", "total"), [("Leerlauf", "Gesamt °KW"), ("Anfang °", "Total °"), ("Standzündung", "Endzuendung")]
)
def test_an_end_of_the_curve_in_one_word(tmp_path: Path, initial: str, total: str) -> None:
    found = sheet(tmp_path, f"Datei;Kurve;{initial};{total}\na.csv;A;10;34\n")
    assert [(r.initial_deg, r.total_deg) for r in found.rows] == [(10.0, 34.0)]
    idle = sheet(tmp_path, "Datei;Kurve;Leerlauf;Max\na.csv;A;900;182\n").rows[0]
    assert (idle.initial_deg, idle.total_deg) == (None, None)


@pytest.mark.parametrize("heading", ["Battito a", "Drehzahl Klopfen", "Ping at [rpm]", "Cliquetis tr/min"])
def test_ranges_of_speed_under_a_word_of_knock(tmp_path: Path, heading: str) -> None:
    found = sheet(tmp_path, f"file;setting;knock;{heading}\na.csv;A;stark;3300-3600\nb.csv;B;;\n")
    assert (found.rows[0].knock, found.rows[0].knock_lo_rpm, found.rows[0].knock_hi_rpm) == ("heard", 3300.0, 3600.0)


def test_per_cents_of_a_spreadsheet_and_a_pressure_in_millimetres(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    for row in (["file", "RH", "Baro (mmHg)"], ["a.csv", 0.45, 737.0], ["b.csv", 0.5, 738.0]):
        page.append(row)
    for cell in ("B2", "B3"):
        page[cell].number_format = "0%"
    book.save(tmp_path / "pulls.xlsx")
    found = read_pull_sheet(tmp_path / "pulls.xlsx", shown="pulls.xlsx")
    assert [(r.humidity_pct, r.pressure_kpa) for r in found.rows] == [
        (45.0, pytest.approx(98.26, abs=0.01)),
        (50.0, pytest.approx(98.39, abs=0.01)),
    ]


@pytest.mark.parametrize("other", ["Test", "Bezeichnung", "Config name"])
def test_a_column_named_outright_comes_before_one_told_by_its_words(tmp_path: Path, other: str) -> None:
    found = sheet(tmp_path, f"{other};file;setting;total;Room temp;Air temp\nx1;a.csv;A;34;18;21\n")
    assert [(r.setting, r.temperature_c) for r in found.rows] == [("A", 21.0)]
    assert sheet(tmp_path, "file;Test;total\na.csv;1;34\nb.csv;2;36\n").rows[0].setting is None  # a running number is no label


def test_the_room_s_temperature_where_no_other_is_kept(tmp_path: Path) -> None:
    assert [r.temperature_c for r in sheet(tmp_path, "Datei;Hallentemp.\na.csv;18,5\n").rows] == [18.5]


@pytest.mark.parametrize(
    ("heading", "column"),
    [
        ("1/min", "rpm"), ("rev/min", "rpm"), ("Vueltas", "rpm"), ("Timing light", "advance_deg"), ("Ablesung [°]", "advance_deg"),
        ("Avance lue (°)", "advance_deg"), ("Anticipo letto", "advance_deg"), ("Verso", "direction"), ("Gerät", "source"),
    ],
)  # fmt: skip
def test_columns_of_the_light_sheet(heading: str, column: str) -> None:
    found = strobe_column(heading)
    assert found is not None
    assert found.name == column
