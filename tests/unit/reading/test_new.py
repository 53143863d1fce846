"""What `new` leaves in a day folder: a sheet of what is there or a plan of what to run, and nothing written over."""

import csv
import io
import os
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log

from pullbook.archive.store import Store
from pullbook.book import Book
from pullbook.reading.day import read_day
from pullbook.running.new_sheet import new_day, sheet_bytes
from pullbook.sheets.pull_sheet import read_pull_sheet


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


def test_new_writes_a_row_for_every_pull(book: Book) -> None:
    made = new_day(book, "blue", "2031-04-05")
    folder = book.day_folder("blue", "2031-04-05")
    rows = rows_of(folder / "pulls.csv")
    assert [(r["file"], r["pull"]) for r in rows] == [("run 1.csv", ""), ("run 2.csv", "1"), ("run 2.csv", "2")]
    assert "advance 30.0°" in rows[0]["found"]
    assert set(made["written"]) == {f"logs/blue/{n}" for n in ("engine.yaml", "2031-04-05/day.yaml", "2031-04-05/pulls.csv")}
    assert any("bad.csv" in line for line in made["said"])
    day = read_day(book, "blue", "2031-04-05")
    assert [f for f in day.errors if not f.file.endswith("bad.csv")] == [], "what it writes reads without a fault"
    assert day.pulls["file"].to_list() == ["run 1.csv", "run 2.csv", "run 2.csv"]
    assert day.pulls["notes"].to_list() == [None] * 3, "what `new` says of a pull is no note of the shop's"


def test_new_writes_a_row_for_every_hold_of_a_log_of_holds(book: Book) -> None:
    folder = book.day_folder("blue", "2031-04-06")
    folder.mkdir()
    steps = [step for _ in range(2) for step in ((3, 3000, 1), (4, 3000, 1), (2, 1200, 0))]
    write_log(folder / "steady.csv", drive(steps, number=3), advance=28.0)
    new_day(book, "blue", "2031-04-06")
    rows = rows_of(folder / "pulls.csv")
    assert [(r["file"], r["pull"]) for r in rows] == [("steady.csv", "1"), ("steady.csv", "2")]
    assert all(r["found"].startswith("hold ") for r in rows)
    assert read_day(book, "blue", "2031-04-06").pulls["kind"].to_list() == ["hold", "hold"]


def test_new_never_overwrites(book: Book) -> None:
    folder = book.day_folder("blue", "2031-04-05")
    mine = {"pulls.csv": "file\nrun 1.csv\n", "day.yaml": "notes: mine\n"}
    for name, text in mine.items():
        (folder / name).write_text(text)
    (book.logs / "blue" / "engine.yaml").write_text("name: mine\n")
    made = new_day(book, "blue", "2031-04-05")
    assert made["written"] == []
    assert {name: (folder / name).read_text() for name in mine} == mine
    assert any("run 2.csv" in line for line in made["said"]), "a log without a row is said"
    (folder / "pulls.csv").unlink()
    (folder / "pulls.xlsx").write_bytes(b"")
    assert not any(w.endswith("pulls.csv") for w in new_day(book, "blue", "2031-04-05")["written"]), "one pull sheet is enough"


def test_every_commented_key_is_one_the_reader_knows(book: Book) -> None:
    new_day(book, "blue", "2031-06-01")
    folder = book.day_folder("blue", "2031-06-01")
    for path in (folder / "day.yaml", book.logs / "blue" / "engine.yaml"):
        lines = path.read_text().splitlines()
        keys = [x.removeprefix("# ") for x in lines[1:] if ":" in x and not x.startswith("# Numbers")]
        path.write_text("\n".join(keys))
    day = read_day(book, "blue", "2031-06-01")
    assert day.errors == ()
    assert day.facts.air.pressure_kpa == 98.2
    assert day.engine_facts.ignition.springs[0].name == "soft pair"


def test_new_plans_pulls_when_there_is_no_log_yet(book: Book) -> None:
    before = book.day_folder("blue", "2031-04-05")
    (before / "pulls.csv").write_text("file,setting,initial_deg,total_deg,baseline\nrun 1.csv,A,12,34,yes\n")
    new_day(book, "blue", "2031-05-01", 7)
    rows = rows_of(book.day_folder("blue", "2031-05-01") / "pulls.csv")
    assert len(rows) == 7
    assert rows[0]["baseline"] == rows[-1]["baseline"] == "yes"
    assert rows[0]["total_deg"] == "34"
    totals = [float(r["total_deg"]) for r in rows]
    assert all(t <= max(totals[: i + 1]) + 2 for i, t in enumerate(totals[1:])), "never more than a step above what ran before"
    assert read_day(book, "blue", "2031-05-01").errors == ()


@pytest.mark.parametrize(
    ("engine", "day"),
    [("../x", "2031-01-01"), ("a/b", "2031-01-01"), ("", "2031-01-01"), (".x", "2031-01-01"), ("..", "2031-01-01"),
     ("a\0", "2031-01-01"),
     ("a", "2025-02-30"), ("a", "tomorrow"), ("a", "2031-01-01/../../x"), ("é" * 200, "2031-01-01")],
)  # fmt: skip
def test_new_refuses_names_that_are_no_folder(book: Book, engine: str, day: str) -> None:
    with pytest.raises(ValueError, match=r"expected"):
        new_day(book, engine, day)


def test_new_takes_any_name_a_file_system_holds(book: Book) -> None:
    for engine in ("Größe 'x' \"y\"", "a" * 200, "{curly} & <b>", "=cmd"):
        assert new_day(book, engine, "2031-01-01-evening")["written"]
        assert read_day(book, engine, "2031-01-01-evening").errors == ()


def test_new_does_not_follow_a_link_out(book: Book, tmp_path: Path) -> None:
    (tmp_path / "outside").mkdir()
    (book.logs / "red").symlink_to(tmp_path / "outside")
    with pytest.raises(FileExistsError, match="leaves the book"):
        new_day(book, "red", "2031-01-01")
    assert list((tmp_path / "outside").iterdir()) == []
    (book.logs / "file").write_text("x")
    with pytest.raises(FileExistsError, match="in the way"):
        new_day(book, "file", "2031-01-01")


def test_hostile_names_are_inert_in_a_spreadsheet_and_read_back(book: Book) -> None:
    folder = book.day_folder("blue", "2031-07-01")
    folder.mkdir()
    names = ["=cmd|' !A0.csv", "+1.csv", "-1.csv", "@x.csv", 'quo"te, comma.csv', "semi;colon.csv", os.fsdecode(b"caf\xe9.csv")]
    for number, name in enumerate(names):
        write_log(folder / name, drive(SWEEP, number=number), advance=30.0)
    new_day(book, "blue", "2031-07-01")
    for row in rows_of(folder / "pulls.csv"):
        assert row["file"][0] not in "=+-@"
    day = read_day(book, "blue", "2031-07-01")
    assert day.errors == ()
    assert not any("no row" in q or "no log" in q for q in day.questions)
    assert len(day.pulls) == len(names)


def test_sheet_follows_the_decimal_mark_of_the_logs(book: Book) -> None:
    folder = book.day_folder("blue", "2031-08-01")
    folder.mkdir()
    write_log(folder / "made", drive(SWEEP), advance=30.0)
    (folder / "lauf.csv").write_text((folder / "made").read_text().replace(",", ";").replace(".", ","))
    (folder / "made").unlink()
    new_day(book, "blue", "2031-08-01")
    content = (folder / "pulls.csv").read_bytes()
    assert content.startswith(b"\xef\xbb\xbffile;pull;setting;")
    assert b"\r\n" in content
    assert read_pull_sheet(folder / "pulls.csv", shown="pulls.csv").rows[0].file == "lauf.csv"


def test_sheet_bytes_read_back(tmp_path: Path) -> None:
    for semicolon in (False, True):
        path = tmp_path / "pulls.csv"
        path.write_bytes(sheet_bytes([{"file": "a;b,c.csv", "setting": "x", "total_deg": "34"}], semicolon=semicolon))
        (row,) = read_pull_sheet(path, shown="pulls.csv").rows
        assert (row.file, row.setting, row.total_deg) == ("a;b,c.csv", "x", 34.0)


def test_second_recorders_have_no_row_of_their_own(book: Book) -> None:
    folder = book.day_folder("blue", "2031-09-01")
    folder.mkdir()
    samples = drive(SWEEP)
    write_log(folder / "dyno.csv", samples)
    write_log(folder / "logger.csv", samples.drop("torque_nm").with_columns(pl.col("time_s") + 1), 31.0)
    made = new_day(book, "blue", "2031-09-01")
    assert [r["file"] for r in rows_of(folder / "pulls.csv")] == ["dyno.csv"]
    assert any("logger.csv" in line and "logger_file" in line for line in made["said"])


def test_a_filled_spreadsheet_beside_the_untouched_sheet_is_the_one(book: Book) -> None:
    import openpyxl

    folder = book.day_folder("blue", "2031-04-05")
    filled = openpyxl.Workbook()
    for row in (("file", "setting", "total_deg", "baseline"), ("run 1.csv", "base", 30, "yes"), ("run 2.csv", "up", 32, None)):
        filled.active.append(row)
    filled.save(folder / "pulls.xlsx")
    (folder / "pulls.csv").write_bytes(sheet_bytes([{"setting": "base", "notes": "to start from"}], semicolon=False))
    reading = read_day(book, "blue", "2031-04-05")
    assert "base" in reading.pulls["setting"].to_list()
    assert any("pulls.xlsx is used" in w for w in reading.warnings)
    assert not any("Which one is right" in q for q in reading.questions)
    (folder / "pulls.csv").write_bytes(sheet_bytes([{"file": "run 1.csv", "setting": "other"}], semicolon=False))
    reading = read_day(book, "blue", "2031-04-05")
    assert "other" in reading.pulls["setting"].to_list()
    assert any("Which one is right" in q for q in reading.questions)


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_new_starts_from_the_last_baseline_whatever_sheet_it_is_in(tmp_path: Path, ending: str) -> None:
    import openpyxl

    made = Book.at(tmp_path / "book")
    folder = made.day_folder("blue", "2031-04-05")
    folder.mkdir(parents=True)
    rows = (("file", "setting", "initial_deg", "total_deg", "baseline"), ("run 1.csv", "base", 11, 33, "yes"))
    if ending == "csv":
        (folder / "pulls.csv").write_text("\n".join(",".join(map(str, row)) for row in rows))
    else:
        filled = openpyxl.Workbook()
        for row in rows:
            filled.active.append(row)
        filled.save(folder / "pulls.xlsx")
    new_day(made, "blue", "2031-04-12", 6)
    planned = rows_of(made.day_folder("blue", "2031-04-12") / "pulls.csv")
    assert {(r["initial_deg"], r["total_deg"]) for r in planned if r["baseline"]} == {("11", "33")}


SHEET = "file,setting,initial_deg,total_deg,baseline,knock\n"


def second_day(
    tmp_path: Path, sheet: str, record: dict[str, Any] | None, monkeypatch: pytest.MonkeyPatch, pulls: int = 8
) -> list[Any]:
    """Rows of the sheet for a second day, after a first one with this sheet and this record in the archive."""
    made = Book.at(tmp_path / "book")
    made.day_folder("blue", "2031-04-05").mkdir(parents=True)
    (made.day_folder("blue", "2031-04-05") / "pulls.csv").write_text(SHEET + sheet)
    monkeypatch.setattr(Store, "read_record", lambda self, engine, day: record)
    new_day(made, "blue", "2031-04-12", pulls)
    return rows_of(made.day_folder("blue", "2031-04-12") / "pulls.csv")


@pytest.mark.parametrize(
    ("label", "back"),
    [("total 32", "total 24"), ("32° all in", "24° all in"), ("as it came", "as it came -8"), ("132 jet", "132 jet -8")],
)
def test_new_writes_labels_as_the_last_days_baseline_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, label: str, back: str
) -> None:
    rows = second_day(tmp_path, f"run 1.csv,{label},12,32,yes,\n", None, monkeypatch)
    assert {r["setting"] for r in rows if r["baseline"]} == {label}
    assert {(r["initial_deg"], r["total_deg"]) for r in rows if r["setting"] == back} == {("4", "24")}


def test_new_asks_for_what_the_last_report_asked_for_and_said_to_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record = {
        "shapes": [{"setting": "total 32", "total_deg": 30.5}],
        "advice": {
            "next_pulls": [
                {"setting": "25", "initial_deg": 5.0, "total_deg": 25.0},
                {"setting": "31 total, springs that move from 900 to 2500 rpm", "initial_deg": 13.0, "total_deg": 31.0},
            ],
            "mechanical": {"total_deg": 27.5, "springs_note": "keep the springs and 20° stop of 'total 32'"},
        },
    }
    rows = second_day(tmp_path, "run 1.csv,total 32,12,32,yes,not heard\n", record, monkeypatch)
    notes = {r["setting"]: r["notes"] for r in rows}
    assert notes["total 25"] == "the report of 2031-04-05 asks for it"
    assert notes["total 29"] == "what the report of 2031-04-05 said to set", (
        "3° under what the baseline delivered, on the sheet's scale"
    )
    assert "total 31" not in notes, "other springs are not a turn of the distributor"
    assert any(r["setting"] == "total 24" for r in rows), "and still goes well back"


@pytest.mark.parametrize(("initial", "least"), [(12, 24.0), (6, 26.0), (-1, 30.0)])
def test_new_plans_no_initial_after_top_dead_centre(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, initial: int, least: float
) -> None:
    rows = second_day(tmp_path, f"run 1.csv,32,{initial},32,yes,\n", None, monkeypatch)
    assert min(float(r["total_deg"]) for r in rows) == least


def test_new_stays_under_what_was_noted_to_knock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = "run 1.csv,total 32,12,32,yes,not heard\nrun 2.csv,total 35,15,35,,faint\n"
    record = {"advice": {"next_pulls": [{"setting": "34", "initial_deg": 14.0, "total_deg": 34.0}]}}
    rows = second_day(tmp_path, sheet, record, monkeypatch, 12)
    assert max(float(r["total_deg"]) for r in rows) <= 33.0
    counted = {"knock": [{"setting": "total 35", "word": "counted"}]}
    sheet = sheet.replace("faint", "")
    assert max(float(r["total_deg"]) for r in second_day(tmp_path / "b", sheet, counted, monkeypatch, 12)) <= 33.0
    assert max(float(r["total_deg"]) for r in second_day(tmp_path / "c", sheet, None, monkeypatch, 12)) == 36.0


def test_a_planned_sheet_says_nothing_of_knock_by_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record = {
        "advice": {"next_pulls": [{"setting": "34", "initial_deg": 14.0, "total_deg": 34.0, "why": "knock was noted beside it"}]}
    }
    second_day(tmp_path, "run 1.csv,total 32,12,32,yes,not heard\n", record, monkeypatch, 12)
    made = Book.at(tmp_path / "book")
    assert not [q for q in read_day(made, "blue", "2031-04-12").questions if "knock" in q.lower()]


def test_new_starts_from_the_visit_before_not_from_a_later_one_of_the_date(tmp_path: Path) -> None:
    """The tenth visit of a date comes after the second, although its name sorts before it."""
    made = Book.at(tmp_path / "book")
    for day, total in (("2031-04-05", 33), ("2031-04-05-10", 41)):
        made.day_folder("blue", day).mkdir(parents=True)
        (made.day_folder("blue", day) / "pulls.csv").write_text(f"file,setting,total_deg,baseline\nrun 1.csv,base,{total},yes\n")
    new_day(made, "blue", "2031-04-05-2", 3)
    planned = rows_of(made.day_folder("blue", "2031-04-05-2") / "pulls.csv")
    assert {r["total_deg"] for r in planned if r["baseline"]} == {"33"}
