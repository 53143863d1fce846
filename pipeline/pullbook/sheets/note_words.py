"""Free notes of the pull sheet that say what belongs in a column: knock, light readings, changes. Asked; knock counts meanwhile."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

from pullbook.sheets.row import SheetRow
from pullbook.sheets.typed_number import typed_number
from pullbook.sheets.words import unaccented
from pullbook.vocabulary.wordlist import rows as words_of
from pullbook.wording import few

_SPEEDS = (800.0, 14_000.0)
_ABOUT_RPM = 150.0  # knock "at 4200" is knock about there
_SPEED = r"\d[\d.,' ]{2,6}"
_RANGE = re.compile(rf"({_SPEED})\s*(?:-|–|—|to|bis|a)\s*({_SPEED})")
_SHOWN = 60


@cache
def _words(table: str) -> frozenset[str]:
    return frozenset(word for row in words_of("notes") if row["table"] == table for word in row["words"].split("|"))


@cache
def _reading() -> re.Pattern[str]:
    degrees = "|".join(sorted(_words("degrees"), key=len, reverse=True))
    return re.compile(rf"(?<![\d.,])(\d{{1,2}}(?:[.,]\d)?)\s*(?:°|{degrees})?\s*(?:@|at|bei|a)\s*({_SPEED})")


def _said(note: str) -> list[str]:
    return re.findall(r"[a-z]+|(?<![\d.,])0(?![\d.,])", unaccented(note))


def speaks_of_knock(note: str) -> bool:
    """Whether a note says that the engine knocked: a word for it, none that takes it back there or right behind ("knock: none").

    Examples
    --------
    >>> speaks_of_knock("knock at 4200"), speaks_of_knock("no knock"), speaks_of_knock("Klopfen 3300-3600, Gas weg")
    (True, False, True)
    >>> speaks_of_knock("knock sensor unplugged"), speaks_of_knock("not warm yet, pinged low down")
    (False, True)
    >>> speaks_of_knock("stopped before knock"), speaks_of_knock("arrêté avant le cliquetis"), speaks_of_knock("as before knock")
    (False, False, True)
    """
    clauses = re.split(r"[,;.!?:]\s|[,;!?]|\bbut\b|\baber\b|\bmais\b|\bpero\b|\bma\b", unaccented(note))
    for said, behind in pairwise([*(words for clause in clauses if (words := _said(clause))), []]):
        at = [i for i, word in enumerate(said) if word in _words("knock")]
        at = [i for i in at if not _short_of(said, i)]
        if not at or _words("none") & set(said) or any(_words("elsewise") & set(said[i + 1 : i + 2]) for i in at):
            continue
        if not (_words("none") & set(behind) and set(behind) <= _words("none") | _words("heard")):
            return True
    return False


def _short_of(said: Sequence[str], at: int) -> bool:
    """Whether a note stops before the word: "stopped before any knock", but not "as before knock"."""
    return any(said[k] in _words("before") and said[k - 1] not in _words("like") for k in range(max(at - 2, 1), at))


def knock_speeds(note: str) -> tuple[float, float] | None:
    """The speeds a note of knock names, rpm; None where it names none.

    Examples
    --------
    >>> knock_speeds("knock at 4200"), knock_speeds("pinged 3300-3600"), knock_speeds("knock, all the way")
    ((4050.0, 4350.0), (3300.0, 3600.0), None)
    """
    plain = unaccented(note)
    for found in _RANGE.finditer(plain):
        ends = [_speed(found[1]), _speed(found[2])]
        if ends[0] is not None and ends[1] is not None and ends[0] < ends[1]:
            return ends[0], ends[1]
    known = [v for text in re.findall(_SPEED, plain) if (v := _speed(text)) is not None]
    return (min(known) - _ABOUT_RPM, max(known) + _ABOUT_RPM) if known else None


def light_reading(note: str) -> tuple[float, float] | None:
    """Degrees and rpm of a note that reads like a light reading; None where it does not.

    Examples
    --------
    >>> light_reading("light 34 @ 3500"), light_reading("Lampe 32,5° bei 4000"), light_reading("knock at 4200")
    ((34.0, 3500.0), (32.5, 4000.0), None)
    """
    plain = unaccented(note)
    found = _reading().search(plain)
    said = set(_said(note))
    bare = "@" in plain and said <= _words("degrees") | {"rpm"}  # "AFR 12.8 @ 3500" is no advance
    if found is None or not (bare or _words("light") & said):
        return None
    degrees, speed = typed_number(found[1]), _speed(found[2])
    return None if degrees is None or speed is None else (degrees, speed)


def _speed(text: str) -> float | None:
    value = typed_number(text.strip(" .,'"), thousands=True)
    return value if value is not None and _SPEEDS[0] <= value <= _SPEEDS[1] else None


def heard_in_notes(row: SheetRow, note: str, shown: str) -> tuple[SheetRow, str | None]:
    """The row with knock that only its note speaks of, as ``faint``, the careful side, and the question about it."""
    if row.knock in ("heard", "faint") or not speaks_of_knock(note):
        return row, None
    lo, hi = (row.knock_lo_rpm, row.knock_hi_rpm) if row.knock_lo_rpm is not None else knock_speeds(note) or (None, None)
    against = ", the column knock ‘not heard’" if row.knock == "not heard" else ""
    where = f" {lo:.0f}–{hi:.0f} rpm" if lo is not None and hi is not None else ""
    question = (
        f"{shown} line {row.line}: the note says {note[:_SHOWN]!r}{against}: did it knock (columns knock, knock_rpm)? "
        f"Until then: faint{where}"
    )
    return replace(row, knock="faint", knock_lo_rpm=lo, knock_hi_rpm=hi), question


@dataclass(frozen=True, slots=True)
class NotesTold:
    """What notes say beside the columns; ``unlit``: questions that a sheet of light readings answers."""

    questions: tuple[str, ...]
    warnings: tuple[str, ...]
    unlit: tuple[str, ...]


def told_by_notes(rows: Sequence[tuple[SheetRow, str | None]], shown: str) -> NotesTold:
    """Light readings and changes that stand in the notes alone.

    Parameters
    ----------
    rows
        The rows in the order run, each with its own note.
    shown
        What the sheet is called.
    """
    questions, warnings = [], []
    lit = [(r.line, found) for r, note in rows if note is not None and (found := light_reading(note)) is not None]
    which = few([f"line {line}: {degrees:g}° at {rpm:.0f} rpm" for line, (degrees, rpm) in lit], 4)
    unlit = [f"{shown}: notes read like light readings ({which}): write them into strobe.csv, and they count"] if lit else []
    before: str | None = None
    for row, note in rows:
        said = set(_said(note or ""))
        text = f"{shown} line {row.line}: the note says {(note or '')[:_SHOWN]!r}"
        if said & _words("changed") and said & _words("footing"):
            warnings.append(
                f"{text}: pulls before and after it are compared as they stand; only settings run on both sides tell timing from "
                "what was changed"
            )
        elif said & _words("changed") and said & _words("curve") and before is not None and before == row.setting:
            questions.append(f"{text}, and the label is {row.setting!r} as in the row before: is it another setting from here on?")
        before = row.setting
    return NotesTold(tuple(questions), tuple(warnings), tuple(unlit))
