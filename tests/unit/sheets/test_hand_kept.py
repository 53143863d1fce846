"""Sheets as hands keep them: names cut short, units in odd places, ditto marks, a file named once, remarks under the table."""

from pathlib import Path

import openpyxl
import pytest

from pullbook.book import Book
from pullbook.reading.day import read_day
from pullbook.sheets.hand_marks import is_ditto
from pullbook.sheets.light_sheet import read_strobe
from pullbook.sheets.pull_sheet import PullSheet, read_pull_sheet
from pullbook.sheets.words import pull_column


def sheet(folder: Path, text: str) -> PullSheet:
    path = folder / "pulls.csv"
    path.write_text(text, "utf-8")
    return read_pull_sheet(path, shown="pulls.csv")


@pytest.mark.parametrize(
    ("header", "column"),
    [
        ("Av. total", "total_deg"), ("Avance máx.", "total_deg"), ("Tot. adv", "total_deg"), ("Totale", "total_deg"),
        ("Ant. iniziale", "initial_deg"), ("Grundz.", "initial_deg"), ("Av. initiale", "initial_deg"), ("Einst.", "setting"),
        ("Nome del file", "file"), ("Nombre del archivo", "file"), ("Druck kPa", "pressure_kpa"), ("Réf.", "baseline"),
    ],
)  # fmt: skip
def test_names_cut_short(header: str, column: str) -> None:
    found = pull_column(header)
    assert found is not None
    assert found.name == column


@pytest.mark.parametrize("header", ["Te", "Av.", "Fuel", "Plug gap", "Jet no.", "Press fuel", "Total rows"])
def test_what_may_be_two_things_or_none_is_no_column(header: str) -> None:
    assert pull_column(header) is None


def test_a_cell_may_name_its_own_unit(tmp_path: Path) -> None:
    found = sheet(tmp_path, "file;Baro (kPa);Air (°F);oil;initial;total\na.csv;980,8 mbar;68;90 °C;8° BTDC;34 Grad\n"
                            "b.csv;28.9 inHg;20 °C;194 F;5 ATDC;36°\nc.csv;98,1;77;90°;10;30 kPa\n")  # fmt: skip
    a, b, c = found.rows
    assert (a.pressure_kpa, a.temperature_c, a.oil_c, a.initial_deg, a.total_deg) == (98.08, pytest.approx(20.0), 90.0, 8.0, 34.0)
    assert (b.pressure_kpa, b.temperature_c, b.oil_c, b.initial_deg) == (pytest.approx(97.8668, abs=1e-3), 20.0, 90.0, -5.0)
    assert (c.pressure_kpa, c.temperature_c, c.oil_c, c.total_deg) == (98.1, 25.0, 90.0, None)
    assert [f.found for f in found.faults] == ["'30 kPa'"]  # a pressure is no advance


def test_a_row_of_units_under_the_names_is_no_row(tmp_path: Path) -> None:
    found = sheet(tmp_path, "file,total,baro,air,time\n,°,hPa,°F,hh:mm\na.csv,34,981,68,10:15\n")
    (row,) = found.rows
    assert (row.pressure_kpa, row.temperature_c, row.time, found.faults) == (98.1, pytest.approx(20.0), "10:15", ())


def test_ditto_marks(tmp_path: Path) -> None:
    found = sheet(tmp_path, 'file,setting,total,air,knock\na.csv,A,34,20,heard\nb.csv,"""",do.,\'\',idem\nc.csv,-"-,36,,no\n')
    assert [(r.setting, r.total_deg, r.temperature_c, r.knock) for r in found.rows] == [
        ("A", 34.0, 20.0, "heard"), ("A", 34.0, 20.0, "heard"), ("A", 36.0, None, "not heard"),
    ]  # fmt: skip
    path = tmp_path / "strobe.csv"
    path.write_text('setting,rpm,advance\nA,2000,20\n",",3000,28\n'.replace('",",', "„,"), "utf-8")
    assert read_strobe(path, shown="strobe.csv").readings["setting"].to_list() == ["A", "A"]
    assert sheet(tmp_path, 'file,total\na.csv,""""\n').faults[0].line == 2  # nothing stands above it


def test_a_file_named_once_for_its_pulls(tmp_path: Path) -> None:
    found = sheet(tmp_path, "file,pull,total\na.csv,1,30\n,2,32\n,3,34\nb.csv,1,30\n,3,34\n")
    assert [(r.file, r.pull, r.total_deg) for r in found.rows] == [
        ("a.csv", 1, 30.0), ("a.csv", 2, 32.0), ("a.csv", 3, 34.0), ("b.csv", 1, 30.0)]  # fmt: skip
    assert [f.line for f in found.faults] == [6]  # a number that does not follow proves nothing
    assert "lines 3, 4: no file name" in found.warnings[0]


def test_cells_merged_downwards(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    for row in (["Session 4"], ["file", "setting", "total"], ["a.csv", "A", 30], ["b.csv", None, 30], ["c.csv", "B", 34]):
        page.append(row)
    page.merge_cells("B3:B4")
    page.merge_cells("A1:C1")
    book.save(tmp_path / "pulls.xlsx")
    found = read_pull_sheet(tmp_path / "pulls.xlsx", shown="pulls.xlsx")
    assert [(r.file, r.setting, r.total_deg) for r in found.rows] == [("a.csv", "A", 30), ("b.csv", "A", 30), ("c.csv", "B", 34)]


def test_the_column_whose_cells_are_names_of_logs(tmp_path: Path) -> None:
    found = sheet(tmp_path, "Gemacht mit,Einst.,total\nlauf 1.csv,A,30\nlauf 2.CSV,B,34\n")
    assert [(r.file, r.setting) for r in found.rows] == [("lauf 1.csv", "A"), ("lauf 2.CSV", "B")]
    assert "'Gemacht mit' is read as file" in found.warnings[0]


def test_remarks_and_sums_under_the_table(tmp_path: Path) -> None:
    day = tmp_path / "logs" / "blue" / "2031-04-05"
    day.mkdir(parents=True)
    rows = [f"{0.1 * k:.1f},{2000 + 30 * k},{200 - 0.01 * k:.2f},30.0" for k in range(100)]
    (day / "run 1.csv").write_text("Time [s],RPM,Torque [Nm],Advance [deg BTDC]\n" + "\n".join(rows))
    (day / "pulls.csv").write_text(
        "file,setting,total,air\nrun 1.csv,A,30,20\n\nMean,,30,20\nlight checked before,,,\nrun 7,B,34,\n"
    )
    found = read_day(Book.at(tmp_path), "blue", "2031-04-05")
    assert [w.split(": ", 1)[1] for w in found.warnings] == [
        "'Mean' names no log and is taken as a remark", "'light checked before' names no log and is taken as a remark",
    ]  # fmt: skip
    assert any("no log named 'run 7'" in q for q in found.questions)  # what has a setting was meant to be a row
    assert not any("Mean" in q or "light checked" in q for q in found.questions)
    other = sheet(tmp_path, "setting,file,total,air\nA,run 1.csv,30,20\nTotal,,30,\n,,,\n,,,windy\n")
    assert (len(other.rows), other.faults, other.questions, len(other.warnings)) == (1, (), (), 2)


def test_columns_are_told_by_their_words_where_their_cells_bear_it_out(tmp_path: Path) -> None:
    found = sheet(tmp_path, "Messdateiname;Kurve;Leerlaufzündung;max. Frühzündung;Umgebungstemp. [°F];T Öl;geklopft;Öl Sorte\n"
                            "lauf 1;A;8;34,5;68;90;nein;10W-40\nlauf 2;B;8;36;70;;ja;10W-40\n")  # fmt: skip
    first, second = found.rows
    assert (first.file, first.setting, first.initial_deg, first.total_deg) == ("lauf 1", "A", 8.0, 34.5)
    assert (first.temperature_c, first.oil_c, second.oil_c, second.knock) == (pytest.approx(20.0), 90.0, None, "heard")
    assert first.notes == "Öl Sorte: 10W-40"
    assert len([w for w in found.warnings if "is read as" in w]) == 6  # each is said


@pytest.mark.parametrize(
    ("header", "cell"),
    [("Vacuum advance max", "8"), ("Fuel temp", "20"), ("Knock sensor", "yes"), ("Max", "34"),
     ("Distributor advance total", "17"), ("Oil pressure", "4.2"), ("Spark retard total", "3")],
)  # fmt: skip
def test_what_the_words_or_the_cells_deny_stays_a_note(tmp_path: Path, header: str, cell: str) -> None:
    (row,) = sheet(tmp_path, f"file;setting;{header}\na.csv;A;{cell}\n").rows
    assert row.notes == f"{header}: {cell}"
    assert (row.initial_deg, row.total_deg, row.temperature_c, row.oil_c, row.knock) == (None, None, None, None, "not listened")


def test_two_letters_without_a_point_are_no_ditto_mark() -> None:
    assert [is_ditto(text) for text in ("do.", "id.", "DO", "id", "do", "same")] == [True, True, False, False, False, True]
