"""The seal of a day: the small file written last, saying which files make up the day's current revision.

It carries a SHA-256 of every table file and of itself, so that a flipped bit anywhere is found.
"""

import hashlib
import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pullbook.archive.names import partition

FOLDER = "_days"
NAME = "seal.json"
KEPT = "_kept"

Seal = dict[str, Any]


class SealDamaged(ValueError):
    """A seal that is no JSON, not ours, or does not match its own hash."""


def seal_path(root: Path, engine: str, day: str) -> Path:
    """Where the seal of a day's current revision lies."""
    return root / FOLDER / partition(engine, day) / NAME


def seal_bytes(content: Seal) -> bytes:
    """A seal as written: JSON with ``seal_sha256`` over everything else."""
    plain = {k: v for k, v in content.items() if k != "seal_sha256"}
    return json.dumps({**plain, "seal_sha256": _own_hash(plain)}, ensure_ascii=True, sort_keys=True).encode()


def read_seal(path: Path, *, check: bool = False) -> Seal | None:
    """The seal in ``path``, or None where there is none.

    Parameters
    ----------
    path
        The file.
    check
        Also compare it with its own hash (a few times slower).

    Raises
    ------
    SealDamaged
        It cannot be read as a seal.
    """
    try:
        text = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return None
    try:
        content = json.loads(text)
        if not isinstance(content, dict) or not isinstance(content["files"], dict) or not isinstance(content["revision"], int):
            raise SealDamaged(f"{path.name} is no seal of ours")
    except (ValueError, KeyError) as fault:
        raise SealDamaged(f"{path.name} cannot be read: {fault}") from fault
    if check and content.get("seal_sha256") != _own_hash({k: v for k, v in content.items() if k != "seal_sha256"}):
        raise SealDamaged(f"{path.name} does not match its own hash")
    return content


def all_seals(root: Path) -> list[Path]:
    """Seals of every day's current revision, in order of folder name."""
    return sorted((root / FOLDER).glob(f"engine=*/day=*/{NAME}"))


def stands(root: Path, seal: Seal) -> bool:
    """Whether the day's files are those the seal names: by size and date, by content where the date differs."""
    home = os.fspath(root)  # plain text paths: this runs for every file of every day
    for listed in seal["files"].values():
        path = f"{home}/{listed['file']}"
        try:
            now = os.stat(path)  # noqa: PTH116
            if now.st_size != listed["bytes"]:
                return False
            if now.st_mtime_ns != listed["mtime_ns"] and file_hash(Path(path)) != listed["sha256"]:
                return False
        except OSError:
            return False
    return True


def stamp(root: Path, engine: str, day: str, tables: Iterable[str]) -> list[tuple[int, int, int]]:
    """Size, date and inode of a day's seal and table files: a glance that shows whether anything there was touched or taken."""
    home, place = os.fspath(root), partition(engine, day).as_posix()
    return [_glance(f"{home}/{FOLDER}/{place}/{NAME}"), *(_glance(f"{home}/{table}/{place}/{table}.parquet") for table in tables)]


def _glance(path: str) -> tuple[int, int, int]:
    try:
        now = os.stat(path)  # noqa: PTH116
    except OSError:
        return (0, 0, 0)
    return (now.st_size, now.st_mtime_ns, now.st_ino)


def file_hash(path: Path) -> str:
    """SHA-256 of a file's content."""
    with path.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()


def _own_hash(plain: Seal) -> str:
    return hashlib.sha256(json.dumps(plain, ensure_ascii=True, sort_keys=True).encode()).hexdigest()
