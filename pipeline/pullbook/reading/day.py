"""Everything a day folder says, as one record: pulls in the order run, their samples, facts, light readings, open questions."""

import hashlib
from typing import Any

import polars as pl

from pullbook.air import vapour_pressure_kpa
from pullbook.book import Book
from pullbook.columns import FOUND_PULLS, STROBE, conform
from pullbook.facts import Air, DayFacts
from pullbook.handover import Clock, DayReading, LogReading
from pullbook.pulls.grouping import mark_baseline, name_settings
from pullbook.pulls.labels import label_key, with_lost_dash
from pullbook.pulls.matching import Match, Matched, has_torque, match, unrowed
from pullbook.pulls.order import in_order
from pullbook.pulls.pull_samples import coast_downs_of, merge_recorders, samples_of
from pullbook.pulls.recorded_twice import recorded_twice
from pullbook.pulls.second_recorder import pair_unnamed
from pullbook.questions import ADVANCE, Question, fact_of
from pullbook.reading.once import alike, once, once_faults
from pullbook.reading.preamble import contradictions, settled
from pullbook.reading.survey import Survey, survey
from pullbook.wording import few

_AS_WRITTEN = ("initial_deg", "total_deg", "time", "pressure_kpa", "temperature_c", "humidity_pct", "oil_c", "coolant_c",
               "exclude", "notes")  # fmt: skip


def read_day(book: Book, engine: str, day: str) -> DayReading:
    """Read a day folder.

    Parameters
    ----------
    book, engine, day
        The book and the names of the engine's and the day's folders.

    Returns
    -------
    DayReading
        With no usable log the tables are empty and ``errors`` say why. Nothing in the folder is changed.
    """
    return assemble(survey(book, engine, day))


def assemble(found: Survey, *, with_logs: bool = True) -> DayReading:
    """The day's record from what was found in its folder; ``with_logs``: the logs' own questions, warnings and errors too."""
    matched = match(found.logs, found.names, found.sheet)
    questions, warnings = list(found.questions) + matched.questions, list(found.warnings) + matched.warnings
    questions += pair_unnamed(matched, found.names)
    _doubts(found, matched, questions)
    copies = [m for m in matched.pulls if m.copy_of is not None]
    run = [m for m in matched.pulls if m.copy_of is None]
    if found.sheet is not None and found.sheet.rows and (without := unrowed(run)):
        questions.append(f"{few(without)}: no row in the pull sheet. What was set?")
    pulls, asked = in_order(run, sheet=found.sheet is not None)
    pulls += copies  # nobody ran them: they have no place in the order
    questions += asked
    merged = merge_recorders(pulls)
    questions += merged.questions
    warnings += merged.warnings
    asked, told = name_settings(pulls)
    questions += asked
    warnings += told
    baseline, asked = mark_baseline(pulls)
    questions += asked
    ids = {id(m): f"p{order:02d}-{found.hashes.get(m.name, '')[:6] or 'unread'}" for order, m in enumerate(pulls, start=1)}
    logs = tuple(merged.with_clock(log) for log in found.logs)
    records = [
        _record(m, ids[id(m)], order, baseline, found.facts.day, merged.clock_of(m)) for order, m in enumerate(pulls, start=1)
    ]
    told_elsewhere = _advance_known(pulls)
    log_questions, log_warnings = (_by_file(found, w, told_elsewhere) if with_logs else [] for w in ("questions", "warnings"))
    log_errors = [log.error for log in found.logs if log.error is not None and with_logs]
    return DayReading(
        engine=found.engine, day=found.day, engine_facts=found.facts.engine, facts=found.facts.day, logs=logs,
        pulls=conform(pl.DataFrame(records, schema=FOUND_PULLS), FOUND_PULLS),
        samples=samples_of(pulls, ids), coast_downs=coast_downs_of(pulls, ids), strobe=_strobe(found, pulls, questions),
        pictures=found.pictures, questions=tuple(dict.fromkeys([*once(questions), *contradictions(found), *log_questions])),
        warnings=tuple(dict.fromkeys([*warnings, *log_warnings])),
        errors=(*once_faults(found.faults), *log_errors), seed=_seed(found),
    )  # fmt: skip


def _doubts(found: Survey, matched: Matched, questions: list[str]) -> None:
    """Mark pulls that nothing may be estimated from, and say so once a log."""
    first_with: dict[str, str] = {}
    by_place = {(m.name, m.segment.segment): m for m in matched.pulls}
    for m in matched.pulls:
        content = found.hashes.get(m.name, "")
        original = first_with.setdefault(content, m.name) if content else m.name
        if m.log.unusable is not None:
            m.doubt = m.log.unusable
        elif original != m.name:
            m.copy_of = by_place[original, m.segment.segment]
            m.doubt = f"the same log as {original}, byte for byte"
            questions.append(f"{m.name} is the same as {original}, byte for byte: counted once. Was another log meant?")
        elif not has_torque(m.log) and (m.other is None or not has_torque(m.other)):
            m.doubt = "no torque and no power in this log"
    told = [m for m in matched.pulls if m.doubt is None]
    twice = recorded_twice(told)
    pairs: dict[str, list[str]] = {}
    for m in told:
        if (first := twice.get(id(m))) is not None:
            m.copy_of, m.doubt = first, f"the same recording as {first.name}"
            pairs.setdefault(m.name, []).append(first.name)
    if pairs:
        text = "; ".join(f"{name} holds what {few(list(dict.fromkeys(of)))} holds" for name, of in list(pairs.items())[:6])
        more = f" (and {len(pairs) - 6} more)" if len(pairs) > 6 else ""
        questions.append(f"{text}, row for row{more}: counted once. Were these one pull? Else export the other log again.")
    for m in matched.pulls:
        if m.copy_of is not None and m.row is None:
            m.row = m.copy_of.row


def _record(m: Match, pull_id: str, order: int, baseline: str | None, facts: DayFacts, clock: Clock | None) -> dict[str, Any]:
    """One row of FOUND_PULLS."""
    row = m.row
    values: dict[str, Any] = {name: getattr(row, name) if row is not None else None for name in _AS_WRITTEN}
    if m.segment.kind == "hold" and row is not None and m.label != row.setting and row.setting is not None:
        values["initial_deg"] = values["total_deg"] = None  # a stepped hold ran what the log says, not what the row says
    lo, hi = (row.knock_lo_rpm, row.knock_hi_rpm) if row is not None else (None, None)
    return values | {
        "pull_id": pull_id, "file": m.name, "logger_file": _other_file(m, clock), "started": _started(m),
        "clock_offset_s": clock.offset_s if clock else None, "clock_rate": clock.rate if clock else None,
        "clock_residual_rpm": clock.residual_rpm if clock else None,
        "segment": m.segment.segment, "kind": m.segment.kind, "order": order, "setting": m.label, "baseline": m.label == baseline,
        "vapour_pressure_kpa": _vapour(m, facts), "knock": row.knock if row is not None else "not listened",
        "knock_lo_rpm": lo, "knock_hi_rpm": hi, "corrected": _corrected(m.log, facts), "usable": m.doubt is None,
        "why_not": m.doubt,
    }  # fmt: skip


def _other_file(m: Match, clock: Clock | None) -> str | None:
    """The second recorder's file: as the sheet names it, else the one that was told by its speed."""
    if m.row is not None and m.row.logger_file is not None:
        return m.row.logger_file
    return clock.other_file.rsplit("/", 1)[-1] if clock is not None else None


def _started(m: Match) -> str | None:
    """Date and time the pull began by the log, else the clock time of the sheet."""
    if m.log.started is not None and m.segment.start_s is not None:
        began = m.log.moment(m.segment.start_s)
        return m.log.started if began is None else began.isoformat(" ", "seconds")
    return m.row.time if m.row is not None else None


def _vapour(m: Match, facts: DayFacts) -> float | None:
    """Vapour pressure of this pull's own air: from its humidity, else the day's where the pull has a temperature of its own."""
    row, air = m.row, facts.air
    if row is None or (row.humidity_pct is None and row.temperature_c is None):
        return None
    if row.humidity_pct is None:
        return air.vapour_pressure_kpa
    temperature = row.temperature_c if row.temperature_c is not None else air.temperature_c
    return vapour_pressure_kpa(Air(temperature_c=temperature, humidity_pct=row.humidity_pct))


def _corrected(log: LogReading, facts: DayFacts) -> str | None:
    """By which standard the log's torque is corrected already: the log's word, made good by day.yaml where it names none."""
    by_channel = {c.channel: c.corrected for c in log.columns if c.channel in ("torque_nm", "power_kw")}
    said = by_channel.get("torque_nm", by_channel.get("power_kw", False))
    if said == "unknown" and facts.logs_already_corrected not in (False, "unknown"):
        return str(facts.logs_already_corrected)
    return str(said) if said is not False else None


def _strobe(found: Survey, pulls: list[Match], questions: list[str]) -> pl.DataFrame:
    """Light readings with settings spelled as the pulls spell them."""
    if found.strobe is None or found.strobe.readings.is_empty():
        return conform(pl.DataFrame(), STROBE)
    labels = {label_key(m.label): m.label for m in pulls if m.label}
    table = found.strobe.readings
    spelled = {s: labels.get(with_lost_dash(label_key(s), labels), s) for s in table["setting"].drop_nulls().unique().to_list()}
    strangers = sorted(s for s, label in spelled.items() if label not in labels.values())
    if strangers and labels:
        known = ", ".join(map(repr, dict.fromkeys(labels.values())))
        questions.append(f"strobe.csv: no pull ran {', '.join(map(repr, strangers))}. Which of {known} is meant?")
    return conform(table.with_columns(pl.col("setting").replace(spelled)), STROBE)


def _advance_known(pulls: list[Match]) -> set[str]:
    """Logs without an advance column whose advance the sheet or a second recorder tells."""
    without = {m.log.file for m in pulls if m.other is None and (m.row is None or m.row.total_deg is None)}
    return {m.log.file for m in pulls} - without


def _by_file(found: Survey, which: str, told_elsewhere: set[str]) -> list[str]:
    """What the logs ask or warn of, each text once with the logs it is true of."""
    files: dict[tuple[str, str | None], list[tuple[str, str]]] = {}
    answered = settled(found)
    for log in found.logs:
        name, known = found.names[log.file], answered | ({ADVANCE} if log.file in told_elsewhere else set())
        for text in (t for t in getattr(log, which) if fact_of(t) not in known):
            bare = text.removeprefix(f"{log.file}: ").removeprefix(f"{name}: ")
            files.setdefault((alike(bare, name), fact_of(text)), []).append((name, bare))
    told = []
    for (_, fact), places in files.items():
        names = [name for name, _ in places]
        more = f" (likewise {few(names[1:])})" if len(names) > 1 else ""
        said = f"{names[0]}: {places[0][1]}{more}"
        told.append(said if fact is None else Question(said, fact))
    return told


def _seed(found: Survey) -> int:
    """A number from the content of the inputs and their names alone: the same inputs, the same figures to the last digit."""
    text = "\n".join(f"{name}\t{digest}" for name, digest in sorted(found.hashes.items()))
    return int.from_bytes(hashlib.sha256(text.encode("utf-8", "surrogateescape")).digest()[:7])
