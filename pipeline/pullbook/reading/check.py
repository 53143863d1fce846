"""How every log, sheet and fact file was understood: the object of ``pullbook check --json`` (contract 6) and the same as text."""

from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pullbook.book import LOG_ENDINGS, SHEET_NAMES, Book, days, engines, is_day_name, is_sheet_copy, on_screen, printable
from pullbook.handover import Fault, LogReading, Segment
from pullbook.questions import fact_of
from pullbook.reading.astray import beside, undated
from pullbook.reading.day import assemble
from pullbook.reading.once import alike
from pullbook.reading.preamble import settled
from pullbook.reading.survey import survey
from pullbook.wording import counted


def check(book: Book, paths: list[Path]) -> dict[str, Any]:
    """Show how logs are understood; nothing is written or changed.

    Parameters
    ----------
    book
        The book whose days are meant where ``paths`` is empty.
    paths
        Logs, sheets, day folders, engine folders, or any folder with logs in it.

    Returns
    -------
    dict
        ``files`` and ``days`` as the contract says.
    """
    files: dict[str, dict[str, Any]] = {}
    told: dict[tuple[str, str], dict[str, Any]] = {}
    asked: dict[tuple[Book, str, str], list[str | None]] = {}
    for place, engine, day, only in _asked(book, paths):
        asked.setdefault((place, engine, day), []).append(only)
    for (place, engine, day), names in asked.items():
        if not is_day_name(day) and place is book:
            told[engine, day] = _day(printable(engine), printable(day), (), (undated(book, engine, day),), ())
            continue
        found = survey(place, engine, day)
        reading = assemble(found, with_logs=False)
        wanted = [log for log in reading.logs if None in names or found.names[log.file] in names]
        answered = settled(found)
        files.update({log.file: _file(log, answered) for log in wanted})
        if None in names or not {found.names[log.file] for log in wanted}.issuperset(names):
            told[engine, day] = _day(printable(engine), printable(day), reading.questions, reading.warnings, reading.errors)
    seen = engines(book) if not paths else dict.fromkeys(engine for place, engine, _ in asked if place is book)
    for engine in (*seen, *([] if paths else [None])):
        told.update(
            {
                (engine or "", name): _day(printable(engine or ""), name, (), (why,), ())
                for name, why in beside(book, engine).items()
            }
        )
    return {"files": list(files.values()), "days": list(told.values())}


def meant(path: Path, book: Book) -> Path:
    """A path as given, else as ``check`` itself writes it, relative to the book, else ``ENGINE/DAY`` as ``run`` takes it.

    Raises
    ------
    ValueError
        Nothing lies there, or a file that is neither log nor sheet nor fact file.
    """
    found = next((p for p in (path, book.root / path, book.logs / path) if p.exists() or p.is_symlink()), None)
    if found is None:
        raise ValueError(f"no file or folder {path}; expected a path, or ENGINE/DAY as it stands under {book.logs}")
    known = found.suffix.lower() in LOG_ENDINGS or found.name in (*SHEET_NAMES, "engine.yaml") or is_sheet_copy(found.name)
    if found.is_file() and not known:
        raise ValueError(f"{path} is no log, sheet or fact file: nothing to check")
    return found


def _asked(book: Book, paths: list[Path]) -> Iterable[tuple[Book, str, str, str | None]]:
    """(book, engine, day, the one file asked for) of everything ``paths`` names."""
    if not paths:
        for engine in engines(book):
            yield from _engine(book, engine)
    for path in paths:
        full = path.absolute()
        folder, only = (full, None) if path.is_dir() else (full.parent, printable(full.name))
        try:
            parts = folder.resolve().relative_to(book.logs.resolve()).parts
        except (ValueError, OSError, RuntimeError):
            parts = ("elsewhere",) * 3
        if len(parts) == 2:
            yield book, parts[0], parts[1], only
        elif len(parts) == 1 and only in (None, "engine.yaml"):
            for place, engine, day, _ in _engine(book, parts[0]):
                yield place, engine, day, only
        elif folder.resolve() in (book.root.resolve(), book.logs.resolve()) and only is None:
            for engine in engines(book):
                yield from _engine(book, engine)
        else:
            yield _elsewhere(folder), folder.parent.name, folder.name, only


def _engine(book: Book, engine: str) -> Iterable[tuple[Book, str, str, str | None]]:
    dated, undated = days(book, engine)
    for day in (*dated, *undated):
        yield book, engine, day, None


def _elsewhere(folder: Path) -> Book:
    """A folder outside the book, looked at as if it were a day's; names are shown in full, links out of it are not followed."""
    root = folder.parent.parent if is_day_name(folder.name) else folder
    return Book(root.resolve() if root == folder else root, folder.parent.parent, root, root, root)


def _day(engine: str, day: str, questions: Iterable[str], warnings: Iterable[str], errors: Iterable[Fault]) -> dict[str, Any]:
    return {
        "engine": engine, "day": day, "questions": list(questions), "warnings": list(warnings),
        "errors": [asdict(fault) for fault in errors],
    }  # fmt: skip


def _file(log: LogReading, answered: set[str]) -> dict[str, Any]:
    error = None
    if log.error is not None:
        error = {k: v for k, v in asdict(log.error).items() if k != "file"}
    return {
        "file": log.file, "encoding": log.encoding, "delimiter": log.delimiter, "decimal": log.decimal,
        "header_line": log.header_line, "rows": log.rows, "rows_dropped": log.rows_dropped,
        "columns": [asdict(column) for column in log.columns], "segments": [_segment(s) for s in log.segments],
        "questions": [q for q in log.questions if fact_of(q) not in answered], "warnings": list(log.warnings), "error": error,
    }  # fmt: skip


def _segment(s: Segment) -> dict[str, Any]:
    clock = None if s.clock is None else asdict(s.clock)
    return {
        "segment": s.segment, "kind": s.kind, "start_s": s.start_s, "end_s": s.end_s, "rpm_min": s.rpm_min, "rpm_max": s.rpm_max,
        "rows": s.rows, "clock": clock,
    }  # fmt: skip


def as_text(found: dict[str, Any]) -> str:
    """The same for a terminal: every decision in words, marks that could steer a terminal taken out."""
    asked_before: dict[str, str] = {}
    blocks = [_file_text(file, asked_before) for file in found["files"]]
    blocks += [_day_text(day) for day in found["days"] if day["questions"] or day["warnings"] or day["errors"]]
    faulty = sum(1 for f in found["files"] if f["error"]) + sum(len(d["errors"]) for d in found["days"])
    asked = len(asked_before) + sum(len(d["questions"]) for d in found["days"])  # one question, however many logs ask it
    ended = f"{counted(faulty, 'error')}, {counted(asked, 'question')} about reading them"  # the day's own questions: its report
    blocks.append(f"{counted(len(found['files']), 'log')} looked at, {ended}.")
    return "\n\n".join(blocks)


def _file_text(file: dict[str, Any], asked_before: dict[str, str]) -> str:
    """``asked_before``: what earlier logs asked, numbers and file names apart, and the first that did; this log's are put in."""
    lines = [on_screen(file["file"])]
    if file["error"]:
        e = file["error"]
        place = (f"line {e['line']}: " if e["line"] else "") + (f"column {on_screen(e['column'])}: " if e["column"] else "")
        lines.append(
            f"  error     {place}found {on_screen(e['found'])}; expected {on_screen(e['expected'])}; {on_screen(e['remedy'])}"
        )
        return "\n".join([*lines, *_remarks(file, asked_before)])
    marks = {"\t": "tab", " ": "space", ",": "comma", ";": "semicolon"}
    form = [
        file["encoding"] or "unknown encoding",
        f"delimiter {marks.get(file['delimiter'], file['delimiter'])}" if file["delimiter"] else "no delimiter",
        f"decimal {marks.get(file['decimal'], 'point')}" if file["decimal"] else "no decimals",
        f"header on line {file['header_line']}" if file["header_line"] else "no header",
        counted(file["rows"], "row") + (f", {file['rows_dropped']} dropped" if file["rows_dropped"] else ""),
    ]
    lines.append("  read as   " + " · ".join(on_screen(f) for f in form))
    width = min(max((len(on_screen(c["header"])) for c in file["columns"]), default=0), 40)
    for n, c in enumerate(file["columns"]):
        unit = f"{c['unit']} ({(c['unit_from'] or 'unknown').replace('_', ' ')})" if c["unit"] else "no unit"
        also = [f"corrected: {c['corrected']}"] if c["corrected"] else []
        also += [f"{100 * c['share_missing']:.0f} % blank"] if c["share_missing"] >= 0.005 else []
        told = f"{c['channel'] or 'not used'}, {unit}" if c["channel"] else "not used"
        lines.append(
            f"  {'columns ' if n == 0 else '        '}  {on_screen(c['header']):<{width}}  {on_screen(', '.join([told, *also]))}"
        )
    for n, s in enumerate(file["segments"]):
        when = f"{s['start_s']:.2f} to {s['end_s']:.2f} s" if s["start_s"] is not None and s["end_s"] is not None else "no clock"
        speed = f"{s['rpm_min']:.0f} to {s['rpm_max']:.0f} rpm" if s["rpm_min"] is not None else "no speed"
        clock = ""
        if (k := s["clock"]) is not None:
            left = f"rate {k['rate']:.5f}, {k['residual_rpm']:.1f} rpm left"
            clock = f"; with {on_screen(k['other_file'])}: {k['offset_s']:+.3f} s, {left}"
        head = "segments" if n == 0 else "        "
        lines.append(
            f"  {head}  {s['segment']:>2} {s['kind'].replace('_', ' '):<10}  {when}, {speed}, {counted(s['rows'], 'row')}{clock}"
        )
    return "\n".join([*lines, *_remarks(file, asked_before)])


def _day_text(day: dict[str, Any]) -> str:
    lines = [on_screen(" / ".join(filter(None, (day["engine"], day["day"]))))]
    lines += ["  error     " + on_screen(Fault(**e).sentence()) for e in day["errors"]]
    return "\n".join([*lines, *_remarks(day)])


def _remarks(told: dict[str, Any], asked_before: dict[str, str] | None = None) -> list[str]:
    """Warnings and questions; what an earlier log asked in the same words is only pointed at, or eight logs fill three screens."""
    new: list[str] = []
    again: dict[str, int] = {}
    for q in told["questions"]:
        name = told["file"].rsplit("/", 1)[-1] if asked_before is not None else ""
        first = asked_before.setdefault(alike(q, name), name) if asked_before is not None else name
        if first == name:
            new.append(q)
        else:
            again[first] = again.get(first, 0) + 1
    lines = [f"  warning   {on_screen(w)}" for w in told["warnings"]] + [f"  question  {on_screen(q)}" for q in new]
    return lines + [f"  question  the same {n if n > 1 else 'one'} as of {on_screen(first)}" for first, n in again.items()]
