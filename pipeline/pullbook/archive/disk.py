"""Every change the archive makes on disk, one function each, flushed to the disk before it returns.

Keeping them here lets the fault harness stop the process before and after each of them, and gives one error for all.
"""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


class ArchiveUnwritable(Exception):
    """The archive cannot be written (no room, no right, read-only); its last complete state stands."""


@contextmanager
def writing(root: Path) -> Iterator[None]:
    """Turn every failure to write under ``root`` into :class:`ArchiveUnwritable`, in the operator's words.

    Raises
    ------
    ArchiveUnwritable
        Something inside raised an OSError.
    """
    try:
        yield
    except OSError as fault:
        where = f" ({Path(fault.filename).name})" if isinstance(fault.filename, str) else ""
        raise ArchiveUnwritable(
            f"the archive in {root.name}/ could not be written: {fault.strerror or fault}{where}; its last complete state stands"
        ) from fault


def write_file(path: Path, data: bytes) -> None:
    """Write a whole new file and wait until it is on the disk."""
    with path.open("wb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())


def replace(source: Path, target: Path) -> None:
    """Put ``source`` in the place of ``target`` in one step: a reader sees the old file or the new one."""
    os.replace(source, target)  # noqa: PTH105 - one name for the step in code and harness


def keep_beside(source: Path, target: Path) -> None:
    """Give ``source`` a second place (a hard link, or a whole copy where the file system has none)."""
    if target.exists():
        return
    try:
        os.link(source, target)
    except OSError:
        half = target.with_name(f".{target.name}.part")
        shutil.copyfile(source, half)
        with half.open("rb+") as out:
            os.fsync(out.fileno())
        shutil.copystat(source, half)
        replace(half, target)


def make_folders(*paths: Path) -> None:
    """Make folders and what lies above them, then note all of them on the disk (one by one would cost a commit each)."""
    holding: dict[Path, None] = {}
    for path in paths:
        missing = []
        while not path.is_dir():
            missing.append(path)
            path = path.parent
        for folder in reversed(missing):
            folder.mkdir(exist_ok=True)
            holding[folder.parent] = None
    for folder in holding:
        sync_folder(folder)


def sync_folder(path: Path) -> None:
    """Make renames and new names inside ``path`` last through a power cut."""
    if os.name != "posix":  # pragma: no cover - folders cannot be flushed there
        return
    number = os.open(path, os.O_RDONLY)
    try:
        with suppress(OSError):  # some network file systems refuse; the rename itself stands
            os.fsync(number)
    finally:
        os.close(number)


def remove(path: Path) -> None:
    """Take away a file of ours that is no longer needed (never a table)."""
    path.unlink(missing_ok=True)


def remove_folder(path: Path) -> None:
    """Take away a staging folder with what was never committed."""
    for inside in path.iterdir():
        remove(inside)
    path.rmdir()
