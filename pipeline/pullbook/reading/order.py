"""The order the pulls were run in: the sheet's rows, else dates in the logs, else file names (asked about)."""

from natsort import natsort_keygen

from pullbook.reading.matching import Match

_natural = natsort_keygen()


def in_order(pulls: list[Match], *, by_sheet: bool) -> tuple[list[Match], list[str]]:
    """Pulls in the order run, and questions about it.

    Parameters
    ----------
    pulls
        With their rows, if any.
    by_sheet
        Whether there is a sheet with rows; its order wins, and pulls without a row come after.
    """
    dated = all(m.log.started is not None for m in pulls)

    def by_log(m: Match) -> tuple[object, ...]:
        return (m.log.started if dated else "", _natural(m.name), m.segment.first)

    if not by_sheet:
        several = len({m.name for m in pulls}) > 1
        asked = [
            "In which order were the logs run? No pull sheet and no date in every log: taken in the order of their file names."
        ]
        return sorted(pulls, key=by_log), asked if several and not dated else []
    with_row = sorted((m for m in pulls if m.row is not None), key=lambda m: (m.row.line if m.row else 0, m.segment.first))
    # a hold goes with the row of its neighbour but keeps its place in time inside the log
    without = sorted((m for m in pulls if m.row is None), key=by_log)
    times = [str(m.log.started) for m in with_row if m.log.started is not None]
    questions = []
    if len(times) == len(with_row) and times != sorted(times):
        questions.append("The pull sheet's order is not that of the dates in the logs: the sheet's is used. Which one is right?")
    return [*with_row, *without], questions
