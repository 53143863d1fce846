"""A pull sheet written by any spreadsheet reads back the same; bytes changed at random never give a traceback."""

import csv
import io
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pullbook.handover import Fault
from pullbook.sheets.facts_files import read_columns, read_facts
from pullbook.sheets.light_sheet import read_strobe
from pullbook.sheets.pull_sheet import read_pull_sheet
from pullbook.sheets.row import SheetRow
from pullbook.sheets.typed_number import typed_number
from pullbook.sheets.yaml_file import load_yaml

SLOW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])

letters = st.characters(categories=["L", "N"], include_characters=" -.,;\"'°()é")
words = st.text(letters, min_size=1, max_size=20).map(str.strip).filter(
    lambda s: s.strip("\u00a0 ") == s and bool(s) and s[0] not in "'=" and any(c.isalpha() for c in s)
)  # fmt: skip
names = words.map(lambda s: s + ".csv").filter(lambda s: s.isprintable())
degrees = st.decimals(-30, 90, places=2, allow_nan=False).map(float)
rows = st.fixed_dictionaries({
    "file": names, "pull": st.none() | st.integers(1, 99), "setting": st.none() | words, "initial_deg": st.none() | degrees,
    "total_deg": st.none() | degrees, "baseline": st.booleans(),
    "pressure_kpa": st.none() | st.decimals(50, 115, places=3).map(float),
    "temperature_c": st.none() | st.decimals(-40, 60, places=1).map(float),
    "knock": st.sampled_from(["heard", "faint", "not heard", "not listened"]), "notes": st.none() | words,
})  # fmt: skip
KEYS = list("file pull setting initial_deg total_deg baseline pressure_kpa temperature_c knock notes".split())  # noqa: SIM905


def cell(value: object, decimal: str) -> str:
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    return str(value).replace(".", decimal) if isinstance(value, float) else str(value)


def assert_same(found: SheetRow, wanted: dict[str, object]) -> None:
    for key, value in wanted.items():
        assert getattr(found, key) == value, key


@SLOW
@given(
    given_rows=st.lists(rows, min_size=1, max_size=8),
    form=st.sampled_from([(",", "."), (";", ","), ("\t", ","), ("\t", "."), (";", ".")]),
    codec=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]), newline=st.sampled_from(["\n", "\r\n", "\r"]),
    order=st.permutations(KEYS), upper=st.booleans(),
)  # fmt: skip
def test_text_sheet_reads_back(
    tmp_path: Path,
    given_rows: list[dict[str, object]],
    form: tuple[str, str],
    codec: str,
    newline: str,
    order: list[str],
    upper: bool,
) -> None:
    delimiter, decimal = form
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, lineterminator=newline)
    writer.writerow([k.upper().replace("_", " ") if upper else k for k in order])
    for row in given_rows:
        writer.writerow([cell(row[k], decimal if k not in ("file", "setting", "notes", "knock") else ".") for k in order])
    path = tmp_path / "pulls.csv"
    path.write_bytes(out.getvalue().encode(codec))
    found = read_pull_sheet(path, shown="pulls.csv")
    assert found.faults == ()
    assert len(found.rows) == len(given_rows)
    for got, wanted in zip(found.rows, given_rows, strict=True):
        assert_same(got, wanted)


@SLOW
@given(given_rows=st.lists(rows, min_size=1, max_size=5), blank=st.integers(0, 3))
def test_spreadsheet_reads_back(tmp_path: Path, given_rows: list[dict[str, object]], blank: int) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    for _ in range(blank):
        page.append(["", None])
    page.append(KEYS)
    for row in given_rows:
        page.append([None if row[k] is False else row[k] for k in KEYS])
    book.save(tmp_path / "pulls.xlsx")
    found = read_pull_sheet(tmp_path / "pulls.xlsx", shown="pulls.xlsx")
    assert found.faults == ()
    for got, wanted in zip(found.rows, given_rows, strict=True):
        assert_same(got, wanted)


@pytest.mark.parametrize("thousands", [False, True])
@given(value=st.floats(-1e6, 1e6, allow_nan=False), decimal=st.sampled_from([".", ","]), grouped=st.booleans())
def test_numbers_of_any_country_read_back(thousands: bool, value: float, decimal: str, grouped: bool) -> None:
    text = f"{value:,.2f}" if grouped else f"{value:.2f}"
    other = "." if decimal == "," else ","
    text = text.replace(",", "\0").replace(".", decimal).replace("\0", other)
    assert typed_number(text, thousands=thousands) == pytest.approx(float(f"{value:.2f}"))


@given(text=st.text(max_size=30))
def test_no_cell_breaks_the_number_reader(text: str) -> None:
    value = typed_number(text)
    assert value is None or value == value


GOOD_SHEET = b"file,pull,setting,total_deg,knock,knock_rpm\nx.csv,1,A,34.5,heard,3300-3600\ny.csv,2,B,36,,\n"
GOOD_YAML = b"air: {pressure_kpa: 97.2, temperature_c: 20}\nignition:\n  springs:\n    - {name: a, start_rpm: 900}\nnotes: 'x'\n"


def mutated(content: bytes, changes: list[tuple[int, bytes]]) -> bytes:
    out = bytearray(content)
    for place, new in changes:
        at = place % (len(out) + 1)
        out[at : at + len(new) // 2] = new
    return bytes(out)


changes = st.lists(st.tuples(st.integers(0, 10_000), st.binary(min_size=0, max_size=6)), max_size=12)


@SLOW
@given(changes=changes, name=st.sampled_from(["pulls.csv", "pulls.xlsx", "strobe.csv"]))
def test_changed_bytes_of_a_sheet_are_faults_not_tracebacks(tmp_path: Path, changes: list[tuple[int, bytes]], name: str) -> None:
    path = tmp_path / name
    path.write_bytes(mutated(GOOD_SHEET, changes))
    found = read_strobe(path, shown=name) if name == "strobe.csv" else read_pull_sheet(path, shown=name)
    assert all(isinstance(f, Fault) and f.file == name and f.remedy for f in found.faults)


@pytest.fixture(scope="module")
def workbook() -> bytes:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.append(["file", "setting"])
    page.append(["x.csv", "A"])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@SLOW
@given(changes=changes, cut=st.integers(0, 6000))
def test_changed_bytes_of_a_spreadsheet_are_faults_not_tracebacks(
    tmp_path: Path, workbook: bytes, changes: list[tuple[int, bytes]], cut: int
) -> None:
    path = tmp_path / "pulls.xlsx"
    path.write_bytes(mutated(workbook, changes)[: cut or None])
    found = read_pull_sheet(path, shown="pulls.xlsx")
    assert len(found.faults) <= 2


@SLOW
@given(changes=changes)
def test_changed_bytes_of_yaml_are_faults_not_tracebacks(tmp_path: Path, changes: list[tuple[int, bytes]]) -> None:
    path = tmp_path / "day.yaml"
    path.write_bytes(mutated(GOOD_YAML, changes))
    found = read_facts((path, "engine.yaml"), (path, "day.yaml"))
    assert all(f.file in ("engine.yaml", "day.yaml") and f.remedy for f in found.faults)
    read_columns(path, shown="columns.yaml").hints_for("x.csv")


@given(text=st.text(max_size=200))
def test_any_text_as_yaml(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    path = tmp_path_factory.getbasetemp() / "any.yaml"
    path.write_text(text, encoding="utf-8", errors="replace")
    found = load_yaml(path, shown="any.yaml")
    assert isinstance(found, Fault | dict)
