"""Logs without torque that no sheet names: which log are they the second recorder of? Told by the speed both saw, and asked."""

import polars as pl

from pullbook.columns import ADVANCES, holds
from pullbook.handover import LogReading
from pullbook.pulls.matching import Match, Matched
from pullbook.pulls.recorders import ClockFit, Trace, align_recorders, trace_of

_CLEARLY = 2.0
_MOST_PAIRS = 400


def pair_unnamed(matched: Matched, names: dict[str, str]) -> list[str]:
    """Give pulls the second recorder whose speed follows theirs and no other's, in place.

    Parameters
    ----------
    matched
        ``speechless`` logs are tried on logs without an advance channel that have no second recorder yet.
    names
        File name by ``LogReading.file``.

    Returns
    -------
    list of str
        A question for every speechless log, with the evidence.
    """
    if not matched.speechless:
        return []
    open_logs: dict[str, tuple[LogReading, Trace | None]] = {}
    for m in matched.pulls:
        if m.other is None and not _has_advance(m.log) and m.log.file not in open_logs:
            open_logs[m.log.file] = (m.log, _first_recording(m.log))
    questions = []
    for other in matched.speechless:
        name = names[other.file]
        fits = _fits(other, open_logs) if len(open_logs) * len(matched.speechless) <= _MOST_PAIRS else []
        if not fits or (len(fits) > 1 and fits[1][0].residual_rpm < _CLEARLY * fits[0][0].residual_rpm):
            questions.append(f"{name} has speed but no torque: is it a second recorder's file? (pull sheet, column `logger_file`)")
            continue
        fit, log = fits[0]
        for m in _pulls_of(matched, log):
            m.other = other
        questions.append(
            f"{name} has speed but no torque; its speed follows {names[log.file]} to {fit.residual_rpm:.0f} rpm "
            f"(clock {fit.offset_s:+.2f} s, rate {fit.rate:.4f}): taken as its second recorder. Is it? "
            "(pull sheet, column `logger_file`)"
        )
    return questions


def _first_recording(log: LogReading) -> Trace | None:
    samples = log.samples
    return trace_of(samples.filter(pl.col("recording") == samples["recording"][0])) if samples.height else None


def _has_advance(log: LogReading) -> bool:
    return any(holds(log.samples, c) for c in ADVANCES)


def _fits(other: LogReading, open_logs: dict[str, tuple[LogReading, Trace | None]]) -> list[tuple[ClockFit, LogReading]]:
    """Clocks of ``other`` on each open log it fits, the best first."""
    theirs = _first_recording(other)
    if theirs is None:
        return []
    fits = [(align_recorders(own, theirs), log) for log, own in open_logs.values() if own is not None]
    return sorted(((f, log) for f, log in fits if isinstance(f, ClockFit)), key=lambda pair: pair[0].residual_rpm)


def _pulls_of(matched: Matched, log: LogReading) -> list[Match]:
    return [m for m in matched.pulls if m.log is log]
