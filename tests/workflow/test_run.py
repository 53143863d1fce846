"""`pullbook run` on real logs: everything is made, nothing twice, and one bad log stops nothing."""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest

from pullbook.archive.schema import TABLES
from pullbook.archive.store import Store
from pullbook.config import open_book
from pullbook.running.conforms import check_record
from pullbook.running.planning import make_plan
from tests.workflow.conftest import ROOT, Ran, contents, pullbook

pytestmark = pytest.mark.xdist_group("workflow")


def _days(book: Path) -> list[Path]:
    return sorted(p for e in (book / "logs").iterdir() if e.is_dir() for p in e.iterdir() if p.is_dir())


def test_the_sample_run_makes_every_output(built: tuple[Path, Ran]) -> None:
    book, ran = built
    assert ran.status == 0, ran.err
    assert {(d["engine"], d["day"]) for d in ran.json["days"]} == {(p.parent.name, p.name) for p in _days(book)}
    for day in _days(book):
        folder = book / "reports" / day.parent.name / day.name
        for name in ("report.html", "report.pdf", "tune_card.pdf", "day.json"):
            assert (folder / name).stat().st_size > 500, name
        assert list((folder / "figures").glob("*.svg"))
        record = json.loads((folder / "day.json").read_text(encoding="utf-8"))
        assert check_record(record) == []
        assert record["advice"]["sentence"]
        for table in ("samples", "pulls", "delivered", "shapes", "best", "effects", "knock", "settings", "runs"):
            assert list((book / "archive" / table).glob(f"engine=*/day={day.name}/*.parquet")), table
    assert (book / "reports" / "index.html").exists()
    assert (book / "archive" / "catalog.parquet").exists()


def test_no_log_is_changed(built: tuple[Path, Ran]) -> None:
    book, _ = built
    for path in (book / "logs").rglob("*"):
        if path.is_file():
            assert path.read_bytes() == (ROOT / "sample_logs" / path.relative_to(book / "logs")).read_bytes()


def test_nothing_new_writes_nothing(book: Path) -> None:
    before = contents(book / "archive") | contents(book / "reports")
    next((book / "logs").rglob("*.csv")).touch()
    ran = pullbook("run", "--book", str(book), "--json")
    assert ran.status == 0
    assert ran.json["nothing_new"]
    assert contents(book / "archive") | contents(book / "reports") == before


def test_nothing_new_loads_no_library_of_tables(book: Path) -> None:
    code = "import sys\nfrom pullbook.cli import main\nmain(['run', '--book', sys.argv[1], '--json'])\nprint(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code, str(book)], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout)["nothing_new"]
    assert not {"numpy", "polars", "pandas", "pyarrow", "snakemake"} & set(done.stderr.split())


def test_a_new_log_reruns_its_day_only(book: Path) -> None:
    day = _days(book)[0]
    log = next(p for p in sorted(day.iterdir()) if p.suffix == ".csv" and p.name not in ("pulls.csv", "strobe.csv"))
    shutil.copy(log, day / "zz another pull.csv")
    ran = pullbook("run", "--book", str(book), "--json")
    assert [(d["engine"], d["day"]) for d in ran.json["days"]] == [(day.parent.name, day.name)]
    assert ran.json["days"][0]["revision"] == 2
    assert list((book / "archive" / "_kept").rglob("*.parquet"))


def test_an_unreadable_log_is_one_line_and_the_rest_is_reported(book: Path) -> None:
    day = _days(book)[-1]
    (day / "broken.csv").write_text("K1,K2,K3\n" + "71,15,66\n90,11,62\n58,87,51\n" * 20)
    ran = pullbook("run", "--book", str(book), "--json")
    assert ran.status == 1
    (error,) = ran.json["days"][0]["errors"]
    assert error["file"].endswith("broken.csv")
    assert error["remedy"]
    record = json.loads((book / "reports" / day.parent.name / day.name / "day.json").read_text(encoding="utf-8"))
    assert any(p["status"] == "used" for p in record["pulls"])


def test_deleted_reports_come_back_from_the_record(book: Path) -> None:
    archive = contents(book / "archive")
    pages = {p.relative_to(book / "reports") for p in (book / "reports").rglob("*") if p.is_file()}
    shutil.rmtree(book / "reports")
    ran = pullbook("run", "--book", str(book), "--json")
    assert ran.status == 0
    assert {p.relative_to(book / "reports") for p in (book / "reports").rglob("*") if p.is_file()} == pages
    assert contents(book / "archive") == archive


def test_other_paper_redraws_and_says_so(book: Path) -> None:
    archive = contents(book / "archive")
    (book / "config.yaml").write_text("page: Letter\n")
    ran = pullbook("run", "--book", str(book), "--json")
    assert {d["why"] for d in ran.json["days"]} == {"paper is now Letter"}
    assert contents(book / "archive") == archive


def test_a_day_taken_away_keeps_its_record_and_is_marked(book: Path) -> None:
    day = _days(book)[0]
    shutil.rmtree(day)
    ran = pullbook("run", "--book", str(book), "--json")
    assert ran.status == 0
    assert (book / "reports" / day.parent.name / day.name / "report.html").exists()
    assert "logs not here" in (book / "reports" / "index.html").read_text(encoding="utf-8")
    again = contents(book / "archive") | contents(book / "reports")
    assert pullbook("run", "--book", str(book), "--json").json["nothing_new"]
    assert contents(book / "archive") | contents(book / "reports") == again


@pytest.mark.parametrize("name", ["{wild} & <b>'quoted\" ü", "é" * 100, "-dash", "%41 =x", "$(touch pwned)`"])
def test_any_engine_name_works(small: Callable[[str], Path], name: str) -> None:
    book = small(name)
    ran = pullbook("run", "--book", str(book), "--json")
    assert ran.status == 0, ran.err
    assert list((book / "reports" / name).glob("*/report.html"))
    assert "<b>'quoted" not in (book / "reports" / "index.html").read_text(encoding="utf-8")
    assert not list(book.rglob("pwned"))


def test_same_inputs_same_numbers(book: Path, built: tuple[Path, Ran], tmp_path: Path) -> None:
    again = tmp_path / "again"
    shutil.copytree(built[0] / "logs", again / "logs")
    assert pullbook("run", "--book", str(again), "--json").status == 0
    for day in _days(again):
        one, two = (
            json.loads((b / "reports" / day.parent.name / day.name / "day.json").read_text(encoding="utf-8")) for b in (book, again)
        )
        for record in (one, two):
            del record["made_at"]
        assert one == two


def test_wrong_use_is_status_2(tmp_path: Path, book: Path) -> None:
    assert pullbook("run", "--book", str(tmp_path / "nowhere")).status == 2
    empty = tmp_path / "empty"
    empty.mkdir()
    assert pullbook("run", "--book", str(empty)).status == 2
    assert pullbook("run", "no such engine", "--book", str(book)).status == 2


def _wait_for(path: Path) -> None:
    end = time.monotonic() + 60
    while not path.exists() and time.monotonic() < end:
        time.sleep(0.05)


def _running(book: Path) -> list[psutil.Process]:
    found = []
    for process in psutil.process_iter():
        try:
            if any(str(book) in word for word in process.cmdline()) or process.cwd().startswith(str(book)):
                found.append(process)
        except psutil.Error:
            continue
    return found


@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_a_signal_ends_the_run_and_the_next_one_finishes(built: tuple[Path, Ran], tmp_path: Path, number: int, status: int) -> None:
    book = tmp_path / "stopped"
    shutil.copytree(built[0] / "logs", book / "logs")
    command = [sys.executable, "-m", "pullbook", "run", "--book", str(book), "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path) as run:
        _wait_for(book / ".pullbook" / "progress.jsonl")
        second = pullbook("run", "--book", str(book))  # the book is held: the second says who holds it
        os.kill(run.pid, number)
        run.communicate(timeout=15)
    assert second.status == 2
    assert "held by" in second.err
    assert run.returncode == status
    assert _running(book) == []
    finished = pullbook("run", "--book", str(book), "--json")
    assert finished.status == 0
    assert len(list((book / "reports").glob("*/*/report.html"))) == len(_days(book))


def test_jobs_of_a_run_that_was_killed_are_ended_by_the_next(built: tuple[Path, Ran], tmp_path: Path) -> None:
    """They would draw into the same folders as its own; nobody holds the book for them."""
    book = tmp_path / "killed"
    shutil.copytree(built[0] / "logs", book / "logs")
    command = [sys.executable, "-m", "pullbook", "run", "--book", str(book), "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path) as run:
        _wait_for(book / ".pullbook" / "progress.jsonl")
        run.kill()
        run.communicate(timeout=15)
    assert _running(book) != []
    finished = pullbook("run", "--book", str(book), "--json")
    assert "an earlier run was killed and its jobs were still at work: they were ended" in finished.err
    assert finished.status == 0
    assert [d["unwritable"] or d["fault"] for d in finished.json["days"]] == [None] * len(_days(book))
    assert _running(book) == []
    assert "still at work" not in pullbook("run", "--book", str(book), "--json").err


def test_bare_snakemake_does_the_same(small: Callable[[str], Path], tmp_path: Path) -> None:
    book = small("bare")
    command = [sys.executable, "-m", "snakemake", "--config", f"book={book}", "--quiet", "all"]
    command += ["--workflow-profile", "workflow/profiles/default"]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False)
    assert ended.returncode == 0, ended.stderr
    assert list((book / "reports" / "bare").glob("*/report.html"))
    assert pullbook("run", "--book", str(book), "--json").json["nothing_new"]


def test_one_process_for_a_single_day_gives_what_two_give(small: Callable[[str], Path], tmp_path: Path) -> None:
    one, two = small("engine"), tmp_path / "two"
    shutil.copytree(one / "logs", two / "logs")
    assert pullbook("run", "--book", str(one), "--json").status == 0
    opened, settings = open_book(two)
    plan = make_plan(opened, settings, Store(opened.archive)).plan
    plan.work.mkdir(exist_ok=True)
    plan.write()
    (parcel,) = plan.parcels
    steps = (
        ("measure", "--parcel", parcel, "--out", f"measured/{parcel}"),
        ("report", "--parcel", parcel, "--measured", f"measured/{parcel}", "--out", f"reported/{parcel}.json"),
        ("index", "--out", "index/done"),
    )
    for step in steps:
        subprocess.run([sys.executable, "-m", "pullbook.running.job", *step, "--plan", "plan.json"], cwd=plan.work, check=True)
    tables = [p.relative_to(one) for p in sorted((one / "archive").glob("[a-z]*/engine=*/day=*/*.parquet"))]
    assert len(tables) == len(TABLES)
    for table in tables:
        if table.parts[1] not in ("runs", "record"):  # these say when they were made
            assert (one / table).read_bytes() == (two / table).read_bytes(), table
    records = [json.loads(next((b / "reports" / "engine").glob("*/day.json")).read_text(encoding="utf-8")) for b in (one, two)]
    assert records[0] | {"made_at": ""} == records[1] | {"made_at": ""}
    drawn = [{p.relative_to(b / "reports") for p in (b / "reports").rglob("*")} for b in (one, two)]
    assert drawn[0] == drawn[1]
