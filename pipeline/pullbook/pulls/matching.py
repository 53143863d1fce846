"""Rows of the pull sheet and pulls found in the logs, brought together; whatever has no partner is named."""

import unicodedata
from collections import defaultdict
from dataclasses import dataclass, field
from difflib import get_close_matches
from itertools import pairwise

import polars as pl

from pullbook.book import LOG_ENDINGS, natural
from pullbook.columns import holds
from pullbook.handover import LogReading, Segment
from pullbook.pulls.holds import HOLD_RPM, runs_of_holds
from pullbook.pulls.labels import label_key, with_lost_dash
from pullbook.pulls.own_advance import is_step, logged_curve
from pullbook.sheets.pull_sheet import PullSheet
from pullbook.sheets.row import SheetRow
from pullbook.wording import counted


@dataclass(slots=True, eq=False)
class Match:
    """One pull, aborted pull or hold of a log with its row of the sheet, if it has one. ``label``: the setting's name;
    ``other``: the second recorder's log, ``near_s`` where its clock is expected; ``doubt``: why nothing may be estimated;
    ``part``: its samples with a second recorder's channels; ``copy_of``: the pull this one is another export of.
    """

    log: LogReading
    name: str
    segment: Segment
    row: SheetRow | None = None
    label: str | None = None
    other: LogReading | None = None
    near_s: float | None = None
    doubt: str | None = None
    part: pl.DataFrame | None = None
    copy_of: "Match | None" = None

    def samples(self) -> pl.DataFrame:
        """The pull's own rows: ``part`` where a second recorder's channels were added, else the log's."""
        return self.part if self.part is not None else self.segment.settled(self.log.samples)


@dataclass(slots=True)
class Matched:
    """``pulls`` in the order the sheet gives, those without a row after them; ``loggers``: names of second recorders' files;
    ``speechless``: logs without torque that no row names, beside others that have it: second recorders, perhaps.
    """

    pulls: list[Match] = field(default_factory=list)
    loggers: set[str] = field(default_factory=set)
    speechless: list[LogReading] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


def match(logs: list[LogReading], names: dict[str, str], sheet: PullSheet | None) -> Matched:
    """Bring rows and pulls together.

    Parameters
    ----------
    logs
        Logs of the day with their segments, in natural order of their names.
    names
        File name by ``LogReading.file``.
    sheet
        The pull sheet, or None.

    Returns
    -------
    Matched
        ``pull`` of a row counts a log's ``pull`` and ``aborted`` segments in order of time; a hold goes with the pull it
        stands beside.
    """
    out = Matched()
    by_name = {names[log.file]: log for log in logs}
    rows: dict[str, list[SheetRow]] = defaultdict(list)
    loggers: dict[int, str] = {}
    taken = {_plain(f) for row in (sheet.rows if sheet else ()) for f in (row.file, row.logger_file) if f}
    for row in sheet.rows if sheet else ():
        where = f"{sheet.shown if sheet else ''} line {row.line}"
        name, near = _file_named(row.file, list(by_name), taken)
        if name is None and not near and row.is_remark and not row.file.casefold().endswith(LOG_ENDINGS):
            out.warnings.append(f"{where}: {row.file[:80]!r} names no log and is taken as a remark")
            continue
        if name is None:
            out.questions.append(_not_here(row.file, near, where))
        logger, near = _file_named(row.logger_file, list(by_name), taken) if row.logger_file else (None, [])
        if row.logger_file and logger is None:
            out.questions.append(_not_here(row.logger_file, near, f"line {row.line}, logger_file"))
        elif logger is not None:
            if logger == name:
                out.questions.append(f"line {row.line}: {logger} is named as its own second recorder: which log is meant?")
            else:
                loggers[row.line] = logger
        if name is not None:
            rows[name].append(row)
    out.loggers = set(loggers.values()) - set(rows)
    for name in sorted(set(loggers.values()) & set(rows)):
        out.questions.append(f"{name} stands in the sheet both as a log of its own and as a second recorder: read as both. Is it?")
    found: list[Match] = []
    torque = {name: has_torque(log) for name, log in by_name.items() if log.segments}
    for name, log in by_name.items():
        if name in out.loggers:
            continue
        if any(torque.values()) and not torque.get(name, True) and name not in rows:
            out.speechless.append(log)
            continue
        mine = [Match(log, name, s) for s in log.segments if s.kind in ("pull", "aborted", "hold")]
        _give_rows(mine, rows.get(name, []), name, log, sheet, out)
        for m in mine:
            if m.row is not None and m.row.line in loggers:
                m.other = by_name[loggers[m.row.line]]
        found += mine
    _pair_by_count(found)
    out.pulls = sorted(found, key=lambda m: (m.row is None, m.row.line if m.row else 0))
    return out


def has_torque(log: LogReading) -> bool:
    """Whether a log has torque, or power to take it from."""
    return any(holds(log.samples, c) for c in ("torque_nm", "power_kw"))


def _give_rows(mine: list[Match], rows: list[SheetRow], name: str, log: LogReading, sheet: PullSheet | None, out: Matched) -> None:
    """Give each sweep of one log its row, then each hold the row of the sweep beside it."""
    if not rows:
        return
    where = sheet.shown if sheet else ""
    if not mine:
        if log.error is None:
            out.questions.append(f"{where} line {rows[0].line}: no pull was found in {name}. Was it logged?")
        return
    sweeps = [m for m in mine if m.segment.kind != "hold"]
    if not sweeps and _rows_by_run(mine, rows, name, out):
        return
    pulls = sweeps or mine  # a log of holds alone: its rows count the holds
    _numbered([r for r in rows if r.pull is not None], pulls, name, where, out)
    _unnumbered([r for r in rows if r.pull is None], [m for m in pulls if m.row is None], name, where, out)
    for hold in (m for m in mine if m.segment.kind == "hold" and m.row is None):
        beside = sorted((m for m in sweeps if m.row), key=lambda m: abs(m.segment.first - hold.segment.first))
        hold.row = beside[0].row if beside else None


def _rows_by_run(mine: list[Match], rows: list[SheetRow], name: str, out: Matched) -> bool:
    """Give the holds of a log their rows where it holds as many runs up the speeds as the sheet has rows: a pull is such a run."""
    runs = runs_of_holds([_speed(m) for m in mine])
    numbers = [r.pull if r.pull is not None else place for place, r in enumerate(rows, start=1)]
    if not 1 < len(rows) == len(runs) < len(mine) or sorted(numbers) != list(range(1, len(runs) + 1)):
        return False
    for number, row in zip(numbers, rows, strict=True):
        for place in runs[number - 1]:
            mine[place].row = row
    out.warnings.append(
        f"{name}: {counted(len(mine), 'hold')} in {counted(len(runs), 'run')} up the speeds; each of the sheet's rows is one run"
    )
    return True


def _speed(hold: Match) -> float:
    middle = hold.samples()["rpm"].median()
    return float(middle) if isinstance(middle, int | float) else 0.0


def _numbered(rows: list[SheetRow], pulls: list[Match], name: str, where: str, out: Matched) -> None:
    for row in rows:
        number = row.pull or 0
        if number > len(pulls):
            found = counted(len(pulls), "pull")
            out.questions.append(f"{where} line {row.line}: pull {number} of {name}, but {found} found there. Which one is meant?")
        elif pulls[number - 1].row is not None:
            text = f"pull {number} of {name} a second time; the first row counts. Which pull is meant?"
            out.questions.append(f"{where} line {row.line}: {text}")
        else:
            pulls[number - 1].row = row


def _one_a_speed(holds: list[Match]) -> bool:
    """Whether these are holds at different speeds: one run of one setting, so nothing has to be asked."""
    speeds = sorted(map(_speed, holds))
    apart = all(b - a > 2 * HOLD_RPM for a, b in pairwise(speeds))
    return apart and all(m.segment.kind == "hold" for m in holds)


def _same_run(pulls: list[Match]) -> list[Match]:
    """``pulls`` without the holds that are steps of a spark sweep: those are settings of their own."""
    curves = [logged_curve(m.samples()) if m.segment.kind == "hold" else None for m in pulls]
    return [m for k, m in enumerate(pulls) if not is_step(curves[k], curves[:k] + curves[k + 1 :])]


def _unnumbered(rows: list[SheetRow], free: list[Match], name: str, where: str, out: Matched) -> None:
    if len(rows) == 1 and free:
        for m in free:
            m.row = rows[0]
        alike = _same_run(free)
        if len(alike) > 1 and not _one_a_speed(alike):
            out.questions.append(
                f"{name} holds {counted(len(alike), 'pull')}, the pull sheet has one row without a number for it: "
                "taken as repeats of that setting. Is that so? (column `pull`)"
            )
        return
    for m, row in zip(free, rows, strict=False):
        m.row = row
    if len(rows) > 1 and free:
        out.questions.append(
            f"{name} holds {counted(len(free), 'pull')} for {len(rows)} rows without a number: taken in order of time. "
            "Is that so? (column `pull`)"
        )
    for row in rows[len(free) :]:
        out.questions.append(f"{where} line {row.line}: no pull of {name} is left for this row. Which log is meant?")


def _pair_by_count(found: list[Match]) -> None:
    """Pulls look alike: where a second recorder's file holds as many as the sheet names for it, the n-th goes with the n-th."""
    shared: dict[str, list[Match]] = defaultdict(list)
    for m in found:
        if m.other is not None and m.row is not None and m.segment.kind != "hold":
            shared[m.other.file].append(m)
    for mine in shared.values():
        mine.sort(key=lambda m: (m.row.line if m.row else 0, m.segment.first))
        theirs = [s for s in mine[0].other.segments if s.kind in ("pull", "aborted")] if mine[0].other else []
        if len({m.log.file for m in mine}) > 1 and len(theirs) == len(mine):
            for m, s in zip(mine, theirs, strict=True):
                if m.segment.end_s is None or s.end_s is None:
                    continue
                for beside in (x for x in found if x.log is m.log and x.row is m.row):
                    beside.near_s = m.segment.end_s - s.end_s


def _file_named(wanted: str, names: list[str], taken: set[str]) -> tuple[str | None, list[str]]:
    """The log a sheet means: exactly, else without regard to case, composed accents, a forgotten ending, the sort of a dash or
    one that an encoding lost; where none is meant, the nearest names that no other row has ``taken``.
    """
    if wanted in names:
        return wanted, []
    key = _plain(wanted)
    same = [n for n in names if _plain(n) == key] or [n for n in names if _plain(n).rpartition(".")[0] == key]
    if not same:
        own, wanted_too = label_key(key), {label_key(t) for t in taken}
        keys = [{label_key(n), label_key(n).rpartition(".")[0]} for n in names]
        known = set().union(*keys)
        same = [n for n, mine in zip(names, keys, strict=True) if with_lost_dash(own, known) in mine]
        same = same or [n for n, mine in zip(names, keys, strict=True) if own in {with_lost_dash(k, wanted_too) for k in mine}]
    if len(same) == 1:
        return same[0], []
    near = same or get_close_matches(key, [_plain(n) for n in names if _plain(n) not in taken], n=1)
    return None, [n for n in names if n in near or _plain(n) in near]


def _not_here(wanted: str, near: list[str], where: str) -> str:
    hint = f" Did you mean {' or '.join(map(repr, near))}?" if near else ""
    return f"{where}: no log named {wanted!r} that could be read lies in this folder.{hint}"


def _plain(name: str) -> str:
    return unicodedata.normalize("NFC", name).casefold().strip()


def unrowed(pulls: list[Match]) -> list[str]:
    """Logs without a row in the sheet, and pulls without one of logs that have some, named by their number."""
    out: dict[str, None] = {}
    for m in sorted(pulls, key=lambda m: (natural(m.name), m.segment.first)):
        if m.row is not None:
            continue
        beside = [x for x in pulls if x.log is m.log and x.segment.kind != "hold"]
        some = any(x.row is not None for x in beside) and m in beside
        out[f"pull {1 + sum(x.segment.first < m.segment.first for x in beside)} of {m.name}" if some else m.name] = None
    return list(out)
