"""How all tables of a day switch together, so that a crash leaves each wholly old or wholly new and the next run finishes.

1. Every new file is written and flushed in a staging folder of the day, whose name starts with ``_``.
2. The files to be replaced get a second place under ``_kept/``. Nothing a reader sees has changed yet.
3. ``journal.json`` is put in the staging folder: the commit. Before it the old revision is the whole truth, after it the new.
4. Each staged file is renamed over the old one, the seal last, and the journal is taken away.

A crash before 3 leaves a staging folder that is cleared; a crash after 3 leaves a journal that is followed to its end.
"""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pullbook.archive import disk
from pullbook.archive.names import day_key
from pullbook.archive.seal import is_inside

STAGED = "_staged"
JOURNAL = "journal.json"


@dataclass(frozen=True, slots=True)
class Step:
    """One file of the switch, paths relative to the archive. ``keep``: where the file it replaces is kept."""

    staged: str
    to: str
    keep: str | None = None


def staging_folder(root: Path, engine: str, day: str) -> Path:
    """Where a day's new files wait."""
    return root / STAGED / day_key(engine, day)


def waiting(root: Path, engine: str, day: str) -> dict[str, Path]:
    """Committed files of an unfinished switch, by the place they will take; empty on a settled day."""
    folder = staging_folder(root, engine, day)
    journal = read_journal(folder)
    if journal is None:
        return {}
    return {step.to: folder / step.staged for step in journal[1] if (folder / step.staged).exists()}


def read_journal(folder: Path) -> tuple[dict[str, Any], list[Step]] | None:
    """Head and steps of a committed switch, or None where nothing was committed.

    A damaged journal, or one that leads out of the archive, counts as none: the day is then seen not to match its seal, and is
    made again.
    """
    try:
        content = json.loads((folder / JOURNAL).read_bytes())
        steps = [Step(**s) for s in content["steps"]]
        ours = all("/" not in s.staged and is_inside(s.staged) and is_inside(s.to) and is_inside(s.keep or ".") for s in steps)
        return (content, steps) if ours else None
    except (FileNotFoundError, NotADirectoryError, ValueError, KeyError, TypeError, AttributeError):
        return None


def commit(root: Path, engine: str, day: str, revision: int, steps: list[Step]) -> None:
    """Steps 2 and 3: keep what will be replaced, then make the staged files of the day the truth.

    Parameters
    ----------
    root
        Of the archive.
    engine, day, revision
        What is switched.
    steps
        Every file: its staged name, its place, and where what it replaces is kept.

    Raises
    ------
    OSError
        A file or folder could not be written; nothing has been switched then.
    """
    folder = staging_folder(root, engine, day)
    disk.sync_folder(folder)
    disk.make_folders(*sorted({(root / s.to).parent for s in steps} | {(root / s.keep).parent for s in steps if s.keep}))
    _keep(root, steps)
    head = {"engine": engine, "day": day, "revision": revision, "steps": [_plain(s) for s in steps]}
    disk.write_file(folder / ".journal", json.dumps(head, ensure_ascii=True).encode())
    disk.replace(folder / ".journal", folder / JOURNAL)
    disk.sync_folder(folder)


def follow(root: Path, folder: Path) -> dict[str, Any] | None:
    """Step 4, from wherever it stopped. Returns the journal's head, or None where nothing was committed.

    Parameters
    ----------
    root
        Of the archive.
    folder
        A staging folder.

    Raises
    ------
    OSError
        A file could not be moved; the next run goes on from there.
    """
    journal = read_journal(folder)
    if journal is None:
        return None
    head, steps = journal
    for step in steps:
        if (folder / step.staged).exists():
            disk.make_folders((root / step.to).parent)
            disk.replace(folder / step.staged, root / step.to)
    for place in sorted({(root / s.to).parent for s in steps}):
        disk.sync_folder(place)
    disk.remove(folder / JOURNAL)
    disk.remove_folder(folder)
    return {k: head[k] for k in ("engine", "day", "revision")}


def clear(folder: Path) -> None:
    """Take away what was staged and never committed."""
    if folder.is_dir() and read_journal(folder) is None:
        disk.remove_folder(folder)


def unfinished(root: Path) -> list[Path]:
    """Staging folders that a crash left."""
    folder = root / STAGED
    return sorted(p for p in folder.iterdir() if p.is_dir() and not p.is_symlink()) if folder.is_dir() else []


def _keep(root: Path, steps: list[Step]) -> None:
    for step in steps:
        if step.keep and (root / step.to).exists():
            disk.keep_beside(root / step.to, root / step.keep)
    for place in sorted({(root / s.keep).parent for s in steps if s.keep}):
        disk.sync_folder(place)


def _plain(step: Step) -> dict[str, str | None]:
    return {"staged": step.staged, "to": step.to, "keep": step.keep}
