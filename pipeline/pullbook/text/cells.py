"""Single cells: what a number, a time, a switch word and a missing value look like, and which sign separates them in a file."""

import re
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache

from pullbook.vocabulary.units_text import unit_of
from pullbook.vocabulary.wordlist import rows

NUMBER = re.compile(r"[-+−]?(?:\d+(?:[.,'’   _]\d+)*[.,]?|[.,]\d+)(?:[eE][-+]?\d+)?%?")
MONTHS = {row["word"]: int(row["means"]) for row in rows("months")}
_MONTH = rf"\d{{1,2}}[-./ ]{{1,2}}(?:{'|'.join(MONTHS)})[^\W\d_]*\.?[-./ ]\d{{2,4}}"
TIME = re.compile(
    rf"(?:(?:[^\W\d_]{{2,10}}[.,]* +)?(?:\d{{1,4}}[-./]\d{{1,2}}[-./]\d{{1,4}}|[12]\d{{7}}|{_MONTH})[T ,]+)?"
    r"(?:\d{1,3}:\d{2}(?::\d{2})?(?:[.,:]\d+)?|\d{1,2} ?h ?\d{2} ?m(?:in)? ?\d{2}(?:[.,]\d{1,8})?(?: ?s)?)\s*"
    r"(?:[AaPp]\.?\s?[Mm]\.?)?(?:Z|[-+]\d{2}:?\d{2}| (?:UTC|GMT|CES?T|MES?Z))?"
    r"|(?:\d{1,3} ?h ?)?\d{1,3} ?m(?:in)? ?\d{1,2}(?:[.,]\d{1,8})? ?s",
    re.IGNORECASE,
)
DATE = re.compile(rf"\d{{1,4}}[-./]\d{{1,2}}[-./]\d{{1,4}}|{_MONTH}", re.IGNORECASE)
MISSING = frozenset(row["word"] for row in rows("cells") if row["means"] == "missing")
SWITCH = {row["word"]: 1.0 if row["means"] == "on" else 0.0 for row in rows("cells") if row["means"] != "missing"}
LONG = 40
"""Cells up to this length are remembered: the same sampled cells are asked about again and again."""
_LABEL = re.compile(r"[^\W\d_]{2,}")
_TAIL = re.compile(r"[-+]?\d+(?:[.,]\d+)? ?([A-Za-z°µ%][^\d\s]{0,7})")
DELIMITERS = ("\t", ";", ",", "|")
_QUOTED = re.compile(r'"[^"]*"')
DATED = r"(\d{4}-\d{1,2}-\d{1,2}|\d{1,2}[./]\d{1,2}[./]\d{2,4}) +(\d{1,2}:\d{2})"
"""A date and the time of day after it."""
NOON = r"(\d) +([AaPp]\.?[Mm]\b)"
"""A clock and its AM or PM."""
_DATED, _NOON = re.compile(DATED), re.compile(NOON)


def is_blank(line: str) -> bool:
    """Whether nothing but delimiters, blanks, form feeds and end marks stands on a line."""
    return not line.strip(" \t;,\x0c\x1a")


def is_number(cell: str) -> bool:
    """Whether a cell reads as a number in some country."""
    return _number(cell) if len(cell) < LONG else NUMBER.fullmatch(cell) is not None


def is_value(cell: str) -> bool:
    """Whether a cell is what a data row holds: a number, a time, a date (not a word, not a blank)."""
    return _value(cell) if len(cell) < LONG else _value.__wrapped__(cell)


@lru_cache(4096)
def _number(cell: str) -> bool:
    return NUMBER.fullmatch(cell) is not None


@lru_cache(4096)
def _value(cell: str) -> bool:
    if NUMBER.fullmatch(cell) or TIME.fullmatch(cell) or DATE.fullmatch(cell):
        return True
    tail = _TAIL.fullmatch(cell)
    return tail is not None and unit_of(tail[1]) is not None


def is_missing(cell: str) -> bool:
    """A blank, a word for a missing value, or any length of dashes, stars and the like."""
    return not cell or cell.casefold() in MISSING or not cell.strip("-–—*?#.x/ \x1a")


def is_label(cell: str) -> bool:
    """A word where a number or a time should stand: it labels its row ("Max", "Average")."""
    return _LABEL.match(cell) is not None and cell.casefold() not in MISSING and cell.casefold() not in SWITCH


def is_filler(cell: str) -> bool:
    """A blank or a word for a missing value or a switch: stands in data rows but proves nothing."""
    low = cell.casefold()
    return not cell or low in MISSING or low in SWITCH


def split(line: str, delimiter: str) -> list[str]:
    """Cells of one line, quotes taken off.

    Examples
    --------
    >>> split('"11:59:53 AM","3,787",no', ",")
    ['11:59:53 AM', '3,787', 'no']
    """
    if delimiter == " ":
        return joined_stamps(line).split()
    if '"' in line:
        held = [m[1:-1] for m in _QUOTED.findall(line)]
        cells = _QUOTED.sub("\x00", line).split(delimiter)
        values = iter(held)
        return [re.sub("\x00", lambda _: next(values, ""), c).strip().strip('"').strip() for c in cells]
    return [c.strip() for c in line.split(delimiter)]


def joined_stamps(line: str) -> str:
    """In a space-aligned line, tie date to time and AM or PM to its clock."""
    return _NOON.sub(r"\1\2", _DATED.sub(r"\1T\2", line)) if ":" in line else line


def decide_delimiter(lines: Sequence[str]) -> str | None:
    """The sign that, over all the sampled lines, leaves most cells readable as values in rows of one width.

    Parameters
    ----------
    lines
        Non-blank lines from all over the file.

    Returns
    -------
    str or None
        A delimiter (one space: aligned by spaces); None where no sign gives two readable columns.
    """
    best, best_score = None, 0.0
    for delimiter in (*DELIMITERS, " "):
        rows = [cells for line in lines if len(cells := split(line, delimiter)) > 1]
        told = [(cells, sum(map(is_value, cells))) for cells in rows]
        trimmed = [(cells, values) for cells, values in told if values and values >= 0.5 * sum(map(bool, cells))]
        if not trimmed:
            continue
        width, count = Counter(len(cells) for cells, _ in trimmed).most_common(1)[0]
        same = [(cells, values) for cells, values in trimmed if len(cells) == width]
        readable = sum(values + sum(is_filler(c) and not is_value(c) for c in cells) for cells, values in same) / (width * count)
        score = readable**2 * count * (1.0 if delimiter != " " else 0.9) + 0.001 * width
        if score > best_score * 1.0000001:
            best, best_score = delimiter, score
    return best
