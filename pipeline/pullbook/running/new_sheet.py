"""A day folder made ready: a pull sheet with a row for every pull found, and commented fact files. Nothing is ever overwritten."""

import csv
import io
import os
import re
import shlex
from pathlib import Path
from typing import Any

from pullbook.book import Book, day_files, is_day_name, printable
from pullbook.columns import ADVANCES
from pullbook.handover import LogReading, Segment
from pullbook.pulls.matching import has_torque
from pullbook.reading.survey import Survey, survey
from pullbook.running.planned_pulls import planned_rows
from pullbook.running.templates import DAY_YAML, ENGINE_YAML
from pullbook.sheets.pull_sheet import OWN_COLUMN
from pullbook.sheets.sheet_copies import settle_copies
from pullbook.sheets.words import PULL_COLUMNS
from pullbook.wording import inert

HEADERS = (*PULL_COLUMNS, OWN_COLUMN)


def new_day(book: Book, engine: str, day: str, pulls: int | None = None, *, typed: str = ".") -> dict[str, Any]:
    """Make the day folder of an engine, with what is not there yet.

    Parameters
    ----------
    book, engine, day
        The book, the engine's name, the day (YYYY-MM-DD, or YYYY-MM-DD-word).
    pulls
        Also propose an order for so many pulls, where no log is there yet.
    typed
        The book's folder as the operator typed it, to be repeated in the next step.

    Returns
    -------
    dict
        ``folder`` and ``written``, ``kept`` (names relative to the book), ``said``: lines for the screen.

    Raises
    ------
    ValueError
        A name that cannot be a folder of the book, or a number of pulls that is none.
    FileExistsError
        Something that is no folder, or that leaves the book, stands where the folder should be.
    OSError
        No room or no right to write; no half of a file is left.
    """
    _refuse_names(engine, day)
    if pulls is not None and not 1 <= pulls <= 200:
        raise ValueError(f"{pulls} pulls: expected 1 to 200")
    folder = book.day_folder(engine, day)
    _make(book, folder)
    made: dict[str, Any] = {"folder": book.shown(folder), "written": [], "kept": [], "said": []}
    found = survey(book, engine, day)
    rows, remarks = _rows(found)
    if not rows and pulls is not None:
        rows, remarks = planned_rows(book, engine, day, pulls, found.facts), []
    elif pulls is not None:
        remarks.append("logs are here already: their pulls are in the sheet, no order is proposed")
    own = settle_copies(day_files(book, engine, day), book.shown).files.sheets
    names = ("pulls.csv", "pulls.xlsx")
    sheet = next((own.get(n, folder / n) for n in names if n in own or (folder / n).exists() or (folder / n).is_symlink()), None)
    if sheet is not None:
        made["kept"].append(book.shown(sheet))
        made["said"] += [f"kept    {book.shown(sheet)} (never overwritten)", *_missing(found)]
    else:
        _write(book, folder / "pulls.csv", sheet_bytes(rows, semicolon=_wants_semicolon(found)), made)
        made["said"] += remarks
    words = {"day": day, "engine": re.sub(r"[^\w .-]", "?", printable(engine)), "date": day[:10]}
    _write(book, folder / "day.yaml", DAY_YAML.format(**words).encode(), made)
    _write(book, book.logs / engine / "engine.yaml", ENGINE_YAML.format(**words).encode(), made)
    made["said"].append(
        f"Fill in {book.shown(sheet or folder / 'pulls.csv')}, one row a pull; copy the logs beside it and write each one's name "
        "in the column `file`."
    )
    place, book_word = ("this folder", "") if typed == "." else (typed, f" --book {shlex.quote(typed)}")
    made["said"].append(f"All of it lies in {place}; then `pullbook run{book_word}`.")
    return made


def _refuse_names(engine: str, day: str) -> None:
    if not engine.strip() or engine in (".", "..") or engine.startswith(".") or re.search(r"[/\\\x00-\x1f]", engine):
        raise ValueError(
            f"{printable(engine)!r} cannot be an engine's folder: expected a plain name without slashes or a leading dot"
        )
    for name in (engine, day):
        if len(os.fsencode(name)) > 255:
            raise ValueError(f"{printable(name)[:40]!r}… is too long for a folder: expected at most 255 bytes")
    if not is_day_name(day) or re.search(r"[/\\\x00-\x1f]", day):
        raise ValueError(f"{printable(day)!r} is no day: expected YYYY-MM-DD, or YYYY-MM-DD-word for a second visit")


def _make(book: Book, folder: Path) -> None:
    standing = next(p for p in (folder, *folder.parents) if p.exists() or p.is_symlink())
    try:
        inside = standing.resolve().is_relative_to(book.root.resolve()) or book.root.resolve().is_relative_to(standing.resolve())
    except RuntimeError:
        inside = False
    if not inside:
        raise FileExistsError(f"{book.shown(standing)} is a link that leaves the book")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as wrong:
        raise FileExistsError(f"{book.shown(standing)} is in the way: it is not a folder") from wrong


def _write(book: Book, path: Path, content: bytes, made: dict[str, Any]) -> None:
    try:
        path.touch(exist_ok=False)
    except FileExistsError:
        made["kept"].append(book.shown(path))
        made["said"].append(f"kept    {book.shown(path)} (never overwritten)")
        return
    try:
        path.write_bytes(content)
    except OSError:  # half a sheet would stand in the way of the next `new`, which overwrites nothing
        path.unlink()
        raise
    made["written"].append(book.shown(path))
    made["said"].append(f"written {book.shown(path)}")


def _rows(found: Survey) -> tuple[list[dict[str, str]], list[str]]:
    """A row for every pull and aborted pull (hold, in a log of holds alone), in the logs' order; what to say of the rest."""
    remarks = []
    rows: list[dict[str, str]] = []
    dated = all(log.started for log in found.logs)
    for log in sorted(found.logs, key=lambda log: log.started or "") if dated else found.logs:
        name = found.names[log.file]
        sweeps = [s for s in log.segments if s.kind in ("pull", "aborted")] or [s for s in log.segments if s.kind == "hold"]
        if log.error is not None:
            remarks.append(f"no row for {name}: it cannot be read ({log.error.found}); see `pullbook check`")
        elif not has_torque(log):
            remarks.append(f"no row for {name}: no torque in it; name it in `logger_file` if it is a second recorder's")
        elif not sweeps:
            remarks.append(f"no row for {name}: no pull was found in it; see `pullbook check`")
        else:
            rows += [_row(log, name, s, str(number) if len(sweeps) > 1 else "") for number, s in enumerate(sweeps, start=1)]
    return rows, remarks


def _row(log: LogReading, name: str, segment: Segment, pull: str) -> dict[str, str]:
    began = log.moment(segment.start_s)
    clock = began.strftime("%H:%M") if began is not None else ""
    return {"file": name, "pull": pull, "time": clock, OWN_COLUMN: _seen(log, segment)}


def _seen(log: LogReading, s: Segment) -> str:
    """What the operator knows a pull by: its kind, span and the advance logged in it."""
    words = [s.kind if s.kind != "pull" else "", f"{s.rpm_min:.0f} to {s.rpm_max:.0f} rpm" if s.rpm_min is not None else ""]
    for channel, says in zip(ADVANCES, ("advance", "commanded"), strict=True):
        if channel in log.samples.columns:
            known = s.settled(log.samples)[channel].drop_nulls()
            if len(known):
                lo, hi = (float(known.quantile(q) or 0.0) for q in (0.05, 0.95))
                words.append(f"{says} {lo:.1f} to {hi:.1f}°" if hi - lo > 0.5 else f"{says} {(lo + hi) / 2:.1f}°")
    return " ".join(w for w in words if w)


def _missing(found: Survey) -> list[str]:
    """Logs that can be read and that the sheet already there does not name, a line each."""
    named = (
        {r.file.casefold() for r in found.sheet.rows} | {(r.logger_file or "").casefold() for r in found.sheet.rows}
        if found.sheet
        else set()
    )
    without = [found.names[log.file] for log in found.logs if found.names[log.file].casefold() not in named and log.error is None]
    return [f"        no row yet for {name}" for name in without]


def _wants_semicolon(found: Survey) -> bool:
    """Whether the shop's spreadsheet writes decimal commas, told by its logs: then cells are parted by semicolons."""
    commas = sum(log.decimal == "," for log in found.logs)
    return commas > sum(log.decimal == "." for log in found.logs)


def sheet_bytes(rows: list[dict[str, str]], *, semicolon: bool) -> bytes:
    """A pull sheet that a spreadsheet opens as a table: UTF-8 with its mark, CRLF, no cell that could be taken for a formula."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=";" if semicolon else ",", lineterminator="\r\n")
    writer.writerow(HEADERS)
    for row in rows:
        writer.writerow([inert(row.get(name, "")) for name in HEADERS])
    return out.getvalue().encode("utf-8-sig", "backslashreplace")
