"""Kill whole runs of `pullbook run` on a book of sample logs: `python -m tests.faults.whole_run [--kills 20] [--draw N]`.

Every other kill takes the process that was started alone, so that its workers go on as orphans beside the next run; the others take
the whole family at once, as a power cut does. Between kills an input changes, so that there is always something to make.
"""

import argparse
import json
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import psutil
import pyarrow.parquet as pq

from pullbook.archive.inputs import InputHashes, inputs_digest
from pullbook.archive.kept import kept_seals
from pullbook.archive.seal import all_seals, read_seal
from pullbook.archive.store import Store
from pullbook.archive.verify import verify
from pullbook.book import Book

HERE = Path(__file__).resolve().parents[2]
DAYS = (("sallow-twin", "2026-08-29"), ("bracken-v8", "2026-10-10"))


def run(book: Book) -> subprocess.Popen[bytes]:
    """Start `pullbook run` on ``book``."""
    command = [sys.executable, "-m", "pullbook", "run", "--book", str(book.root)]
    return subprocess.Popen(command, cwd=HERE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)


def revisions(book: Book) -> dict[tuple[str, str, int], str]:
    """Every revision that a seal of the archive names, with the hash of its record."""
    found = {}
    for path in [*kept_seals(book.archive), *all_seals(book.archive)]:
        seal = read_seal(path)
        if seal is not None:
            found[seal["engine"], seal["day"], seal["revision"]] = seal["files"]["record"]["sha256"]
    return found


def looked_at(book: Book) -> list[str]:
    """Right after a kill: no table file is torn, no day reads as a mixture."""
    wrong = []
    for path in book.archive.glob("[a-z]*/**/*.parquet"):
        try:
            pq.read_table(path, partitioning=None)
        except Exception as fault:
            wrong.append(f"{path}: torn: {fault}")
    store = Store(book.archive)
    for engine, day in DAYS:
        tables = store.read_tables(engine, day)
        if tables:
            made = {json.loads(tables["record"]["text"][0])["made_at"], *tables["runs"]["made_at"]}
            if len(made) != 1:
                wrong.append(f"{engine}/{day}: read as a mixture of {made}")
    return wrong


def finished(book: Book) -> list[str]:
    """After the next whole run: archive whole, records of the inputs as they are, reports of those records."""
    wrong = [f"verify: {f['what']} {f['file']}: {f['found']}" for f in verify(book)["damage"]]
    store, hashes = Store(book.archive), InputHashes(book, trust=False)
    for engine, day in DAYS:
        head = store.current(engine, day)
        if head is None or not head["complete"] or head["inputs_hash"] != inputs_digest(hashes.of_day(engine, day)):
            wrong.append(f"{engine}/{day}: the archive is not of the inputs as they are")
            continue
        page = book.reports / engine / day
        record = json.loads((page / "day.json").read_text(encoding="utf-8"))
        if record["made_at"] != head["made_at"] or not (page / "report.html").stat().st_size:
            wrong.append(f"{engine}/{day}: its report is not of its record")
    return wrong


def main() -> int:
    """Kill, look, go on; say what was lost."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--kills", type=int, default=20)
    given.add_argument("--draw", type=int, default=time.time_ns() % 10**6)
    asked = given.parse_args()
    draw, wrong, known, orphans = random.Random(asked.draw), [], {}, []
    print(f"draw {asked.draw}")
    with tempfile.TemporaryDirectory(prefix="whole-run-") as scratch:
        book = Book.at(Path(scratch) / "book")
        for engine, day in DAYS:
            shutil.copytree(HERE / "sample_logs" / engine / day, book.logs / engine / day)
        began = time.monotonic()
        whole = run(book)
        wrong += [f"the first run ended with {whole.returncode}"] if whole.wait() else []
        takes = time.monotonic() - began
        for nth in range(asked.kills):
            note = book.day_folder(*DAYS[nth % 2]) / "day.yaml"
            note.write_text(note.read_text(encoding="utf-8") + f"\n# change {nth}\n", encoding="utf-8")
            killed = run(book)
            time.sleep(draw.uniform(0.05, 0.6) * takes)
            status = killed.poll()
            orphans += _kill(killed, whole_family=nth % 2 == 0)
            wrong += looked_at(book)
            known = _still_there(known, book, wrong)
            print(
                f"  kill {nth + 1}: {'it had ended already' if status is not None else 'killed'}; revisions {len(known)}",
                flush=True,
            )
        for orphan in orphans:
            orphan.wait()
        last = run(book)
        said = last.communicate()[1].decode(errors="replace")
        wrong += [f"the last run ended with {last.returncode}: {said}"] if last.returncode else []
        known = _still_there(known, book, wrong)
        wrong += finished(book)
        before = _files(book)
        run(book).wait()
        wrong += ["a run with nothing new wrote something"] if _files(book) != before else []
    for line in wrong:
        print(f"  LOST {line}")
    print(f"{asked.kills} kills, {len(known)} revisions made; what was lost: {f'{len(wrong)} things' if wrong else 'nothing'}")
    return int(bool(wrong))


def _kill(started: subprocess.Popen[bytes], *, whole_family: bool) -> list[psutil.Process]:
    """Kill what was started, with its children or without; returns the children left as orphans."""
    try:
        children = psutil.Process(started.pid).children(recursive=True)
    except psutil.NoSuchProcess:
        children = []
    started.kill()
    if whole_family:
        for child in children:
            try:
                child.kill()
            except psutil.NoSuchProcess:
                continue
    started.wait()
    return [] if whole_family else children


def _still_there(known: dict[Any, str], book: Book, wrong: list[str]) -> dict[Any, str]:
    """Every revision seen before must be there still, with the same record."""
    now = revisions(book)
    wrong += [f"revision {key} is gone or another" for key, digest in known.items() if now.get(key) != digest]
    return now


def _files(book: Book) -> dict[str, tuple[int, int]]:
    paths = [*book.archive.rglob("*"), *book.reports.rglob("*")]
    return {str(p): (p.stat().st_size, p.stat().st_mtime_ns) for p in paths if p.is_file()}


if __name__ == "__main__":
    sys.exit(main())
