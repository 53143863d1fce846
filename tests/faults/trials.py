"""The faults: kills at drawn points and at random times, a full disk, flipped bits, two runs at once."""

import os
import random
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from pullbook.archive.verify import verify
from pullbook.book import Book
from tests.faults.checks import lost, mixed, torn
from tests.faults.work import DAYS

HERE = Path(__file__).resolve().parents[2]


@dataclass(slots=True)
class Tally:
    """What was done to the archive and what it cost; ``lost`` must stay empty."""

    faults: int = 0
    completed: int = 0
    lost: list[str] = field(default_factory=list)


def write(root: Path, *more: object, kill_after_s: float | None = None) -> tuple[int, list[int], list[str]]:
    """Run the writer; returns its exit status, the steps it acknowledged and all its lines."""
    with _started(root, *more) as writer:
        assert writer.stdout is not None
        lines = []
        if kill_after_s is not None:
            lines.append(writer.stdout.readline().strip())
            time.sleep(kill_after_s)
            with suppress(ProcessLookupError):
                writer.kill()
        lines += [line.strip() for line in writer.stdout]
        status = writer.wait()
    return status, [int(line.split()[1]) for line in lines if line.startswith("done ")], lines


def kills(root: Path, number: int, draw: random.Random, *, say: bool = False) -> Tally:
    """Kill the writer ``number`` times, at drawn points between file operations and at random moments, going on each time."""
    tally, next_step = Tally(), 0
    for nth in range(number):
        before = {p.parent.name for p in (root / "_staged").glob("*/journal.json")}
        if nth % 3 == 2:
            status, done, _ = write(root, "--first", next_step, "--stop", next_step + 50, kill_after_s=draw.uniform(0.0, 1.2))
        else:
            status, done, _ = write(root, "--first", next_step, "--stop", next_step + 50, "--die-at", draw.randrange(1, 900))
        if status != -9:
            tally.lost.append(f"the writer ended with {status} instead of being killed")
        tally.faults += 1
        next_step = max([*done, next_step - 1]) + 1
        tally.lost += torn(root, next_step) + mixed(root)
        after = {p.parent.name for p in (root / "_staged").glob("*/journal.json")}
        tally.completed += len(after - before)
        if say:
            print(f"  kill {nth + 1}: {len(done)} steps done, {'in mid-switch' if after else 'between'}", flush=True)
    status, done, _ = write(root, "--first", next_step, "--stop", next_step + 1)  # the next run finishes the job
    tally.lost += [f"the last run ended with {status}"] if status else []
    tally.lost += lost(root, range(next_step + 1))
    return tally


def full_disk(root: Path, draw: random.Random, number: int) -> Tally:
    """Let the disk fill up at ``number`` drawn places; each refusal is clear, and the work goes on when there is room again."""
    tally, next_step = Tally(), 0
    for _ in range(number):
        status, done, lines = write(root, "--first", next_step, "--stop", next_step + 9, "--full-at", draw.randrange(1, 400_000))
        tally.faults += 1
        next_step = max([*done, next_step - 1]) + 1
        if status != 1 or not lines[-1].startswith("refused the archive in archive/ could not be written: No space left"):
            tally.lost.append(f"the writer ended with {status}: {lines[-1:]}")
        tally.lost += torn(root, next_step - 1) + mixed(root)
    status, _, _ = write(root, "--first", next_step, "--stop", next_step + 1)
    tally.lost += [f"the last run ended with {status}"] if status else []
    tally.lost += lost(root, range(next_step + 1))
    return tally


def small_file_system(folder: Path, draw: random.Random, number: int) -> Tally | None:
    """The same on a real file system of 4 MB that fills up; None where none may be mounted here."""
    with mounted(folder, "4m") as root:
        if root is None:
            return None
        tally, next_step = Tally(), 0
        filler = root.parent / "filler"
        for _ in range(number):
            room = os.statvfs(root.parent)
            free = room.f_bavail * room.f_frsize
            filler.write_bytes(b"x" * max(0, free - draw.randrange(1, 500_000)))
            status, done, lines = write(root, "--first", next_step, "--stop", next_step + 4)
            tally.faults += status == 1
            next_step = max([*done, next_step - 1]) + 1
            if status not in (0, 1) or (status == 1 and "No space left" not in lines[-1]):
                tally.lost.append(f"the writer ended with {status}: {lines[-1:]}")
            tally.lost += torn(root, next_step) + mixed(root)
            filler.unlink()
        status, _, _ = write(root, "--first", next_step, "--stop", next_step + 1)
        tally.lost += [f"the last run ended with {status}"] if status else []
        tally.lost += lost(root, range(next_step + 1))
        return tally


@contextmanager
def mounted(folder: Path, size: str) -> Iterator[Path | None]:
    """A small file system in memory mounted on ``folder``, the archive's root in it; None where that is not permitted."""
    folder.mkdir(parents=True, exist_ok=True)
    try:
        made = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder], capture_output=True, check=False)
        permitted = made.returncode == 0
    except OSError:
        permitted = False
    try:
        yield folder / "archive" if permitted else None
    finally:
        if permitted:
            subprocess.run(["umount", folder], check=True)


def flipped_bits(root: Path, number: int, draw: random.Random) -> Tally:
    """Flip one bit in ``number`` drawn files, older revisions, seals and catalogue too: verify names each file."""
    tally, book = Tally(), Book.at(root.parent)
    files = sorted(p for p in root.rglob("*") if p.is_file() and p.suffix in (".parquet", ".json"))
    for _ in range(number):
        path = draw.choice(files)
        whole = path.read_bytes()
        where, bit = draw.randrange(len(whole)), draw.randrange(8)
        status = path.stat()
        path.write_bytes(whole[:where] + bytes([whole[where] ^ 1 << bit]) + whole[where + 1 :])
        os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
        named = {f["file"] for f in verify(book)["damage"]}
        tally.faults += 1
        wanted = book.shown(root / "catalog.parquet" if path.name == "_catalog.json" else path)
        if wanted not in named:
            tally.lost.append(f"a flipped bit in {path} (byte {where}, bit {bit}) was not found; named: {named}")
        path.write_bytes(whole)
        os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    tally.lost += [f"after flipping back: {f['file']}" for f in verify(book)["damage"]]
    return tally


def race(root: Path, steps: int, *, hold: bool) -> Tally:
    """Runs at once while a reader looks: every revision once, never a mixed day.

    With ``hold`` they are whole runs: one holds the book until two others have said that they wait for it, and those two then race
    for it. Without, both only have each day's first revision to write: an orphan of a killed run beside the next run, kept apart by
    the archive's own lock alone.
    """
    steps = steps if hold else len(DAYS)
    tally = Tally(faults=1)
    runs = _holder_and_two_waiting(root, steps, tally) if hold else [_started(root, "--stop", steps) for _ in range(2)]
    while any(run.poll() is None for run in runs):
        tally.lost += mixed(root)
    done: list[int] = []
    for run in runs:
        said = run.communicate()[0]
        done += [int(line.split()[1]) for line in said.splitlines() if line.startswith("done ")]
        tally.lost += [f"a racing run ended with {run.returncode}"] if run.returncode else []
    if hold and sorted(done) != list(range(steps)):
        tally.lost.append(f"the runs together did {sorted(done)}, not each of {steps} steps once")
    tally.lost += lost(root, range(steps))
    return tally


def _holder_and_two_waiting(root: Path, steps: int, tally: Tally) -> list[subprocess.Popen[str]]:
    """Three runs of which the first goes on only when the others have said that they wait: the trial does not hang on luck."""
    first = _started(root, "--stop", steps, "--hold", "--linger")
    assert first.stdout is not None
    assert first.stdin is not None
    held = first.stdout.readline()
    tally.lost += [] if held == "held\n" else [f"the first run said {held!r} instead of holding the book"]
    others = [_started(root, "--stop", steps, "--hold") for _ in range(2)]
    for other in others:
        assert other.stdout is not None
        said = other.stdout.readline()
        if f"said waiting for the run of process {first.pid} " not in said:
            tally.lost.append(f"a run beside one that held the book said {said!r}")
    first.stdin.write("go on\n")
    first.stdin.flush()
    return [first, *others]


def _started(root: Path, *more: object) -> subprocess.Popen[str]:
    path = os.pathsep.join([str(HERE), *sys.path])
    environment = {**os.environ, "POLARS_MAX_THREADS": "1", "OMP_NUM_THREADS": "1", "PYTHONPATH": path}
    command = [sys.executable, "-m", "tests.faults.writer", str(root), *map(str, more)]
    return subprocess.Popen(command, cwd=HERE, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment)
