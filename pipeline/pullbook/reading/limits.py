"""How much one day may hold: far more than any day at a dyno, far less than would keep a run busy for hours."""

from dataclasses import replace
from pathlib import Path

from pullbook.handover import Fault, LogReading
from pullbook.pulls.segments import stretches
from pullbook.wording import counted

MOST_LOGS = 400
"""Logs of a day: two recorders at each of the pulls."""
MOST_PULLS = 400
"""Pulls of a day, aborted ones too: one in little more than a minute from morning to night."""
MOST_HOLDS = 1_000
"""Holds of a day."""
MOST_STRETCHES = 5_000
"""Stretches of a log without a gap or a restart of its clock: each is looked at by itself."""
_SPLIT = "move some of its logs to a second folder of that day (its name, a hyphen and a word)"


def first_logs(logs: tuple[Path, ...], day: str) -> tuple[tuple[Path, ...], list[Fault]]:
    """The logs of a day that are read, and a fault where there are too many; ``day``: its folder as shown."""
    if len(logs) <= MOST_LOGS:
        return logs, []
    fault = Fault(day, None, None, counted(len(logs), "log"), f"at most {MOST_LOGS} logs in a day; the others are not read", _SPLIT)
    return logs[:MOST_LOGS], [fault]


def on_a_clock(log: LogReading) -> LogReading:
    """``log``, with an error where its clock breaks off or goes back more often than any recorder's."""
    if "time_s" not in log.samples.columns or log.samples.height <= MOST_STRETCHES:
        return log
    times = len(stretches(log.samples, log.samples["time_s"].to_numpy())) - 1
    if times < MOST_STRETCHES:
        return log
    expected = f"a clock that runs on, but for {MOST_STRETCHES} gaps and restarts at most"
    return _without_rows(log, f"a clock that breaks off or goes back {times} times", expected, "export the log again")


def first_pulls(logs: list[LogReading], day: str) -> tuple[list[LogReading], list[Fault]]:
    """Logs cut into segments, as far as their pulls and holds are a day's.

    Parameters
    ----------
    logs
        Of one day. One that holds too many by itself keeps its place, with an error; those that are too many together with the
        logs before them are left out.
    day
        The day's folder as shown.

    Returns
    -------
    tuple
        The logs that stay, and a fault of the day where some are left out.
    """
    kept, left, pulls, holds = [], 0, 0, 0
    for log in logs:
        some, held = _count(log, "pull", "aborted"), _count(log, "hold")
        if some > MOST_PULLS or held > MOST_HOLDS:
            kept.append(_refused(log, some, held))
        elif pulls + some > MOST_PULLS or holds + held > MOST_HOLDS:
            left += 1
        else:
            pulls, holds = pulls + some, holds + held
            kept.append(log)
    if not left:
        return kept, []
    expected = f"at most {MOST_PULLS} pulls and {MOST_HOLDS} holds in a day; {counted(left, 'log')} of it not used"
    return kept, [Fault(day, None, None, f"{pulls} pulls and more", expected, _SPLIT)]


def _count(log: LogReading, *kinds: str) -> int:
    return sum(s.kind in kinds for s in log.segments)


def _refused(log: LogReading, pulls: int, holds: int) -> LogReading:
    found = counted(pulls, "pull") if pulls > MOST_PULLS else counted(holds, "hold")
    expected = f"at most {MOST_PULLS} pulls and {MOST_HOLDS} holds in a log"
    return _without_rows(log, found, expected, "split the log, one folder a day")


def _without_rows(log: LogReading, found: str, expected: str, remedy: str) -> LogReading:
    fault = Fault(log.file, log.header_line, None, found, expected, remedy)
    return replace(log, error=fault, rows=0, rows_dropped=log.rows + log.rows_dropped, samples=log.samples.clear(), segments=())
