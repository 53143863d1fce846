"""What each command does: it opens the book, imports its room only when it runs (start-up is what a person waits for), and shows.

Every command takes what was typed and returns its exit status (docs/contract.md, section 6).
"""

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pullbook.book import Book
    from pullbook.config import Settings

DONE, IN_PART, WRONG_USE, OUR_FAULT = 0, 1, 2, 3


class WrongUse(Exception):
    """The command cannot be done as asked; the message is one line."""


def refuse(text: str, status: int) -> int:
    """Say on standard error, on one line, why a command ends as it does; gives ``status`` back."""
    print("pullbook: " + " ".join(text.splitlines()), file=sys.stderr)
    return status


def _opened(given: argparse.Namespace, *, needs_logs: bool = True, make: bool = False) -> "tuple[Book, Settings]":
    from pullbook.book import where_logs_go
    from pullbook.config import open_book

    root = Path(given.book)
    if make and not root.exists():  # a shop's first day starts its book
        root.mkdir(parents=True)
    if not root.is_dir():
        raise WrongUse(f"{given.book} is not a folder; --book names the folder that holds logs/")
    book, settings = open_book(root)
    if needs_logs and not book.logs.is_dir() and not book.archive.is_dir():
        raise WrongUse(f"no {settings.logs}/ in {given.book}; {where_logs_go(root, settings.logs)}")
    return book, settings


def _show(given: argparse.Namespace, told: Any, as_text: Callable[[Any], str]) -> None:
    """What a command found, as it was asked for: one JSON object, or text."""
    print(json.dumps(told, ensure_ascii=False, allow_nan=False) if given.json else as_text(told))


def run(given: argparse.Namespace) -> int:
    """`pullbook run`: make everything that is new or changed.

    Raises
    ------
    WrongUse
        There is no day to run, or a name that is none.
    """
    from pullbook.book import all_days
    from pullbook.reading.astray import astray
    from pullbook.running.run import run as make
    from pullbook.running.say import as_json, as_text

    book, settings = _opened(given)
    only = [engine_day(book, name) for name in given.only] or None
    if only is None and not book.archive.is_dir() and not all_days(book):
        raise WrongUse("; ".join([f"no day to run: put logs in {settings.logs}/<engine>/<YYYY-MM-DD>/", *astray(book)[:3]]))
    outcome = make(book, settings, only, quiet=given.json, profile=profile_folder(given.profile))
    outcome.notices += outcome.astray
    _show(given, as_json(book, outcome), lambda _: as_text(book, outcome))
    if outcome.unwritable:
        refuse(outcome.unwritable, IN_PART)
    return outcome.status


def engine_day(book: "Book", name: str) -> tuple[str, str | None]:
    """ENGINE or ENGINE/DAY as the operator typed it, or as a shell completes it: behind the folder of the logs.

    Raises
    ------
    WrongUse
        There is no such folder.
    """
    from pullbook.book import days, engines

    known, typed = engines(book), name.rstrip("/")
    engine, _, day = (typed if typed.split("/")[0] in known else typed.removeprefix(f"{book.logs.name}/")).partition("/")
    if engine not in known:
        raise WrongUse(f"no engine {engine!r}; the book has {', '.join(known) or 'none'}")
    if day and day not in days(book, engine)[0]:
        raise WrongUse(f"no day {day!r} of {engine!r}; it has {', '.join(days(book, engine)[0]) or 'none'}")
    return engine, day or None


def profile_folder(name: str | None) -> Path | None:
    """The folder of a workflow profile, ours by name or the shop's own by path.

    Raises
    ------
    WrongUse
        There is no such profile.
    """
    from pullbook.place import carried

    if name is None:
        return None
    ours = carried("workflow") / "profiles"
    for folder in (ours / name, Path(name).resolve()):
        if any(folder.glob("*.yaml")):
            return folder
    raise WrongUse(
        f"no profile {name!r}; there are {', '.join(sorted(p.name for p in ours.iterdir()))} in {ours}, or give a folder"
    )


def check(given: argparse.Namespace) -> int:
    """`pullbook check`: show how each log was understood.

    Raises
    ------
    WrongUse
        Nothing lies where a path points, or nothing that can be checked.
    """
    from pullbook.reading import check as looked
    from pullbook.reading.check import as_text, meant

    book, _ = _opened(given, needs_logs=not given.paths)
    try:
        paths = [meant(Path(p), book) for p in given.paths]
    except ValueError as wrong:
        raise WrongUse(str(wrong)) from None
    found = looked.check(book, paths)
    _show(given, found, as_text)
    failed = any(f["error"] for f in found["files"]) or any(d["errors"] for d in found["days"])
    return IN_PART if failed else DONE


def new(given: argparse.Namespace) -> int:
    """`pullbook new`: make a day folder with a pull sheet ready to fill.

    Raises
    ------
    WrongUse
        A name that cannot be a folder, or something is in its way.
    """
    from datetime import datetime

    from pullbook.running.new_sheet import new_day

    book, _ = _opened(given, needs_logs=False, make=True)
    # The shop's own date, whatever its time zone: the day folder is named as the operator's calendar says.
    day = given.day or datetime.now().astimezone().date().isoformat()
    try:
        made = new_day(book, given.engine, day, given.pulls, typed=given.book)
    except (ValueError, FileExistsError) as refused:
        raise WrongUse(str(refused)) from refused
    _show(given, {"engine": given.engine, "day": day, **made}, lambda told: "\n".join(told["said"]))
    return DONE


def watch(given: argparse.Namespace) -> int:
    """`pullbook watch`: rerun when new files arrive and have stopped growing."""
    from pullbook.running.watch import watch as keep_watching

    book, settings = _opened(given, needs_logs=False)
    return keep_watching(book, settings, as_json=given.json)


def history(given: argparse.Namespace) -> int:
    """`pullbook history`: print an engine's tune history.

    Raises
    ------
    WrongUse
        The archive has no day of that engine.
    """
    from pullbook.archive.history import as_text
    from pullbook.archive.history import history as told_of
    from pullbook.archive.store import Store
    from pullbook.book import natural

    book, _ = _opened(given)
    store = Store(book.archive)
    told = told_of(store, given.engine)
    if not told["days"]:
        engines = sorted(dict.fromkeys(store.catalog().select("engine").collect()["engine"].to_list()), key=natural)
        has = f"it has {', '.join(engines[:12])}" if engines else "it is empty"
        raise WrongUse(f"the archive has no day of {given.engine!r}; {has}; `pullbook run` puts days there")
    _show(given, told, as_text)
    return DONE


def compare(given: argparse.Namespace) -> int:
    """`pullbook compare`: two days or settings side by side.

    Raises
    ------
    WrongUse
        A side names no day of the archive, or no setting of that day.
    """
    from pullbook.running.compare import compare as side_by_side

    book, _ = _opened(given)
    try:
        told = side_by_side(book, given.a, given.b)
    except LookupError as missing:
        raise WrongUse(str(missing.args[0])) from missing
    _show(given, told["comparison"], lambda _: "\n".join(told["said"]))
    return DONE


def verify(given: argparse.Namespace) -> int:
    """`pullbook verify`: check the archive against its hashes and the logs."""
    from pullbook.archive.found import as_text
    from pullbook.archive.verify import verify as checked

    book, _ = _opened(given)
    told = checked(book)
    _show(given, told, as_text)
    return IN_PART if told["damage"] else DONE
