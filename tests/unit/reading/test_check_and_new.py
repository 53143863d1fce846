"""What `check` prints of a book, and what `new` leaves in a day folder."""

import csv
import io
import json
import os
from pathlib import Path

import polars as pl
import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log

from pullbook.book import Book
from pullbook.reading import check as check_module
from pullbook.reading.astray import astray
from pullbook.reading.check import as_text, check, meant
from pullbook.reading.day import read_day
from pullbook.running.new_sheet import new_day, sheet_bytes
from pullbook.sheets.pull_sheet import read_pull_sheet

FILE_KEYS = ["file", "encoding", "delimiter", "decimal", "header_line", "rows", "rows_dropped", "columns", "segments", "questions",
             "warnings", "error"]  # fmt: skip


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = Book.at(tmp_path / "book")
    folder = made.logs / "blue" / "2031-04-05"
    folder.mkdir(parents=True)
    write_log(folder / "run 1.csv", drive(SWEEP, number=1), advance=30.0)
    write_log(folder / "run 2.csv", drive([*SWEEP, (5, 900, 0.1), *SWEEP], number=2), advance=32.0)
    (folder / "bad.csv").write_text("K1,K2,K3\n71,15,66\n90,11,62\n58,87,51\n75,96,2\n")
    return made


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


def test_check_has_the_keys_of_the_contract(book: Book) -> None:
    found = json.loads(json.dumps(check(book, []), allow_nan=False))
    assert list(found) == ["files", "days"]
    assert [f["file"] for f in found["files"]] == [f"logs/blue/2031-04-05/{n}" for n in ("bad.csv", "run 1.csv", "run 2.csv")]
    for file in found["files"]:
        assert list(file) == FILE_KEYS
        for column in file["columns"]:
            assert list(column) == ["header", "channel", "unit", "unit_from", "corrected", "share_missing"]
        for segment in file["segments"]:
            assert list(segment) == ["segment", "kind", "start_s", "end_s", "rpm_min", "rpm_max", "rows", "clock"]
    bad, one, two = found["files"]
    assert list(bad["error"]) == ["line", "column", "found", "expected", "remedy"]
    assert one["error"] is None
    assert [s["kind"] for s in two["segments"] if s["kind"] != "idle"] == ["pull", "coast_down", "pull", "coast_down"]
    assert one["rows"] == sum(s["rows"] for s in one["segments"])
    (day,) = found["days"]
    assert list(day) == ["engine", "day", "questions", "warnings", "errors"]
    assert day["errors"] == [], "a log's error stands under its file"


def test_check_of_one_log_shows_that_log(book: Book) -> None:
    found = check(book, [book.day_folder("blue", "2031-04-05") / "run 2.csv"])
    assert [f["file"] for f in found["files"]] == ["logs/blue/2031-04-05/run 2.csv"]
    assert found["days"] == []


def test_check_of_a_sheet_shows_its_day(book: Book) -> None:
    sheet = book.day_folder("blue", "2031-04-05") / "pulls.csv"
    sheet.write_text("file,total\n../x.csv,34\nrun 1.csv,abc\n")
    found = check(book, [sheet])
    assert found["files"] == []
    errors = found["days"][0]["errors"]
    assert [(e["file"], e["line"], e["column"]) for e in errors] == [
        ("logs/blue/2031-04-05/pulls.csv", 2, "file"), ("logs/blue/2031-04-05/pulls.csv", 3, "total"),
    ]  # fmt: skip
    assert all(list(e) == ["file", "line", "column", "found", "expected", "remedy"] for e in errors)


@pytest.mark.parametrize("depth", [0, 1, 2, 3])
def test_check_of_a_folder_above_shows_its_days(book: Book, depth: int) -> None:
    folder = (book.root, book.logs, book.logs / "blue", book.logs / "blue" / "2031-04-05")[depth]
    found = check(book, [folder])
    assert len(found["files"]) == 3
    assert [(d["engine"], d["day"]) for d in found["days"]] == [("blue", "2031-04-05")]


def test_check_of_a_folder_outside_the_book(book: Book, tmp_path: Path) -> None:
    elsewhere = tmp_path / "stick"
    elsewhere.mkdir()
    write_log(elsewhere / "x.csv", drive(SWEEP), advance=30.0)
    found = check(book, [elsewhere])
    assert [f["file"].rsplit("/", 1)[-1] for f in found["files"]] == ["x.csv"]
    assert check(book, [elsewhere / "x.csv"])["files"][0]["error"] is None


def test_folder_without_a_real_date_is_listed_not_read(book: Book) -> None:
    wrong = book.logs / "blue" / "2025-02-30"
    wrong.mkdir()
    write_log(wrong / "x.csv", drive(SWEEP))
    found = check(book, [])
    day = next(d for d in found["days"] if d["day"] == "2025-02-30")
    assert "x.csv" in day["warnings"][0]
    assert not any("2025-02-30" in f["file"] for f in found["files"])


def test_check_of_many_logs_of_a_day_reads_the_day_once(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[str] = []
    real = check_module.survey
    monkeypatch.setattr(check_module, "survey", lambda b, e, d: (calls.append(d), real(b, e, d))[1])
    folder = book.day_folder("blue", "2031-04-05")
    found = check(book, [folder / "run 2.csv", folder / "run 1.csv"])
    assert calls == ["2031-04-05"]
    assert len(found["files"]) == 2


def test_check_of_engine_yaml_shows_its_days(book: Book) -> None:
    (book.logs / "blue" / "engine.yaml").write_text("cylinderz: 8\n")
    found = check(book, [book.logs / "blue" / "engine.yaml"])
    assert found["files"] == []
    assert [e["column"] for e in found["days"][0]["errors"]] == ["cylinderz"]


def test_links_and_logs_beside_the_days_are_named(book: Book, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (book.logs / "blue" / "2031-04-06").symlink_to(tmp_path / "elsewhere")
    (book.logs / "blue" / "lost.csv").write_text("rpm\n1\n")
    told = {d["day"]: d["warnings"] for d in check(book, [])["days"]}
    assert "is a link" in told["2031-04-06"][0]
    assert "lies in no day folder" in told["lost.csv"][0]


def test_note_is_named_under_days_not_in_files(book: Book) -> None:
    (book.day_folder("blue", "2031-04-05") / "notes.txt").write_text("a good day\n")
    found = check(book, [])
    assert not any("notes.txt" in f["file"] for f in found["files"])
    assert any("notes.txt" in w for w in found["days"][0]["warnings"])


def test_check_changes_nothing(book: Book) -> None:
    def state() -> dict[str, int]:
        return {str(p): p.stat().st_mtime_ns for p in book.root.rglob("*")}

    before = state()
    check(book, [])
    assert state() == before


def test_text_says_the_same_without_marks_that_steer_a_terminal(book: Book) -> None:
    folder = book.day_folder("blue", "2031-04-05")
    (folder / "run 1.csv").rename(folder / "run\x1b[31m\n1.csv")
    text = as_text(check(book, []))
    assert "\x1b" not in text
    assert "run\ufffd[31m\ufffd1.csv" in text
    for word in ("Engine speed [rpm]", "pull", "delimiter comma", "error", "3 logs looked at"):
        assert word in text


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


def test_check_takes_the_names_it_prints(book: Book, tmp_path: Path) -> None:
    shown = check(book, [])["files"][0]["file"]
    assert meant(Path(shown), book) == book.root / shown
    assert meant(Path(*Path(shown).parts[1:3]), book) == (book.root / shown).parent, "ENGINE/DAY, as run takes it"
    (other := tmp_path / "letter.doc").write_text("dear all")
    with pytest.raises(ValueError, match="nothing to check"):
        meant(other, book)
    with pytest.raises(ValueError, match=r"no file or folder .*ENGINE/DAY"):
        meant(tmp_path / "gone.csv", book)


def test_logs_beside_the_folders_are_named(book: Book) -> None:
    """A shop's first slip: logs dropped one or two folders too high."""
    (book.logs / "new one").mkdir()
    for place in (book.logs / "top.csv", book.logs / "blue" / "beside.LOG", book.logs / "new one" / "a.txt"):
        place.write_text("t,rpm\n0,1000\n")
    (book.logs / "blue" / "2031-02-30").mkdir()
    told = {(d["engine"], d["day"]): d["warnings"] for d in check(book, [])["days"] if d["day"] != "2031-04-05"}
    assert [*told] == [("blue", "2031-02-30"), ("blue", "beside.LOG"), ("new one", "a.txt"), ("", "top.csv")]
    assert told["", "top.csv"] == ["logs/top.csv lies in no day folder: not read. Move it into <engine>/<YYYY-MM-DD>/"]
    assert sorted(w for warnings in told.values() for w in warnings) == sorted(astray(book))


def test_what_an_earlier_log_asked_is_pointed_at(book: Book) -> None:
    folder = book.day_folder("blue", "2031-04-05")
    for number, advance in ((1, 30.0), (3, 33.0), (4, 34.0)):
        log = write_log(folder / f"run {number}.csv", drive(SWEEP, number=number), advance=advance)
        log.write_text(log.read_text(encoding="utf-8").replace("Ignition advance [deg BTDC crank]", "Timing"), encoding="utf-8")
    found = check(book, [])
    asked = {f["file"].rsplit("/", 1)[-1]: f["questions"] for f in found["files"]}
    assert asked["run 1.csv"], "a log that asks something"
    shown = as_text(found)
    for question in asked["run 1.csv"]:
        assert question in shown
    for question in asked["run 4.csv"]:
        assert question not in shown, "said once"
    many = len(asked["run 4.csv"])
    assert f"the same {many if many > 1 else 'one'} as of run 1.csv" in shown
    assert f"{sum(len(q) for q in asked.values()) + sum(len(d['questions']) for d in found['days'])} questions" in shown


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


def test_new_starts_from_the_visit_before_not_from_a_later_one_of_the_date(tmp_path: Path) -> None:
    """The tenth visit of a date comes after the second, although its name sorts before it."""
    made = Book.at(tmp_path / "book")
    for day, total in (("2031-04-05", 33), ("2031-04-05-10", 41)):
        made.day_folder("blue", day).mkdir(parents=True)
        (made.day_folder("blue", day) / "pulls.csv").write_text(f"file,setting,total_deg,baseline\nrun 1.csv,base,{total},yes\n")
    new_day(made, "blue", "2031-04-05-2", 3)
    planned = rows_of(made.day_folder("blue", "2031-04-05-2") / "pulls.csv")
    assert {r["total_deg"] for r in planned if r["baseline"]} == {"33"}


def test_a_sheet_that_names_no_log_is_not_called_missing(book: Book) -> None:
    (book.day_folder("blue", "2031-04-05") / "pulls.csv").write_bytes(sheet_bytes([{"setting": "base"}], semicolon=False))
    (asked,) = (q for q in read_day(book, "blue", "2031-04-05").questions if q.startswith("In which order"))
    assert "The pull sheet names none of them" in asked
