"""A day folder looked through: facts, sheets and logs read, each log cut into segments, everything that cannot be used named."""

import hashlib
import re
import stat
from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pullbook.book import LOG_ENDINGS, SHEET_NAMES, Book, DayFiles, day_files, printable
from pullbook.handover import Fault, LogReading
from pullbook.pulls.part_load import without_part_load, without_part_load_sweeps
from pullbook.pulls.segments import day_load, day_top, find_segments, mark_aborted
from pullbook.reading.gaps import with_gaps_named
from pullbook.reading.limits import first_logs, first_pulls, on_a_clock
from pullbook.reading.once import MOST_ALIKE
from pullbook.reading.torque_faults import with_spikes_named
from pullbook.sheets.facts_files import ColumnsRead, FactsRead, read_columns, read_facts
from pullbook.sheets.light_sheet import StrobeSheet, read_strobe
from pullbook.sheets.pull_sheet import PullSheet, pull_sheet_of
from pullbook.sheets.sheet_copies import WithoutCopies, settle_copies


@dataclass(slots=True)
class Survey:
    """What lies in a day folder, each thing as understood by itself. ``names``: file name by ``LogReading.file``;
    ``hashes``: SHA-256 of every input by name. ``faults`` are those of sheets, yaml and entries; a log keeps its own.
    """

    engine: str
    day: str
    facts: FactsRead
    logs: list[LogReading]
    names: dict[str, str]
    hashes: dict[str, str]
    sheet: PullSheet | None
    strobe: StrobeSheet | None
    pictures: tuple[str, ...] = ()
    questions: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


def survey(book: Book, engine: str, day: str) -> Survey:
    """Read everything in a day folder; nothing in it is changed, and one bad file never stops the others."""
    folder = book.day_folder(engine, day)
    faults: list[Fault] = []
    try:
        copies = settle_copies(day_files(book, engine, day), book.shown)
    except OSError as wrong:
        why = (wrong.strerror or "an error").lower()
        faults.append(Fault(book.shown(folder), None, None, why, "a folder that can be listed", "give it back its permissions"))
        copies = WithoutCopies(DayFiles((), (), {}, ()))
    files = copies.files
    engine_yaml = _engine_yaml(book, engine, faults)
    day_yaml = files.sheets.get("day.yaml")
    facts = read_facts(
        (engine_yaml, book.shown(engine_yaml)) if engine_yaml else None, (day_yaml, book.shown(day_yaml)) if day_yaml else None
    )
    columns = ColumnsRead()
    if (path := files.sheets.get("columns.yaml")) is not None:
        columns = read_columns(path, shown=book.shown(path))
    sheet, asked, told = pull_sheet_of(files.sheets, book.shown)
    strobe = read_strobe(path, shown=book.shown(path)) if (path := files.sheets.get("strobe.csv")) is not None else None
    found = Survey(engine, day, facts, [], {}, {}, sheet, strobe, tuple(printable(p.name) for p in files.pictures))
    for path in (*([engine_yaml] if engine_yaml else []), *files.sheets.values()):
        _hash(found, path, "engine.yaml" if path == engine_yaml else printable(path.name))
    _logs(book, files, columns, found)
    found.faults += [*faults, *facts.faults, *columns.faults, *(sheet.faults if sheet else ()), *(strobe.faults if strobe else ())]
    found.questions += [*facts.questions, *(sheet.questions if sheet else ())]
    if strobe is None or strobe.readings.is_empty():
        found.questions += sheet.unlit if sheet else ()
    found.warnings += [*(sheet.warnings if sheet else ()), *(strobe.warnings if strobe else ())]
    found.questions += [text for text in (asked, copies.question) if text]
    found.warnings += [text for text in (told, copies.warning) if text]
    idle = columns.unmatched([printable(p.name) for p in files.logs])
    found.warnings += [f"columns.yaml: {pattern!r} fits no log of this day" for pattern in idle[:MOST_ALIKE]]
    if len(idle) > MOST_ALIKE:
        found.warnings.append(f"columns.yaml: {len(idle) - MOST_ALIKE} patterns more fit no log of this day")
    _refused(book, folder, files, found)
    if not found.logs and not found.faults:
        found.warnings.append(f"{book.shown(folder)}: no log lies in it yet")
    return found


def _engine_yaml(book: Book, engine: str, faults: list[Fault]) -> Path | None:
    """engine.yaml where it is a regular file that lies in the book; anything else of that name is a fault."""
    if (own := book.engine_yaml(engine)) is not None:
        return own
    path = book.logs / engine / "engine.yaml"
    if not path.exists() and not path.is_symlink():
        if (near := path.with_suffix(".yml")).exists():
            faults.append(Fault(book.shown(near), None, None, "a name that is not read", "engine.yaml", "rename it to engine.yaml"))
        return None
    try:
        inside = path.resolve(strict=True).is_relative_to(book.root.resolve())
    except (OSError, RuntimeError):
        inside = False
    what = "something that is no regular file" if inside else "a link that leaves the book or leads nowhere"
    faults.append(Fault(book.shown(path), None, None, what, "a plain file", "put a plain file in its place, or take it away"))
    return None


def _hash(found: Survey, path: Path, name: str) -> None:
    try:
        with path.open("rb") as file:
            found.hashes[name] = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        found.hashes[name] = ""


def _logs(book: Book, files: DayFiles, columns: ColumnsRead, found: Survey) -> None:
    from pullbook.reading.log import read_log

    shown_day = book.shown(book.day_folder(found.engine, found.day))
    paths, found.faults = first_logs(files.logs, shown_day)
    for path in paths:
        name, shown = printable(path.name), book.shown(path)
        hints: dict[str, dict[str, Any]] | None = columns.hints_for(name) or None
        log = read_log(
            path, shown=shown, hints=hints, displacement_l=found.facts.engine.displacement_l,
            advance_scale=found.facts.engine.ignition.advance_scale,
        )  # fmt: skip
        if log.error is not None and path.suffix.lower() == ".txt" and _is_note(path):
            found.warnings.append(f"{shown} is a note without a table of numbers: kept, not read as a log")
            continue
        found.names[shown] = name
        _hash(found, path, name)
        found.logs.append(on_a_clock(log))
    trusted = [log for log in found.logs if log.unusable is None] or found.logs
    load = day_load(log.samples for log in trusted if not _unit_assumed(log))
    cut = [
        without_part_load_sweeps(
            replace(log, segments=find_segments(log.samples, full_load_nm=None if _unit_assumed(log) else load))
        )
        for log in found.logs
    ]
    found.logs, faults = first_pulls(cut, shown_day)
    found.faults += faults
    top = day_top(log.segments for log in found.logs if log.unusable is None)
    marked = [replace(log, segments=mark_aborted(log.segments, top if log.unusable is None else None)) for log in found.logs]
    found.logs = [_named(with_gaps_named(with_spikes_named(log))) for log in without_part_load(marked)]


def _unit_assumed(log: LogReading) -> bool:
    """Whether nothing says the unit of a log's torque: its figures may be a tenth of other logs' and tell its own load."""
    return any(c.channel == "torque_nm" and c.unit_from == "assumed" for c in log.columns)


def _named(log: LogReading) -> LogReading:
    """``log`` with a warning where it holds nothing that can be used."""
    if log.error is not None or any(s.kind in ("pull", "aborted", "hold") for s in log.segments):
        return log
    spans = [s.rpm_max - s.rpm_min for s in log.segments if s.rpm_max is not None and s.rpm_min is not None]
    text = (
        "no pull was found: no sweep at full load over 600 rpm and 1.5 s or more, no speed held at full load for 2 s "
        f"(the widest stretch spans {max(spans, default=0.0):.0f} rpm)"
    )
    return replace(log, warnings=(*log.warnings, text))


def _is_note(path: Path, most: int = 400_000) -> bool:
    """Whether a text file holds words rather than a table: fewer than three lines with two or more numbers in a row."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return False
        with path.open("rb") as file:
            head = file.read(most)
    except OSError:
        return False
    if not head.strip() or (b"\x00" in head and not head.startswith((b"\xff\xfe", b"\xfe\xff"))):
        return False
    numbers = re.compile(r"(^|[\s;,|\t])[-+]?\d+([.,]\d+)?[\s]*[;,|\t ]+[\s]*[-+]?\d+([.,]\d+)?([\s;,|\t]|$)")
    codec = "utf-16" if head.startswith((b"\xff\xfe", b"\xfe\xff")) else "latin-1"
    return sum(1 for line in head.decode(codec, errors="replace").splitlines() if numbers.search(line)) < 3


def _meant(name: str) -> str:
    """What a file may have been meant as, where its name nearly is one that is read."""
    stem, _, ending = name.lower().rpartition(".")
    if ending == "yml" and f"{stem}.yaml" in (*SHEET_NAMES, "engine.yaml"):
        return f". Is it meant as {stem}.yaml?"
    if ending in ("xls", "ods", "xlsx", "numbers") and stem in ("pulls", "strobe"):
        return f". Save it as {stem}.csv{' or pulls.xlsx' if stem == 'pulls' else ''}"
    return ""


def _refused(book: Book, folder: Path, files: DayFiles, found: Survey) -> None:
    """Name every entry that is not followed, once: one that poses as a log or a sheet could not be read and is a fault."""
    said = Counter(why for _, why in files.refused)
    for why, times in said.items():
        if times > MOST_ALIKE:
            found.warnings.append(f"{book.shown(folder)}: {times - MOST_ALIKE} entries more are {why}: not read")
    said.clear()
    for name, why in files.refused:
        said[why] += 1
        if said[why] > MOST_ALIKE:
            continue
        shown = book.shown(folder / name)
        if name.lower().endswith(LOG_ENDINGS) or name.lower() in SHEET_NAMES:
            remedy = "put a plain file in its place, or take it away"
            found.faults.append(Fault(shown, None, None, why, "a regular file in the day folder", remedy))
        else:
            found.warnings.append(f"{shown} is {why}: not read{_meant(name)}")
