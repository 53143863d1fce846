"""What `check` prints of a book."""

import json
from pathlib import Path

import pytest
from tests.unit.reading.driven import SWEEP, drive, write_log

from pullbook.book import Book
from pullbook.reading import check as check_module
from pullbook.reading.astray import astray
from pullbook.reading.check import as_text, check, meant
from pullbook.reading.day import read_day
from pullbook.running.new_sheet import sheet_bytes

FILE_KEYS = ["file", "encoding", "delimiter", "decimal", "header_line", "rows", "rows_dropped", "columns", "segments", "questions",
             "warnings", "error"]  # fmt: skip


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
    every = sum(len(q) for q in asked.values()) + sum(len(d["questions"]) for d in found["days"])
    pointed_at = len(asked["run 3.csv"]) + len(asked["run 4.csv"])
    assert pointed_at == 2 * many
    assert f"{every - pointed_at} questions about reading them" in shown, "one answer settles it for all three logs: one question"


def test_a_sheet_that_names_no_log_is_not_called_missing(book: Book) -> None:
    (book.day_folder("blue", "2031-04-05") / "pulls.csv").write_bytes(sheet_bytes([{"setting": "base"}], semicolon=False))
    (asked,) = (q for q in read_day(book, "blue", "2031-04-05").questions if q.startswith("In which order"))
    assert "The pull sheet names none of them" in asked
