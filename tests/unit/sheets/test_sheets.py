"""Pull sheets as spreadsheets of any country write them."""

from datetime import date, time
from pathlib import Path

import openpyxl
import pytest

from pullbook.sheets.pull_sheet import PullSheet, read_pull_sheet
from pullbook.sheets.typed_number import typed_number
from pullbook.sheets.words import pull_column

PLAIN = "file,pull,setting,initial_deg,total_deg,baseline,pressure_kpa,temperature_c,knock,knock_rpm,notes\r\n" \
        'pull1.csv,,A,12,34.5,yes,97.25,18.5,heard,3300-3600,"first, cold"\r\npull2.csv,2,B,14,36,,,,not heard,,\r\n'  # fmt: skip


def sheet(folder: Path, content: bytes | str, name: str = "pulls.csv") -> PullSheet:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_pull_sheet(path, shown=name)


def assert_is_plain(found: PullSheet) -> None:
    assert found.faults == ()
    first, second = found.rows
    assert (first.file, first.pull, first.setting, first.initial_deg, first.total_deg) == ("pull1.csv", None, "A", 12.0, 34.5)
    assert (first.baseline, first.pressure_kpa, first.temperature_c) == (True, 97.25, 18.5)
    assert (first.knock, first.knock_lo_rpm, first.knock_hi_rpm, first.notes) == ("heard", 3300.0, 3600.0, "first, cold")
    assert (second.file, second.pull, second.setting, second.knock) == ("pull2.csv", 2, "B", "not heard")
    assert (second.baseline, second.pressure_kpa, second.knock_lo_rpm) == (False, None, None)
    assert [first.line, second.line] == [2, 3]


def test_plain(tmp_path: Path) -> None:
    assert_is_plain(sheet(tmp_path, PLAIN))


@pytest.mark.parametrize("codec", ["utf-8-sig", "utf-16", "cp1252"])
def test_encodings(tmp_path: Path, codec: str) -> None:
    text = PLAIN.replace("cold", "kühl")
    found = sheet(tmp_path, text.encode(codec))
    assert found.rows[0].notes == "first, kühl"


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_line_ends(tmp_path: Path, newline: str) -> None:
    assert_is_plain(sheet(tmp_path, PLAIN.replace("\r\n", newline)))


def test_semicolons_decimal_commas_and_a_hint_line(tmp_path: Path) -> None:
    text = PLAIN.replace('"first, cold"', "@").replace(",", ";").replace("@", "first, cold")
    text = text.replace("34.5", "34,5").replace("97.25", "97,25").replace("18.5", "18,5").replace("3300-3600", "3.300–3.600")
    assert_is_plain(sheet(tmp_path, text))
    hinted = sheet(tmp_path, "sep=;\n" + text)
    assert [r.line for r in hinted.rows] == [3, 4]
    assert hinted.rows[0].total_deg == 34.5


def test_column_names_match_without_case_spaces_and_underscores(tmp_path: Path) -> None:
    text = PLAIN.replace("initial_deg,total_deg", "Initial DEG,totaldeg").replace("pressure_kpa", " Pressure_kPa ")
    assert_is_plain(sheet(tmp_path, text))


@pytest.mark.parametrize(
    ("header", "column", "given", "kept"),
    [
        ("Pressure (hPa)", "pressure_kpa", 972.5, 97.25), ("baro_mbar", "pressure_kpa", 1013.25, 101.325),
        ("Temperature °F", "temperature_c", 68.0, 20.0), ("Luftdruck [hPa]", "pressure_kpa", 980.0, 98.0),
        ("Temp F", "temperature_c", 212.0, 100.0), ("Oil °C", "oil_c", 90.0, 90.0), ("oil_f", "oil_c", 194.0, 90.0),
        ("Pressure inHg", "pressure_kpa", 29.92, 101.321), ("Total timing", "total_deg", 34.0, 34.0),
    ],
)  # fmt: skip
def test_units_in_headers(header: str, column: str, given: float, kept: float) -> None:
    found = pull_column(header)
    assert found is not None
    assert found.name == column
    assert found.convert(given) == pytest.approx(kept, abs=1e-3)


@pytest.mark.parametrize("header", ["weather", "Fuel", "", "temperature of the beer", "file size", "=cmd"])
def test_strange_headers_mean_nothing(header: str) -> None:
    assert pull_column(header) is None


def test_unknown_columns_are_kept_as_notes(tmp_path: Path) -> None:
    found = sheet(tmp_path, "file,weather,notes,wind\nx.csv,sunny,good,\ny.csv,,,storm\n")
    assert [r.notes for r in found.rows] == ["good; weather: sunny", "wind: storm"]


def test_paths_are_refused_rows_around_them_are_kept(tmp_path: Path) -> None:
    bad = ["../x.csv", "/etc/passwd", "sub/x.csv", "..\\x.csv", "C:x.csv", "C:\\x.csv", ".."]
    found = sheet(tmp_path, "file,setting\nfirst.csv,A\n" + "".join(f"{b},A\n" for b in bad) + "last.csv,A\n")
    assert [r.file for r in found.rows] == ["first.csv", "last.csv"]
    assert [f.line for f in found.faults] == list(range(3, 3 + len(bad)))
    assert all(f.column == "file" and "plain file name" in f.expected for f in found.faults)


def test_logger_file_with_a_path_is_refused_and_the_row_kept(tmp_path: Path) -> None:
    found = sheet(tmp_path, "file,logger_file\nx.csv,../y.csv\n")
    assert found.rows[0].logger_file is None
    assert found.faults[0].column == "logger_file"


def test_wrong_cells_are_named_with_line_and_header(tmp_path: Path) -> None:
    text = "file,Total Deg,pressure_kpa,temperature_c,pull\nx.csv,abc,972,75,1.5\ny.csv,34,97,20,1\n"
    found = sheet(tmp_path, text)
    assert [(f.line, f.column) for f in found.faults] == [(2, "pull"), (2, "Total Deg"), (2, "pressure_kpa"), (2, "temperature_c")]
    assert "hPa" in found.faults[2].remedy
    assert "°F" in found.faults[3].remedy
    assert found.rows[0].total_deg is None
    assert found.rows[1].total_deg == 34.0


@pytest.mark.parametrize(
    ("cell", "word"),
    [("heard", "heard"), ("Heard", "heard"), ("not heard", "not heard"), ("NOT_HEARD", "not heard"), ("faint", "faint"),
     ("", "not listened"), ("not listened", "not listened"), ("no", "not heard"), ("ping", "heard")],
)  # fmt: skip
def test_knock_words(tmp_path: Path, cell: str, word: str) -> None:
    assert sheet(tmp_path, f"file,knock\nx.csv,{cell}\n").rows[0].knock == word


def test_unknown_knock_word_is_asked_and_taken_as_the_careful_one(tmp_path: Path) -> None:
    found = sheet(tmp_path, "file,knock\nx.csv,something odd\n")
    assert found.rows[0].knock == "faint"
    assert "something odd" in found.questions[0]


@pytest.mark.parametrize("cell", ["3600-3300", "a-b", "3300-3600-3900", "99999-100000"])
def test_knock_ranges_that_are_none(tmp_path: Path, cell: str) -> None:
    found = sheet(tmp_path, f"file,knock,knock_rpm\nx.csv,heard,{cell}\n")
    assert found.rows[0].knock_lo_rpm is None
    assert found.faults[0].column == "knock_rpm"


def test_rows_planned_without_a_file_are_asked_about_once(tmp_path: Path) -> None:
    found = sheet(tmp_path, "file,setting,knock\nx.csv,A,\n,B,\n,C,\n,D,heard\n")
    assert [r.file for r in found.rows] == ["x.csv"]
    assert len(found.questions) == 1
    assert [f.line for f in found.faults] == [5], "a note of knock without a log is no plan"


def test_sheet_without_a_file_column(tmp_path: Path) -> None:
    found = sheet(tmp_path, "setting,total\nA,34\n")
    assert found.rows == ()
    assert "`file`" in found.faults[0].expected


def test_empty_and_headerless_sheets(tmp_path: Path) -> None:
    assert "empty" in sheet(tmp_path, "").faults[0].found
    assert sheet(tmp_path, "1,2,3\n4,5,6\n").faults
    assert sheet(tmp_path, "file,setting\n") == PullSheet("pulls.csv")


def test_title_rows_above_the_header_and_blank_rows(tmp_path: Path) -> None:
    found = sheet(tmp_path, "Saturday,,\n,,\nfile,setting,total\n\nx.csv,A,34\n,,\ny.csv,B,36\n")
    assert [(r.line, r.file, r.total_deg) for r in found.rows] == [(5, "x.csv", 34.0), (7, "y.csv", 36.0)]


def test_line_numbers_count_inside_quoted_cells(tmp_path: Path) -> None:
    found = sheet(tmp_path, 'file,notes\nx.csv,"two\nlines"\ny.csv,\n')
    assert [r.line for r in found.rows] == [2, 4]


def test_apostrophe_of_a_neutralised_name_is_taken_off(tmp_path: Path) -> None:
    assert sheet(tmp_path, "file\n'=1+1.csv\n'quoted.csv\n").rows[0].file == "=1+1.csv"
    assert sheet(tmp_path, "file\n'quoted.csv\n").rows[0].file == "'quoted.csv"


def test_spreadsheet_reads_like_the_text_sheet(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.append(["file", "pull", "setting", "initial_deg", "total_deg", "baseline", "pressure_kpa", "temperature_c", "knock",
                 "knock_rpm", "notes", "time"])  # fmt: skip
    page.append(["pull1.csv", None, "A", 12, 34.5, True, 97.25, 18.5, "heard", "3300-3600", "first, cold", time(14, 32)])
    page.append(["pull2.csv", 2.0, "B", 14, 36, None, None, None, "not heard", None, None, None])
    book.save(tmp_path / "pulls.xlsx")
    found = read_pull_sheet(tmp_path / "pulls.xlsx", shown="pulls.xlsx")
    assert_is_plain(found)
    assert found.rows[0].time == "14:32"


def test_spreadsheet_formulas_never_run(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.append(["file", "total_deg", "setting"])
    page.append(["x.csv", "=30+4", '=HYPERLINK("http://example.invalid","A")'])
    book.save(tmp_path / "pulls.xlsx")
    found = read_pull_sheet(tmp_path / "pulls.xlsx", shown="pulls.xlsx")
    assert found.rows[0].total_deg is None, "nothing was saved for the cell and nothing is calculated"
    assert "formulas" in found.warnings[0]


def test_spreadsheet_label_turned_into_a_date_is_asked_about(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.append(["file", "setting"])
    page.append(["x.csv", date(2031, 3, 4)])
    book.save(tmp_path / "pulls.xlsx")
    found = read_pull_sheet(tmp_path / "pulls.xlsx", shown="pulls.xlsx")
    assert "2031-03-04" in found.questions[0]


@pytest.mark.parametrize(
    ("text", "value"),
    [("34", 34.0), ("34,5", 34.5), ("34.5°", 34.5), ("1.013,25", 1013.25), ("1,013.25", 1013.25), ("+4", 4.0), ("−4", -4.0),
     ("97.2 kPa", 97.2), ("101,325", 101.325), (".5", 0.5), ("", None), ("x", None), ("1e5", None), ("--3", None), ("3 4", None),
     ("12 345", 12345.0)],
)  # fmt: skip
def test_numbers_of_any_country(text: str, value: float | None) -> None:
    assert typed_number(text) == value


def test_thousands_only_where_speeds_are_meant() -> None:
    assert [typed_number(t, thousands=True) for t in ("3.300", "3,300", "3300", "12.500,5")] == [3300, 3300, 3300, 12500.5]
    assert typed_number("97.325") == 97.325


def test_thousands_where_only_they_can_be_meant(tmp_path: Path) -> None:
    found = sheet(tmp_path, "file;Luftdruck (hPa)\nx.csv;1.013\ny.csv;972,5\n")
    assert [r.pressure_kpa for r in found.rows] == [101.3, 97.25]


@pytest.mark.parametrize(
    "headers",
    [
        "Datei;Einstellung;Statisch [°];Gesamtzündung °;Referenz;Luftdruck (hPa);Lufttemp. (°C);rel. Feuchte %;Klopfen;Bemerkungen",
        "Nom du fichier;Réglage;Calage initial;Avance totale (°);Référence;Pression (hPa);Température;Humidité %;Cliquetis;Notes",
        "Archivo;Ajuste;Avance inicial;Avance máximo;Referencia;Presión hPa;Temperatura;Humedad %;Picado;Observaciones",
        "Nome file;Regolazione;Anticipo iniziale;Anticipo totale;Riferimento;Pressione mbar;Temp. aria;Umidità %;Battito;Nota",
        "Filename;Seting;Inital deg;Totl deg;Baseline?;Baro mbar;Temprature C;Humidity %;Knok;Remarks",
    ],
    ids=["de", "fr", "es", "it", "slips of the pen"],
)
def test_sheets_of_five_countries(tmp_path: Path, headers: str) -> None:
    found = sheet(tmp_path, f"{headers}\npull1.csv;A;12,0;34,5°;x;972,5;18,5;45;nicht gehört;kalt\n".encode())
    assert found.faults == ()
    (row,) = found.rows
    assert (row.file, row.setting, row.initial_deg, row.total_deg, row.baseline) == ("pull1.csv", "A", 12.0, 34.5, True)
    assert (row.pressure_kpa, row.temperature_c, row.humidity_pct, row.knock, row.notes) == (97.25, 18.5, 45.0, "not heard", "kalt")
    assert [w.split("'")[1] for w in found.warnings] == (
        ["Seting", "Inital deg", "Totl deg", "Temprature C", "Knok"] if "Seting" in headers else []
    )


def test_a_column_that_numbers_the_days_runs_is_no_pull_in_a_log(tmp_path: Path) -> None:
    assert [r.pull for r in sheet(tmp_path, "run,file,setting\n1,a.csv,A\n2,b.csv,A\n3,c.csv,B\n").rows] == [None] * 3
    assert [r.pull for r in sheet(tmp_path, "pull,file,setting\n1,a.csv,A\n2,b.csv,A\n").rows] == [1, 2]
    assert [r.pull for r in sheet(tmp_path, "run,file,setting\n1,a.csv,A\n2,a.csv,A\n").rows] == [1, 2]


def test_a_column_in_another_unit_is_said_once_and_nothing_of_it_used(tmp_path: Path) -> None:
    rows = "\n".join(
        f"{n}.csv,{t},{b},{o}" for n, (t, b, o) in enumerate([(57, 28.8, 150), (61, 28.9, 185), (64, 29.0, 190), (8, "", 95)])
    )
    found = sheet(tmp_path, f"file,temperature_c,pressure_kpa,oil_c\n{rows}\n")
    assert [(f.line, f.column, f.found) for f in found.faults] == [
        (2, "pressure_kpa", "'28.8' (and 2 cells more in that unit)"),
        (3, "temperature_c", "'61' (and 1 cell more in that unit)"),
        (3, "oil_c", "'185' (and 1 cell more in that unit)"),
    ]
    assert "28.8 looks like inHg: write 97.5, or name the column `pressure_inhg`" in found.faults[0].remedy
    assert "185 looks like °F: write 85.0, or name the column `oil_f`" in found.faults[2].remedy
    assert [r.temperature_c for r in found.rows] == [None, None, None, 8.0]
    assert [r.oil_c for r in found.rows] == [None, None, None, None]
    assert any("57 in 'temperature_c' would do as °C, but others of the column are °F: not used" in w for w in found.warnings)
