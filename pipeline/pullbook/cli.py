"""The command line: what may be typed, and how a command ends. What the commands do is in :mod:`pullbook.commands`."""

import argparse
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

from pullbook import __version__, commands


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status (docs/contract.md, section 6)."""
    for stream in (sys.stdout, sys.stderr):  # a name no terminal can show must not stop a report
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    parser = _parser()
    given = parser.parse_args(arguments)
    if given.command is None:
        parser.print_help(sys.stderr)
        return commands.WRONG_USE
    try:
        status: int = given.does(given)
    except commands.WrongUse as wrong:
        return commands.refuse(str(wrong), commands.WRONG_USE)
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output went away, such as `| head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return commands.DONE
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
        return commands.refuse(str(fault), commands.WRONG_USE)
    if isinstance(fault, ArchiveUnwritable):
        return commands.refuse(str(fault), commands.IN_PART)
    if isinstance(fault, OSError):
        return commands.refuse(f"{fault.strerror or fault}: {fault.filename or ''}".rstrip(": "), commands.IN_PART)
    log = _keep_traceback(Path(given.book))
    return commands.refuse(
        f"a fault of pullbook's own: {type(fault).__name__}: {fault}; the traceback is in {log}", commands.OUR_FAULT
    )


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


def _whole_number(typed: str) -> int:
    try:
        return int(typed)
    except ValueError as wrong:
        raise argparse.ArgumentTypeError(f"{typed!r} is no whole number") from wrong


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
    listed = parser.add_subparsers(dest="command", metavar="COMMAND")

    def command(name: str, does: Callable[[argparse.Namespace], int], says: str, example: str) -> argparse.ArgumentParser:
        made = listed.add_parser(
            name,
            parents=[common],
            help=says,
            description=says[0].upper() + says[1:] + ".",
            epilog=f"Example: {example}",
        )
        made.set_defaults(does=does)
        return made

    made = command("run", commands.run, "make everything that is new or changed", "pullbook run --book my-shop")
    made.add_argument("only", nargs="*", metavar="ENGINE[/DAY]", help="only these engines or days")
    made.add_argument("--profile", metavar="NAME", help="where jobs run: slurm, any-submit-command, or a folder of your own")
    made = command("check", commands.check, "show how each log was understood; changes nothing", "pullbook check --book my-shop")
    made.add_argument("paths", nargs="*", metavar="PATH", help="logs or folders (default: all logs of the book)")
    made = command(
        "new", commands.new, "make a day folder with a pull sheet ready to fill", "pullbook new 'blue eight' 2031-04-05 --pulls 10"
    )
    made.add_argument("engine", metavar="ENGINE")
    made.add_argument("day", nargs="?", metavar="DAY", help="YYYY-MM-DD or YYYY-MM-DD-word (default: today)")
    made.add_argument("--pulls", type=_whole_number, metavar="N", help="also propose an order for N pulls")
    command("watch", commands.watch, "rerun when new files arrive and have stopped growing", "pullbook watch --book my-shop")
    made = command("history", commands.history, "print an engine's tune history", "pullbook history 'blue eight'")
    made.add_argument("engine", metavar="ENGINE")
    made = command(
        "compare",
        commands.compare,
        "put two days or settings side by side, and say what may not be compared",
        "pullbook compare 'blue eight/2031-04-05:34' 'blue eight/2031-10-11:34'",
    )
    made.add_argument("a", metavar="ENGINE/DAY[:SETTING]")
    made.add_argument("b", metavar="ENGINE/DAY[:SETTING]")
    command("verify", commands.verify, "check the archive against its hashes and the logs", "pullbook verify --book my-shop")
    return parser
