"""Names of runs in the headings of a table, or in the line above them where several runs stand side by side."""

import re
from collections.abc import Sequence

from pullbook.channels.column import Column
from pullbook.text.cells import split
from pullbook.text.raw import RawLog

_RUN = (
    r"(?:dyno|test)?(?:run|pull|sweep|test|lauf|messung|versuch|essai|passage|mesure|prova|lancio|passata|prueba|ensayo|pasada)"
    r"[ _#.:nrº°-]*(?:\d{1,3}|[a-h])\b"
)
_NUMBER = r"(?<=[^\d\W])[ _.#-]*(?P<number>\d{1,2})(?=\s*(?:$|[\[(]))"  # "Nm 2", and "Torque2 [Nm]"
_LABEL = re.compile(rf"[ _(#-]*(?:(?P<run>(?<![^\W\d_]){_RUN})|{_NUMBER})[ _):-]*", re.I)
_DEGREES = r"[-+]?\d{1,2}(?:[.,]\d)? ?(?:°|deg|grad|init|total|adv|avance|anticipo|zünd)"
_ABOVE = re.compile(rf"(?<![^\W\d_]){_RUN}|^(?:#|n(?:o|r|°|º)?[.]?) ?\d{{1,2}}\b|^{_DEGREES}", re.I)
"""A run in the line above the headings: by a word and a number, by a number, or by the degrees it ran."""
Named = tuple[str, str, bool]
"""A heading without its run, the run, and whether a word says that it is one."""


def named_runs(raw: RawLog, columns: Sequence[Column]) -> list[Named]:
    """Each column's heading without the name of its run, the run's name, and whether a word for a run says so.

    Parameters
    ----------
    raw
        The log: the line above its headings may name the runs.
    columns
        Its columns, those without heading and values left out.
    """
    own = [parted(c.header) for c in columns]
    return own if any(worded for _, _, worded in own) else _from_above(raw, columns) or own


def _from_above(raw: RawLog, columns: Sequence[Column]) -> list[Named] | None:
    """The same by the line above: a name there stands over its own column and those to the right without one."""
    cells = split(raw.above, raw.delimiter) if raw.delimiter != " " else []
    named = [cell for cell in cells if cell]
    if len(set(named)) < 2 or len(cells) > len(raw.headers) + 1 or not all(map(_ABOVE.search, named)):
        return None
    out: list[Named] = []
    label, rest = "", iter(zip(raw.headers, [*cells, *[""] * len(raw.headers)], strict=False))
    for column in columns:  # columns without heading and values were left out: their place is passed over
        for header, cell in rest:
            label = cell or label
            if header == column.header:
                break
        out.append((" ".join(column.header.casefold().split()), label, bool(label)))
    return out


def parted(header: str) -> tuple[str, str, bool]:
    """Heading without the run's name, the run's name, and whether a word for a run is in it.

    Examples
    --------
    >>> parted("Torque run 2 [Nm]"), parted("Nm 2"), parted("rpm")
    (('torque [nm]', 'run 2', True), ('nm', '2', False), ('rpm', '', False))
    """
    match = _LABEL.search(header)
    if match is None:
        return " ".join(header.casefold().split()), "", False
    base = f"{header[: match.start()]} {header[match.end() :]}"
    label = match["run"] or match["number"]
    return " ".join(base.casefold().split()), " ".join(label.casefold().split()), match["run"] is not None
