"""The book: a folder of engines and days (contract 1 and 7). Finds what is there; reads no log and follows no link out."""

import os
import re
import shlex
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any
from unicodedata import category

from natsort import natsort_keygen

LOG_ENDINGS = (".csv", ".txt", ".tsv", ".log")
PICTURE_ENDINGS = (".jpg", ".jpeg", ".png", ".webp")
SHEET_NAMES = ("day.yaml", "pulls.csv", "pulls.xlsx", "strobe.csv", "columns.yaml")
_DAY = re.compile(r"(\d{4})-(\d{2})-(\d{2})(-.+)?")
_COPY = re.compile(
    r"(?:(?:copy of|kopie von|copie de|copia di|copia de) )?pulls"
    r"(?:[ _.-]*(?:\([^()]{1,80}\)|(?:copy|kopie|copie|copia)(?:[ _-]*\(?\d{1,3}\)?)?|\d{1,3}))?\.(?:csv|xlsx)",
    re.IGNORECASE,
)


natural = natsort_keygen()
"""Sort key in which pull 2 comes before pull 10."""


@cache  # asked of every pair of days where many are made at once
def day_order(day: str) -> tuple[Any, ...]:
    """Sort key of day folders: by date, then a date's visits in natural order.

    Examples
    --------
    >>> sorted(["2031-05-02", "2031-04-05-10", "2031-04-05-2", "2031-04-05"], key=day_order)
    ['2031-04-05', '2031-04-05-2', '2031-04-05-10', '2031-05-02']
    """
    return day[:10], natural(day)


@dataclass(frozen=True, slots=True)
class Book:
    """Where a shop's logs, reports, archive and our hidden work folder lie."""

    root: Path
    logs: Path
    reports: Path
    archive: Path
    work: Path

    @classmethod
    def at(cls, root: Path, *, logs: str = "logs") -> "Book":
        """The book in ``root``; in the repository ``logs`` is ``sample_logs``."""
        root = root.resolve()
        return cls(root, root / logs, root / "reports", root / "archive", root / ".pullbook")

    def day_folder(self, engine: str, day: str) -> Path:
        """Folder of one engine's day."""
        return self.logs / engine / day

    def engine_yaml(self, engine: str) -> Path | None:
        """An engine's own yaml, where it is a regular file that lies in the book."""
        path = self.logs / engine / "engine.yaml"
        return path if path.is_file() and (not path.is_symlink() or path.resolve().is_relative_to(self.root.resolve())) else None

    def shown(self, path: Path) -> str:
        """``path`` relative to the book with forward slashes; bytes that are no UTF-8 as ``\\xNN``."""
        try:
            text = path.relative_to(self.root).as_posix()
        except ValueError:
            text = path.as_posix()
        return printable(text)


@dataclass(frozen=True, slots=True)
class DayFiles:
    """What lies in a day folder.

    ``refused``: (name, why) of everything named in a warning and not followed; ``copies``: files named as a browser or a file
    manager names a copy of the pull sheet, whatever they hold.
    """

    logs: tuple[Path, ...]
    pictures: tuple[Path, ...]
    sheets: dict[str, Path]
    refused: tuple[tuple[str, str], ...]
    copies: tuple[Path, ...] = ()


def printable(name: str) -> str:
    """A file name as text that any encoding can carry: undecodable bytes become ``\\xNN``."""
    if name.isascii():  # nearly every name, and there are thousands
        return name
    return "".join(f"\\x{ord(c) - 0xDC00:02x}" if 0xDC80 <= ord(c) <= 0xDCFF else c for c in name)


def on_screen(text: str) -> str:
    """Text that may hold names from a folder or a sheet, as a terminal may be given it: nothing in it moves, colours or reverses.

    Examples
    --------
    >>> on_screen("blue\\x1b[2J eight")
    'blue\N{REPLACEMENT CHARACTER}[2J eight'
    """
    return "".join(c if c.isprintable() or category(c) == "Zs" else "\N{REPLACEMENT CHARACTER}" for c in text)


def is_day_name(name: str) -> bool:
    """Whether a folder name starts with a real date: YYYY-MM-DD, or YYYY-MM-DD-word for a second visit.

    Examples
    --------
    >>> is_day_name("2031-04-05-evening"), is_day_name("2025-02-30")
    (True, False)
    """
    found = _DAY.fullmatch(name)
    if not found:
        return False
    try:
        date(int(found[1]), int(found[2]), int(found[3]))
    except ValueError:
        return False
    return True


def is_sheet_copy(name: str) -> bool:
    """Whether a file is named as a copy of the pull sheet.

    Examples
    --------
    >>> [is_sheet_copy(name) for name in ("pulls (1).csv", "Kopie von pulls.csv", "Pulls_2.xlsx", "pulls.csv", "pulls evening.csv")]
    [True, True, True, False, False]
    """
    return _COPY.fullmatch(name) is not None and name.lower() not in SHEET_NAMES


def is_log_name(name: str) -> bool:
    """Whether a file of this name is read as a log."""
    return name.lower().endswith(LOG_ENDINGS) and not name.startswith((".", "~$"))


def folders_and_others(home: Path) -> tuple[list[str], list[str]]:
    """Names of the real folders in ``home``, links and dot folders passed over; and, in order, of its links and logs.

    One look for both: every run takes one at every engine, and there may be thousands.
    """
    folders: list[str] = []
    others: list[str] = []
    with os.scandir(home) as entries:
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                if not entry.name.startswith("."):
                    folders.append(entry.name)
            elif entry.is_symlink() or is_log_name(entry.name):
                others.append(entry.name)
    return folders, sorted(others)


def _folders(home: Path) -> list[str]:
    return folders_and_others(home)[0]


def engines(book: Book) -> list[str]:
    """Engines that have a folder, in natural order; dot folders and links are passed over."""
    if not book.logs.is_dir():
        return []
    return sorted(_folders(book.logs), key=natural)


def days(book: Book, engine: str) -> tuple[list[str], list[str]]:
    """Day folders of an engine in order of date, and folder names that are no date (a warning each)."""
    return dated(_folders(book.logs / engine))


def dated(names: list[str]) -> tuple[list[str], list[str]]:
    """Folder names that start with a date, in order of date, and those that do not."""
    if len(names) > 1:
        names = sorted(names, key=day_order)
    return [n for n in names if is_day_name(n)], [n for n in names if not is_day_name(n)]


def all_days(book: Book) -> list[tuple[str, str]]:
    """Every engine and day that has a folder."""
    return [(engine, day) for engine in engines(book) for day in days(book, engine)[0]]


def book_nearby(root: Path, logs: str) -> Path | None:
    """The book a person in the wrong folder may have meant: one that lies above ``root``, else the only one right below it.

    Parameters
    ----------
    root
        The folder that holds no book.
    logs
        Name of the folder that makes a book.
    """
    here = root.resolve()
    above = next((up for up in here.parents if (up / logs).is_dir() and here.is_relative_to(up / logs)), None)
    if above is not None:
        return above
    try:
        below = [here / name for name in _folders(here) if (here / name / logs).is_dir()]
    except OSError:
        return None
    return below[0] if len(below) == 1 else None


def where_logs_go(root: Path, logs: str) -> str:
    """What to do where ``root`` holds no book: put the logs there, or name the book that was meant."""
    near = book_nearby(root, logs)
    other = f", or name the book: --book {shlex.quote(printable(os.path.relpath(near))) if near else 'DIR'}"
    return f"put logs in {logs}/<engine>/<YYYY-MM-DD>/ first{other}"


def day_files(book: Book, engine: str, day: str) -> DayFiles:
    """Sort a day folder's entries into logs, pictures and sheets; subfolders, pipes and links out are refused by name."""
    logs: list[Path] = []
    pictures: list[Path] = []
    sheets: dict[str, Path] = {}
    refused: list[tuple[str, str]] = []
    copies: list[Path] = []
    home = book.root.resolve()
    for path in sorted(book.day_folder(engine, day).iterdir(), key=lambda p: natural(p.name)):
        name = path.name
        if name.startswith((".", "~$")):
            continue
        if path.is_symlink() and (astray := _astray(path, home)):
            refused.append((name, astray))
        elif path.is_dir():
            refused.append((name, "a folder inside a day folder"))
        elif not path.is_file():
            refused.append((name, "not a regular file"))
        elif name.lower() in SHEET_NAMES:
            sheets[name.lower()] = path
        elif is_sheet_copy(name):
            copies.append(path)
        elif path.suffix.lower() in LOG_ENDINGS:
            logs.append(path)
        elif path.suffix.lower() in PICTURE_ENDINGS:
            pictures.append(path)
        else:
            refused.append((name, "not a log, a sheet or a picture"))
    return DayFiles(tuple(logs), tuple(pictures), sheets, tuple(refused), tuple(copies))


def _astray(link: Path, home: Path) -> str | None:
    """Why a link is not followed; None where it leads to something inside the book."""
    try:
        return None if link.resolve(strict=True).is_relative_to(home) else "a link that leaves the book"
    except (OSError, RuntimeError):
        return "a link that leads nowhere"
