"""The seal of a day: the small file written last, saying which files make up the day's current revision.

It carries a SHA-256 of every table file and of itself, so that a flipped bit anywhere is found.
"""

import hashlib
import json
import os
from collections.abc import Iterable
from pathlib import Path, PurePosixPath
from typing import Any

from pullbook.archive.names import partition, partition_text

FOLDER = "_days"
NAME = "seal.json"
KEPT = "_kept"

Seal = dict[str, Any]

_HEAD, _TAIL = b'{"seal_sha256": "%s", "seal": ', b"}\n"


class SealDamaged(ValueError):
    """A seal that is no JSON, not ours, or does not match its own hash."""


def seal_path(root: Path, engine: str, day: str) -> Path:
    """Where the seal of a day's current revision lies."""
    return root / FOLDER / partition(engine, day) / NAME


def seal_bytes(content: Seal) -> bytes:
    """A seal as written: JSON, the hash of the inner object's own bytes before it, so that reading checks it at no cost."""
    inner = json.dumps(content, ensure_ascii=True, sort_keys=True).encode()
    return _HEAD % hashlib.sha256(inner).hexdigest().encode() + inner + _TAIL


def read_seal(path: Path) -> Seal | None:
    """The seal in ``path``, or None where there is none.

    Raises
    ------
    SealDamaged
        It is no seal of ours, or does not match its own hash.
    """
    try:
        text = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        return None
    size = len(_HEAD) + 62
    inner = text[size : -len(_TAIL)]
    if text[:size] != _HEAD % hashlib.sha256(inner).hexdigest().encode() or not text.endswith(_TAIL):
        raise SealDamaged(f"{path.name} does not match its own hash")
    try:
        content: Seal = json.loads(inner)
        if all(is_inside(listed["file"]) for listed in content["files"].values()):
            return content
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as fault:
        raise SealDamaged(f"{path.name} cannot be read: {fault}") from fault
    raise SealDamaged(f"{path.name} names a file outside the archive")


def is_inside(path: str) -> bool:
    """Whether a path written in the archive stays in it: a book may come from anybody."""
    pure = PurePosixPath(path)
    return not pure.is_absolute() and ".." not in pure.parts and not {"\\", ":"} & set(path)  # both are escaped in our own names


def all_seals(root: Path) -> list[Path]:
    """Seals of every day's current revision, in order of folder name."""
    return sorted((root / FOLDER).glob(f"engine=*/day=*/{NAME}"))


def sealed_folders(root: Path) -> int:
    """How many day folders the seals' folder has: a glance, in place of looking for every seal."""
    count, home = 0, f"{os.fspath(root)}/{FOLDER}"
    try:
        with os.scandir(home) as engines:
            for engine in engines:
                if engine.name.startswith("engine="):
                    count += sum(name.startswith("day=") for name in os.listdir(engine.path))  # noqa: PTH208
    except (FileNotFoundError, NotADirectoryError):
        return count
    return count


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


def table_folders(root: str) -> list[str]:
    """Names of the archive's tables, in order."""
    try:
        with os.scandir(root) as inside:
            return sorted(entry.name for entry in inside if entry.name[0] not in "._" and entry.is_dir())
    except (FileNotFoundError, NotADirectoryError):
        return []


def stamp(root: str, engine: str, day: str, tables: Iterable[str]) -> list[tuple[int, int, int]]:
    """Size, date and inode of a day's seal and table files: a glance that shows whether anything there was touched or taken."""
    place = partition_text(engine, day)
    return [_glance(f"{root}/{FOLDER}/{place}/{NAME}"), *[_glance(f"{root}/{table}/{place}/{table}.parquet") for table in tables]]


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
