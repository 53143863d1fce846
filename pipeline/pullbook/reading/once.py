"""One entry for what many rows of a sheet say alike: a shop reads one sentence with the lines, not a page of them."""

import re
from collections.abc import Iterable
from dataclasses import replace
from itertools import chain

from pullbook.handover import Fault
from pullbook.wording import few

SHOWN = 3
MOST_ALIKE = 20
"""Findings of one kind that are named one by one."""
_LINE = re.compile(r"(.*?\bline )(\d+)(\b.*)", re.DOTALL)


def once(texts: Iterable[str]) -> list[str]:
    """Sentences that differ in the first line number alone, as one sentence each; the order of the first ones is kept.

    Examples
    --------
    >>> once([f"pulls.csv line {n}: knock says 'maybe'" for n in (2, 3, 4, 5, 9)] + ["Was it so?"])
    ["pulls.csv lines 2, 3, 4 and 2 more: knock says 'maybe'", 'Was it so?']
    """
    lines: dict[tuple[str, str], list[str]] = {}
    for text in texts:
        found = _LINE.fullmatch(text)
        place = lines.setdefault((found[1], found[3]) if found else (text, ""), [])
        if found and found[2] not in place:
            place.append(found[2])
    return [before if not n else _joined(before, n, after) for (before, after), n in lines.items()]


def _joined(before: str, n: list[str], after: str) -> str:
    if len(n) == 1:
        return f"{before}{n[0]}{after}"
    return f"{before[:-1]}s {few(n, SHOWN)}{after}"


def alike(text: str, name: str) -> str:
    """What stays of a log's question or warning without the log's name and its numbers: the same for logs that ask the same.

    Examples
    --------
    >>> alike("run 1.csv: 'Timing' (about 31.9): crank or not?", "run 1.csv")
    ": 'Timing' (about #): crank or not?"
    """
    return re.sub(r"\d[\d.,]*", "#", text.replace(name, ""))


def once_faults(faults: Iterable[Fault]) -> list[Fault]:
    """Faults alike but for their line, as the first of them, which says on how many lines more it stands.

    Where more than :data:`MOST_ALIKE` differ in what was found alone, the first stands for all of them.
    """
    alike: dict[Fault, list[Fault]] = {}
    for fault in faults:
        alike.setdefault(replace(fault, line=None), []).append(fault)
    near: dict[Fault, list[list[Fault]]] = {}
    for fault, same in alike.items():
        near.setdefault(replace(fault, found=""), []).append(same)
    out = []
    for kinds in near.values():
        groups = [list(chain.from_iterable(kinds))] if len(kinds) > MOST_ALIKE else kinds
        for same in groups:
            more = f"{same[0].found} (and on {len(same) - 1} more lines)" if len(same) > 1 else same[0].found
            out.append(replace(same[0], found=more))
    return out
