"""docs/reading-logs.md keeps its word: every example asks what the page quotes, and every answer it gives ends the question."""

import re
from pathlib import Path

import pytest
from tests.unit.docs.page import PAGE, Case, cases
from tests.unit.docs.page_logs import LOGS

from pullbook.book import Book
from pullbook.columns import CHANNELS
from pullbook.findings.knock import knock_table
from pullbook.reading.check import as_text, check
from pullbook.reading.day import read_day
from pullbook.running.new_sheet import new_day
from pullbook.stages.align import align_day
from pullbook.stages.delivered import delivered_advance
from pullbook.vocabulary.units_text import named_unit

CASES = cases()
ENGINE, DAY = "blue eight", "2031-04-05"

#: What the page says in words only: files that stand there when the question is asked.
IN_WORDS = {
    "Is the barometer reduced to sea level?": {"day.yaml": "air: {pressure_kpa: 101.3, temperature_c: 20, humidity_pct: 50}\n"},
    "The light reads half": {
        "strobe.csv": "setting,rpm,advance_deg\n14+20,1250,13.2\n14+20,1500,15.4\n14+20,1750,17\n14+20,2250,17\n"
    },
    "A dial-back light on a wasted spark": {
        "engine.yaml": "ignition: {spark: wasted}\n",
        "strobe.csv": "setting,rpm,advance_deg\n14+20,2500,26.5\n14+20,3500,34\n14+20,4500,34\n",
    },
    "A label that became a date": {"pulls.csv": "file,setting\nrun 1.csv,2031-03-14\n"},
    "A file name with a slip in it": {"pulls.csv": "file,setting\nrun1.csv,14+20\n"},
    "Several pulls in one file": {"pulls.csv": "file,setting\nsession.csv,14+20\n"},
    "Light readings of a setting nobody ran": {"strobe.csv": "setting,rpm,advance_deg\nfourteen,2500,26.5\n"},
    "A word about knock that could mean anything": {"pulls.csv": "file,setting,knock\nrun 1.csv,14+20,some\n"},
}


def shop(root: Path, logs: list[str], files: dict[str, str]) -> Book:
    """A book of one day with these logs and hand-kept files."""
    day = root / "logs" / ENGINE / DAY
    day.mkdir(parents=True)
    for name in logs:
        (day / name).write_text(LOGS[name], encoding="utf-8")
    for name, text in files.items():
        (day.parent if name == "engine.yaml" else day).joinpath(name).write_text(text, encoding="utf-8")
    return Book.at(root)


def sheet_of(case: Case) -> dict[str, str]:
    """The pull sheet that the page takes for granted where light readings go by a label."""
    speaks = {*case.before, *IN_WORDS.get(case.title, {}), *(name for name, _ in case.after)}
    named = "".join(f"{log},14+20\n" for log in case.logs)
    return {"pulls.csv": "file,setting\n" + named} if "strobe.csv" in speaks and "pulls.csv" not in speaks else {}


def asked(book: Book) -> tuple[list[str], list[str]]:
    """Everything asked of a day up to its delivered advance and its knock, and every fault, as the screen shows them."""
    reading = read_day(book, ENGINE, DAY)
    aligned = align_day(reading)
    delivered = delivered_advance(reading, aligned)
    faults = [fault.sentence() for fault in reading.errors]
    _, about_knock = knock_table(aligned, reading.samples)
    return [*reading.questions, *aligned.questions, *delivered.questions, *about_knock, *faults], faults


def test_the_page_has_its_examples() -> None:
    assert len(CASES) >= 25
    named = {log for case in CASES for log in case.logs}
    assert named == set(LOGS), "every log made for the page is on it, and no other"
    for case in CASES:
        assert case.quotes, case.title
        assert case.after, case.title


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c.title} ({c.logs[0]})")
def test_each_answer_ends_its_question(case: Case, tmp_path: Path) -> None:
    for name, begins in case.begins.items():
        assert LOGS[name].startswith(begins), f"{name} does not begin as the page shows it"
    before = {**sheet_of(case), **IN_WORDS.get(case.title, {}), **case.before}
    questions, _ = asked(shop(tmp_path / "before", case.logs, before))
    for quote in case.quotes:
        assert any(quote in q for q in questions), f"not asked: {quote!r} in {questions}"
    for number, (name, answer) in enumerate(case.after):
        questions, faults = asked(shop(tmp_path / f"after {number}", case.logs, {**before, name: answer}))
        assert faults == [], "what the page says to write can be read"
        for quote in case.quotes:
            assert not any(quote in q for q in questions), f"still asked with {name}: {quote!r}"


@pytest.mark.parametrize("name", LOGS)
def test_the_line_a_question_suggests_can_be_pasted(name: str, tmp_path: Path) -> None:
    """Every `in columns.yaml: …` of the screen, pasted as it stands, is read without a fault."""
    questions, _ = asked(shop(tmp_path / "before", [name], {}))
    lines = [found[1] for q in questions if (found := re.search(r"in columns\.yaml: ('.*?': \{.*?\}\})", q))]
    for number, line in enumerate(dict.fromkeys(lines)):
        _, faults = asked(shop(tmp_path / f"pasted {number}", [name], {"columns.yaml": line + "\n"}))
        assert not any("/columns.yaml" in fault.split(": found")[0] for fault in faults), (line, faults)


def test_what_check_shows(tmp_path: Path) -> None:
    page = PAGE.read_text(encoding="utf-8")
    shown = as_text(check(shop(tmp_path, ["run 1.csv"], {}), []))
    blocks = re.findall(r"```text\n(.*?)```", page, re.S)
    (block,) = [b for b in blocks if b.startswith("logs/")]
    assert shown.startswith(block), shown


def test_units_and_endings_named_on_the_page_exist() -> None:
    page = PAGE.read_text(encoding="utf-8")
    listed = re.search(r"and by these: `(.*?)`", page)
    spelled = re.search(r"any spelling a log may use \((.*?)\)", page)
    assert listed is not None
    assert spelled is not None
    for unit in [*listed[1].split(), *re.findall(r"`(.*?)`", spelled[1])]:
        assert named_unit(unit) is not None, unit
    for channel in re.findall(r"channel: (\w+)", page):
        assert channel in CHANNELS or channel == "ignore", channel


def test_a_self_made_log_asks_nothing(tmp_path: Path) -> None:
    """The last heading line of the page, filled with a sweep, is read without a question about any column."""
    header = re.findall(r"```text\n(Time \[s\],Engine speed.*Oil.*)\n```", PAGE.read_text(encoding="utf-8"))[-1]
    first, *rows = LOGS["run 1.csv"].strip().split("\n")
    assert header.startswith(first)
    log = "\n".join([header, *(row + ",21.5,88" for row in rows)]) + "\n"
    book = shop(tmp_path, [], {})
    (tmp_path / "logs" / ENGINE / DAY / "mine.csv").write_text(log, encoding="utf-8")
    (told,) = check(book, [])["files"]
    assert told["questions"] == []
    assert [c["channel"] for c in told["columns"]] == ["time_s", "rpm", "torque_nm", "advance_deg", "inlet_c", "oil_c"]


def test_new_writes_what_the_page_says(tmp_path: Path) -> None:
    (tmp_path / "logs").mkdir()
    new_day(Book.at(tmp_path), ENGINE, DAY, None)
    made = {p.name for p in (tmp_path / "logs").rglob("*") if p.is_file()}
    assert {"day.yaml", "engine.yaml", "pulls.csv"} <= made
