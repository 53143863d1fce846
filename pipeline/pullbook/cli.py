"""The command line: thin. Each command imports its room only when it runs, because start-up is what a person waits for."""

import argparse
import json
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from pullbook import __version__

DONE, IN_PART, WRONG_USE, OUR_FAULT = 0, 1, 2, 3


class WrongUse(Exception):
    """The command cannot be done as asked; the message is one line."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status (docs/contract.md, section 6)."""
    for stream in (sys.stdout, sys.stderr):  # a name no terminal can show must not stop a report
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    parser = _parser()
    given = parser.parse_args(arguments)
    if given.command is None:
        parser.print_help(sys.stderr)
        return WRONG_USE
    try:
        status: int = given.does(given)
    except WrongUse as wrong:
        return _refused(str(wrong), WRONG_USE)
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output went away, such as `| head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as fault:
        return _explain(fault, given)
    return status


def _explain(fault: Exception, given: argparse.Namespace) -> int:
    """One line on screen; for a fault of our own the traceback goes to a log file."""
    from pullbook.archive.disk import ArchiveUnwritable
    from pullbook.archive.lock import BookHeld
    from pullbook.config import ConfigError
    from pullbook.running.stop import Stopped

    if isinstance(fault, Stopped):
        return fault.status
    if isinstance(fault, BookHeld | ConfigError):
        return _refused(str(fault), WRONG_USE)
    if isinstance(fault, ArchiveUnwritable):
        return _refused(str(fault), IN_PART)
    if isinstance(fault, OSError):
        return _refused(f"{fault.strerror or fault}: {fault.filename or ''}".rstrip(": "), IN_PART)
    log = _keep_traceback(Path(given.book))
    return _refused(f"a fault of pullbook's own: {type(fault).__name__}: {fault}; the traceback is in {log}", OUR_FAULT)


def _refused(text: str, status: int) -> int:
    print("pullbook: " + " ".join(text.splitlines()), file=sys.stderr)
    return status


def _keep_traceback(book: Path) -> str:
    import tempfile

    for folder in (book / ".pullbook" / "faults", Path(tempfile.gettempdir())):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            log = folder / "pullbook-fault.log"
            log.write_text(traceback.format_exc(), encoding="utf-8", errors="backslashreplace")
        except OSError:
            continue
        return str(log)
    return "no file: there was nowhere to write one"


def _parser() -> argparse.ArgumentParser:
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--book", default=".", metavar="DIR", help="the book's folder (default: this one)")
    common.add_argument("--json", action="store_true", help="one JSON object on standard output, as docs/json.md describes")
    parser = argparse.ArgumentParser(
        prog="pullbook",
        description="From a folder of dyno logs to the advance curve an engine wants, with intervals, and what to run next.",
        epilog="Example: pullbook run --book my-shop",
    )
    parser.add_argument("--version", action="version", version=f"pullbook {__version__}")
    parser.set_defaults(command=None, book=".")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")

    def command(name: str, does: Callable[[argparse.Namespace], int], says: str, example: str) -> argparse.ArgumentParser:
        made = commands.add_parser(
            name,
            parents=[common],
            help=says,
            description=says[0].upper() + says[1:] + ".",
            epilog=f"Example: {example}",
        )
        made.set_defaults(does=does)
        return made

    made = command("run", _run, "make everything that is new or changed", "pullbook run --book my-shop")
    made.add_argument("only", nargs="*", metavar="ENGINE[/DAY]", help="only these engines or days")
    made.add_argument("--profile", metavar="NAME", help="where jobs run: slurm, any-submit-command, or a folder of your own")
    made = command("check", _check, "show how each log was understood; changes nothing", "pullbook check --book my-shop")
    made.add_argument("paths", nargs="*", metavar="PATH", help="logs or folders (default: all logs of the book)")
    made = command(
        "new", _new, "make a day folder with a pull sheet ready to fill", "pullbook new 'blue eight' 2031-04-05 --pulls 10"
    )
    made.add_argument("engine", metavar="ENGINE")
    made.add_argument("day", nargs="?", metavar="DAY", help="YYYY-MM-DD or YYYY-MM-DD-word (default: today)")
    made.add_argument("--pulls", type=int, metavar="N", help="also propose an order for N pulls")
    command("watch", _watch, "rerun when new files arrive and have stopped growing", "pullbook watch --book my-shop")
    made = command("history", _history, "print an engine's tune history", "pullbook history 'blue eight'")
    made.add_argument("engine", metavar="ENGINE")
    made = command(
        "compare",
        _compare,
        "put two days or settings side by side, and say what may not be compared",
        "pullbook compare 'blue eight/2031-04-05:34' 'blue eight/2031-10-11:34'",
    )
    made.add_argument("a", metavar="ENGINE/DAY[:SETTING]")
    made.add_argument("b", metavar="ENGINE/DAY[:SETTING]")
    command("verify", _verify, "check the archive against its hashes and the logs", "pullbook verify --book my-shop")
    return parser


def _opened(given: argparse.Namespace, *, needs_logs: bool = True, make: bool = False) -> tuple[Any, Any]:
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


def _print_json(value: Any) -> None:
    print(json.dumps(value, ensure_ascii=False, allow_nan=False))


def _run(given: argparse.Namespace) -> int:
    from pullbook.book import all_days
    from pullbook.reading.astray import astray
    from pullbook.running.run import run
    from pullbook.running.say import as_json, as_text

    book, settings = _opened(given)
    only = [_engine_day(book, name) for name in given.only] or None
    if only is None and not book.archive.is_dir() and not all_days(book):
        raise WrongUse("; ".join([f"no day to run: put logs in {settings.logs}/<engine>/<YYYY-MM-DD>/", *astray(book)[:3]]))
    outcome = run(book, settings, only, quiet=given.json, profile=_profile(given.profile))
    outcome.notices += outcome.astray
    if given.json:
        _print_json(as_json(book, outcome))
    else:
        print(as_text(book, outcome))
    if outcome.unwritable:
        _refused(outcome.unwritable, IN_PART)
    return outcome.status


def _engine_day(book: Any, name: str) -> tuple[str, str | None]:
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


def _profile(name: str | None) -> Path | None:
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
    raise WrongUse(f"no profile {name!r}; there are {', '.join(sorted(p.name for p in ours.iterdir()))}, or give a folder")


def _check(given: argparse.Namespace) -> int:
    from pullbook.reading.check import as_text, check, meant

    book, _ = _opened(given, needs_logs=not given.paths)
    try:
        paths = [meant(Path(p), book) for p in given.paths]
    except ValueError as wrong:
        raise WrongUse(str(wrong)) from None
    found = check(book, paths)
    if given.json:
        _print_json(found)
    else:
        print(as_text(found))
    failed = any(f["error"] for f in found["files"]) or any(d["errors"] for d in found["days"])
    return IN_PART if failed else DONE


def _new(given: argparse.Namespace) -> int:
    from datetime import datetime

    from pullbook.running.new_sheet import new_day

    book, _ = _opened(given, needs_logs=False, make=True)
    # The shop's own date, whatever its time zone: the day folder is named as the operator's calendar says.
    day = given.day or datetime.now().astimezone().date().isoformat()
    try:
        made = new_day(book, given.engine, day, given.pulls, typed=given.book)
    except (ValueError, FileExistsError) as refused:
        raise WrongUse(str(refused)) from refused
    if given.json:
        _print_json({"engine": given.engine, "day": day, **made})
    else:
        for line in made["said"]:
            print(line)
    return DONE


def _watch(given: argparse.Namespace) -> int:
    from pullbook.running.watch import watch

    book, settings = _opened(given, needs_logs=False)
    return watch(book, settings, as_json=given.json)


def _history(given: argparse.Namespace) -> int:
    from pullbook.archive.history import as_text, history
    from pullbook.archive.store import Store

    book, _ = _opened(given)
    told = history(Store(book.archive), given.engine)
    if not told["days"]:
        raise WrongUse(f"the archive has no day of {given.engine!r}; `pullbook run` puts days there")
    if given.json:
        _print_json(told)
    else:
        print(as_text(told))
    return DONE


def _compare(given: argparse.Namespace) -> int:
    from pullbook.running.compare import compare

    book, _ = _opened(given)
    try:
        told = compare(book, given.a, given.b)
    except LookupError as missing:
        raise WrongUse(str(missing.args[0])) from missing
    if given.json:
        _print_json(told["comparison"])
    else:
        print("\n".join(told["said"]))
    return DONE


def _verify(given: argparse.Namespace) -> int:
    from pullbook.archive.found import as_text
    from pullbook.archive.verify import verify

    book, _ = _opened(given)
    told = verify(book)
    if given.json:
        _print_json(told)
    else:
        print(as_text(told))
    return IN_PART if told["damage"] else DONE


if __name__ == "__main__":
    sys.exit(main())
