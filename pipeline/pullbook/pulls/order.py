"""The order the pulls were run in: the sheet's rows, else dates in the logs, else file names (asked about)."""

import re
from itertools import pairwise

from pullbook.book import natural
from pullbook.pulls.matching import Match, unrowed
from pullbook.wording import few


def in_order(pulls: list[Match], *, sheet: bool = False) -> tuple[list[Match], list[str]]:
    """Pulls in the order run, and questions about it.

    Parameters
    ----------
    pulls
        With their rows, if any. The sheet's order wins; pulls without a row go where their date puts them, else last.
    sheet
        Whether there is a pull sheet at all, though it may name none of these logs.
    """
    dated = all(m.log.started is not None for m in pulls)

    def by_log(m: Match) -> tuple[object, ...]:
        return (m.log.started if dated else "", natural(m.name), m.segment.first)

    if all(m.row is None for m in pulls):
        several = len({m.name for m in pulls}) > 1
        why = "The pull sheet names none of them" if sheet else "No pull sheet"
        asked = [f"In which order were the logs run? {why}, and not every log has a date: taken in the order of their names."]
        return sorted(pulls, key=by_log), asked if several and not dated else []
    with_row = sorted((m for m in pulls if m.row is not None), key=lambda m: (m.row.line if m.row else 0, m.segment.first))
    # a hold goes with the row of its neighbour but keeps its place in time inside the log
    without = sorted((m for m in pulls if m.row is None), key=by_log)
    questions = [*_clock_against(with_row), *_log_against(with_row)]
    times = [str(m.log.started) for m in with_row if m.log.started is not None]
    backwards = len(times) == len(with_row) and times != sorted(times)
    if backwards:
        questions.append("The pull sheet's order is not that of the dates in the logs: the sheet's is used. Which one is right?")
    if without and with_row and dated and not backwards:
        return sorted(pulls, key=by_log), questions
    if without and with_row:
        names = unrowed(pulls)
        was, they = ("was", "it is") if len(names) == 1 else ("were", "they are")
        questions.append(f"When {was} {few(names)} run? Without a row in the pull sheet {they} put last in the order run.")
    return [*with_row, *without], questions


def _log_against(pulls: list[Match]) -> list[str]:
    """A question where the rows of one log do not follow its clock."""
    at: dict[str, int] = {}
    back: dict[str, None] = {}
    for m in pulls:
        if m.segment.kind != "hold":
            if m.segment.first < at.get(m.name, 0):
                back[m.name] = None
            at[m.name] = m.segment.first
    if not back:
        return []
    return [f"The pull sheet's rows of {few(list(back))} do not follow the clock of the log. Were they run in that order?"]


def _clock_against(pulls: list[Match]) -> list[str]:
    """A question where the sheet's own clock times run backwards (once may be midnight)."""
    noted = [(m.row.line, minutes) for m in pulls if m.row is not None and (minutes := _minutes(m.row.time)) is not None]
    lines = list(dict(noted).items())
    back = [line for (_, a), (line, b) in pairwise(lines) if b < a]
    if not back or (len(back) == 1 and lines[0][1] > lines[-1][1]):
        return []
    return [f"The pull sheet's times run backwards at line {back[0]}: its rows are taken as the order run. Are they?"]


def _minutes(time: str | None) -> int | None:
    found = re.search(r"\b(\d{1,2})[:.h](\d{2})\b", time or "")
    if found is None or int(found[1]) > 23 or int(found[2]) > 59:
        return None
    half = re.search(r"\b\d{1,2}[:.h]\d{2}(?::\d{2})?\s*([ap])\.?m", time or "", re.IGNORECASE)
    hours = int(found[1]) if half is None or int(found[1]) > 12 else int(found[1]) % 12 + 12 * (half[1] in "pP")
    return hours * 60 + int(found[2])
