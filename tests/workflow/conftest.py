"""A book built once from the sample logs by the real command, for every test of this folder."""

import hashlib
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Ran:
    """How a command ended."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        loaded: dict[str, Any] = json.loads(self.out)
        return loaded


def pullbook(*words: str, timeout: float = 300.0) -> Ran:
    """Run the command as a person would."""
    command = [sys.executable, "-m", "pullbook", *words]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=timeout, check=False)
    return Ran(ended.returncode, ended.stdout, ended.stderr)


def contents(folder: Path) -> dict[str, tuple[int, str]]:
    """Every file below ``folder``: date and hash, to tell that nothing was written."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            found[path.relative_to(folder).as_posix()] = (path.stat().st_mtime_ns, hashlib.sha256(path.read_bytes()).hexdigest())
    return found


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Ran]:
    """A whole book from nothing, and how its first run ended. Not to be changed: copy it."""
    book = tmp_path_factory.mktemp("built")
    shutil.copytree(ROOT / "sample_logs", book / "logs", ignore=shutil.ignore_patterns("README.md"))
    return book, pullbook("run", "--book", str(book), "--json")


@pytest.fixture
def book(built: tuple[Path, Ran], tmp_path: Path) -> Path:
    """A built book of the test's own."""
    copy = tmp_path / "book"
    shutil.copytree(built[0], copy, copy_function=shutil.copy2)
    return copy


@pytest.fixture
def small(tmp_path: Path) -> Callable[[str], Path]:
    """Makes a fresh book with one sample engine's first day, under any engine name."""

    def make(name: str) -> Path:
        source = next(p for p in sorted((ROOT / "sample_logs").iterdir()) if p.is_dir())
        day = next(p for p in sorted(source.iterdir()) if p.is_dir())
        shutil.copytree(day, tmp_path / "small" / "logs" / name / day.name)
        return tmp_path / "small"

    return make
