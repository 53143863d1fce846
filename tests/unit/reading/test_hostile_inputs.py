"""Sheets, yaml and day folders made to do harm: each one clear line, in bounded time, and everything else is still read."""

import io
import os
import time
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log

from pullbook.book import Book
from pullbook.handover import Fault, LogReading
from pullbook.reading.day import read_day
from pullbook.reading.log import read_log
from pullbook.sheets.facts_files import read_columns, read_facts
from pullbook.sheets.pull_sheet import read_pull_sheet
from pullbook.sheets.yaml_file import load_yaml

BOMB = "a: &a [1,1,1,1,1,1,1,1,1]\n" + "".join(
    f"{new}: &{new} [{','.join(['*' + old] * 9)}]\n" for old, new in zip("abcdefgh", "bcdefghi", strict=True)
)


@pytest.mark.parametrize(
    "text",
    [BOMB, "[" * 50_000, "{" * 5_000, "a: &a [*a]\n", "!!python/object/apply:os.system ['touch owned']\n", "!x y\n", "\tname: x\n",
     "name: a\nname: b\n", "name\n", "- a\n", "a: b: c\n", "air: [\n", "\x00\x01", "? [a]\n: b\n", "a: 'x\n"],
    ids=range(15),
)  # fmt: skip
def test_yaml_that_is_none_or_does_harm_is_one_fault(tmp_path: Path, text: str) -> None:
    path = tmp_path / "day.yaml"
    path.write_text(text)
    began = time.process_time()
    found = read_facts(None, (path, "day.yaml"))
    assert time.process_time() - began < 10
    assert len(found.faults) == 1
    assert found.faults[0].file == "day.yaml"
    assert not (tmp_path / "owned").exists()


def test_yaml_of_any_size_is_bounded(tmp_path: Path) -> None:
    path = tmp_path / "day.yaml"
    path.write_text("notes: " + "x" * 1_000_000)
    found = load_yaml(path, shown="day.yaml")
    assert isinstance(found, Fault)
    assert "bytes" in found.found


def packed(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in members.items():
            file.writestr(name, content)
    return out.getvalue()


def workbook_with(member: str, content: bytes) -> bytes:
    """A real spreadsheet with one packed file replaced."""
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.append(["file", "setting"])
    page.append(["x.csv", "A"])
    plain = io.BytesIO()
    book.save(plain)
    with zipfile.ZipFile(plain) as file:
        members = {name: file.read(name) for name in file.namelist()}
    return packed(members | {member: content})


ENTITIES = b"""<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>
<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row><c t="str"><v>&b;</v></c></row>
</sheetData></worksheet>"""
OUTSIDE = ENTITIES.replace(b'<!ENTITY a "ha">', b'<!ENTITY a SYSTEM "file:///etc/passwd">')


@pytest.mark.parametrize(
    "content",
    [
        b"", b"PK\x03\x04", b"not a zip", os.urandom(2000), packed({"x": b"y"}), packed({"big.xml": b"0" * 60_000_000}),
        packed({f"f{i}.xml": b"" for i in range(3_000)}), workbook_with("xl/worksheets/sheet1.xml", ENTITIES),
        workbook_with("xl/worksheets/sheet1.xml", OUTSIDE), workbook_with("xl/sharedStrings.xml", ENTITIES),
        workbook_with("xl/worksheets/sheet1.xml", ENTITIES.decode().encode("utf-16")),
        workbook_with("xl/worksheets/sheet1.xml", b"<broken"), workbook_with("xl/workbook.xml", b"<workbook/>"),
    ],
    ids=["empty", "cut", "text", "noise", "other-zip", "large", "many", "entities", "outside", "strings", "utf-16", "broken",
         "no-sheet"],
)  # fmt: skip
def test_spreadsheet_bombs_are_one_fault(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "pulls.xlsx"
    path.write_bytes(content)
    began = time.process_time()
    found = read_pull_sheet(path, shown="pulls.xlsx")
    assert time.process_time() - began < 5
    assert len(found.faults) == 1
    assert found.rows == ()


def test_spreadsheet_with_a_row_at_the_end_of_the_world(tmp_path: Path) -> None:
    rows = b'<row r="1"><c r="A1" t="inlineStr"><is><t>file</t></is></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    xml = (
        b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><dimension ref="A1:XFD1048576"/><sheetData>'
    )
    path = tmp_path / "pulls.xlsx"
    whole = b'<mergeCells count="2"><mergeCell ref="A1:XFD1048576"/><mergeCell ref="B1:B1048576"/></mergeCells>'
    path.write_bytes(workbook_with("xl/worksheets/sheet1.xml", xml + rows + b"</sheetData>" + whole + b"</worksheet>"))
    assert openpyxl.__version__  # loading the libraries is not what is timed
    assert pd.__version__
    began = time.process_time()
    found = read_pull_sheet(path, shown="pulls.xlsx")
    assert time.process_time() - began < 5
    assert found.faults == ()


@pytest.mark.parametrize(
    "content",
    [b"\x00" * 1000, b"file,setting\n\x00,\x00\n", b"file," * 50_000, b"file,notes\nx.csv,\"" + b"y" * 500_000 + b'"\n',
     b'file,notes\nx.csv,"never closed\n' * 3, b"file\n" + b"x.csv\n" * 50_000],
    ids=["nul", "nul cells", "wide", "long cell", "open quote", "long"],
)  # fmt: skip
def test_text_sheets_of_any_shape_end(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "pulls.csv"
    path.write_bytes(content)
    began = time.process_time()
    found = read_pull_sheet(path, shown="pulls.csv")
    assert time.process_time() - began < 8
    assert len(found.rows) <= 5_000


def test_day_folder_full_of_traps_still_gives_its_good_logs(tmp_path: Path) -> None:
    book = Book.at(tmp_path / "book")
    folder = book.logs / "blue" / "2031-04-05"
    folder.mkdir(parents=True)
    for number in (1, 2):
        write_log(folder / f"good{number}.csv", drive(SWEEP, number=number), advance=30.0)
    (tmp_path / "outside.csv").write_text("rpm\n1\n")
    (folder / "folder.csv").mkdir()
    (folder / "pulls.csv").mkdir()
    (folder / "loop.csv").symlink_to(folder / "loop.csv")
    (folder / "nowhere.csv").symlink_to(folder / "gone.csv")
    (folder / "leaves.csv").symlink_to(tmp_path / "outside.csv")
    (folder / "up.csv").symlink_to(folder)
    os.mkfifo(folder / "pipe.csv")
    os.mkfifo(folder / "day.yaml")
    (folder / "empty.csv").write_bytes(b"")
    (folder / "junk.csv").write_bytes(os.urandom(20_000))
    (folder / "page.csv").write_text("<!doctype html><html><body>no</body></html>")
    (folder / ".hidden.csv").write_text("rpm\n1\n")
    (folder / "~$pulls.xlsx").write_text("lock")
    (folder / "note.txt").write_text("Wind from the west.\nAll went well today.\n")
    (folder / "columns.yaml").write_text(BOMB)
    began = time.process_time()
    day = read_day(book, "blue", "2031-04-05")
    assert time.process_time() - began < 10
    assert sorted(day.pulls["file"].unique().to_list()) == ["good1.csv", "good2.csv"]
    faulty = {fault.file.rsplit("/", 1)[-1] for fault in day.errors}
    assert faulty == {"folder.csv", "pulls.csv", "loop.csv", "nowhere.csv", "leaves.csv", "up.csv", "pipe.csv", "day.yaml",
                      "empty.csv", "junk.csv", "page.csv", "columns.yaml"}  # fmt: skip
    assert any("note.txt" in warning for warning in day.warnings)
    for name in ("folder.csv", "loop.csv", "leaves.csv", "pipe.csv"):
        assert not any(name in warning for warning in day.warnings), f"{name} is said once, as an error"
    assert not any("hidden" in str(x) or "~$" in str(x) for x in (*day.warnings, *faulty))


def test_engine_yaml_that_leaves_the_book_is_not_read(tmp_path: Path) -> None:
    book = Book.at(tmp_path / "book")
    (book.logs / "blue" / "2031-04-05").mkdir(parents=True)
    (tmp_path / "secret.yaml").write_text("name: secret\n")
    (book.logs / "blue" / "engine.yaml").symlink_to(tmp_path / "secret.yaml")
    day = read_day(book, "blue", "2031-04-05")
    assert day.engine_facts.name is None
    assert any("engine.yaml" in fault.file for fault in day.errors)


def test_columns_with_hostile_patterns_end(tmp_path: Path) -> None:
    path = tmp_path / "columns.yaml"
    path.write_text("'" + "*a" * 60 + "b': {K: {channel: rpm}}\n")
    began = time.process_time()
    assert read_columns(path, shown="columns.yaml").hints_for("a" * 200 + ".csv") == {}
    assert time.process_time() - began < 5


def test_names_of_any_kind(tmp_path: Path) -> None:
    book = Book.at(tmp_path / "book")
    folder = book.logs / "Größe \"x\" {y} 'z'" / "2031-04-05"
    folder.mkdir(parents=True)
    names = [b"caf\xe9.csv", "naïve {a} [b].CSV".encode(), b"new\nline.csv", b"=cmd.csv", b"<script>.csv"]
    for number, name in enumerate(names):
        write_log(folder / "made", drive(SWEEP, number=number), advance=30.0)
        (folder / "made").rename(os.fsdecode(os.fsencode(folder) + b"/" + name))
    day = read_day(book, folder.parent.name, "2031-04-05")
    assert len(day.pulls) == len(names)
    assert "caf\\xe9.csv" in day.pulls["file"].to_list()
    assert all(i.isascii() and i.replace("-", "").isalnum() for i in day.pulls["pull_id"].to_list())


def made_of(tmp_path: Path, text: str) -> LogReading:
    path = tmp_path / "evil.csv"
    path.write_text(text, encoding="utf-8")
    used = time.process_time()
    reading = read_log(path, shown="evil.csv")
    assert time.process_time() - used < 10
    return reading


def test_a_clock_that_starts_again_without_end_is_one_line(tmp_path: Path) -> None:
    rows = "\n".join(f"{k % 20 / 10:.1f},{2000 + k % 4000},{180 + k % 7}" for k in range(200_000))
    reading = made_of(tmp_path, f"Time [s],RPM,Torque [Nm]\n{rows}\n")
    assert reading.error is not None
    assert (reading.error.line, reading.error.column) == (1, "Time [s]")
    assert "starts again 9999 times" in reading.error.found


def test_two_headers_in_turn_without_end_are_one_line_and_no_row_is_read_under_the_wrong_one(tmp_path: Path) -> None:
    pair = "Time [s],RPM,Torque [Nm]\n{t:.1f},{n},200\nTime [s],Torque [Nm],RPM\n{t:.1f},200,{n}\n"
    few = "".join(pair.format(t=k / 10, n=2000 + k) for k in range(300))
    reading = made_of(tmp_path, few)
    assert reading.error is None
    assert reading.samples["torque_nm"].unique().to_list() == [200.0]
    many = made_of(tmp_path, "".join(pair.format(t=k / 10, n=2000 + k % 3000) for k in range(25_000)))
    assert many.error is not None
    assert "different headers" in many.error.expected


def test_a_header_a_row_each_another_is_one_line(tmp_path: Path) -> None:
    text = "".join(f"Time {k} [s],RPM {k},Torque {k} [Nm]\n" + f"{k},2000,200\n" * 3 for k in range(20_000))
    reading = made_of(tmp_path, text)
    assert reading.error is not None
    assert "different headers" in reading.error.expected


def test_a_header_behind_more_remarks_than_are_looked_at_is_seen(tmp_path: Path) -> None:
    row = "{t:.1f},{n},200\n{t:.1f}5,{n},200\nmarker, by hand\n"
    text = "Time [s],RPM,Torque [Nm]\n" + "".join(row.format(t=k / 10, n=2000 + k % 3000) for k in range(22_000))
    text += "Time [s],Torque [Nm],RPM\n" + "".join(f"{2200 + k / 10:.1f},200,{2000 + k}\n" for k in range(300))
    reading = made_of(tmp_path, text)
    assert reading.error is None
    assert reading.samples["torque_nm"].unique().to_list() == [200.0]


def test_a_column_name_without_end_is_one_line(tmp_path: Path) -> None:
    rows = "\n".join(f"{k / 10:.1f},{2000 + k},200" for k in range(300))
    reading = made_of(tmp_path, f"{'[(' * 200_000},RPM,Torque [Nm]\n{rows}\n")
    assert reading.error is not None
    assert reading.error.found == "a column name of 400000 characters"
    assert len(reading.error.sentence()) < 300
