"""What of two days may be set side by side, what only with a word beside it, and what not at all; and what would be needed."""

from dataclasses import dataclass
from typing import Any, Literal

from pullbook.comparison.conditions import PARTS
from pullbook.wording import noted, signed

Plain = dict[str, Any]
Level = Literal["refused", "qualified"]
Of = Literal["torque", "advance", "both"]

REFUSED: Level = "refused"
QUALIFIED: Level = "qualified"

#: reason -> (what, why, what would be needed)
REASONS: dict[str, tuple[str, str, str]] = {
    "engine torque": ("engine", "two engines make different torque whatever their timing", "two days of one engine"),
    "engine advance": ("engine", "another engine may want another advance", "two days of one engine"),
    "dyno": ("dyno", "two dynos do not read the same torque", "both settings on one dyno, on one day if it can be"),
    "dyno unknown": ("dyno", "nobody noted that it was the same dyno", "the dyno’s name in day.yaml of both days"),
    "day": (
        "day",
        "a dyno reads a little differently from day to day, which the ranges leave out",
        "A’s setting run again on B’s day",
    ),
    "correction unknown": (
        "correction",
        "the air of a day was not noted, or nobody knows what its logs were already corrected to",
        "station pressure and air temperature in day.yaml, or logs_already_corrected",
    ),
    "correction": (
        "correction",
        "two standards give different torque from the same pull",
        "the same correction in day.yaml of both days, from uncorrected logs",
    ),
    "air": ("air", "the standard does not vouch for its factor in such air", "a day inside the standard’s window"),
    "mark unchecked": (
        "timing mark",
        "an unchecked mark may be 3° off, and not the same 3° on both days",
        "a piston-stop check on both days",
    ),
    "mark moved": (
        "timing mark",
        "the mark moved: true degrees compare, light readings do not",
        "the mark set right, for light readings",
    ),
    "scale": ("log of advance", "the log’s scale moved: true degrees compare, logged ones do not", "nothing, for true degrees"),
    "fuel unknown": ("fuel", "fuel was noted on one day only", "fuel in day.yaml of both days"),
}
MOVES_BEST = ("fuel", "compression ratio", "mixture")
MOVED_DEG = 0.5
"""Less than this no timing mark, and no setting, is said to have moved."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One thing that stands between two days: whether it forbids or qualifies, of torque, of advance or of both."""

    what: str
    level: Level
    of: Of
    a: str
    b: str
    why: str
    needed: str


def limits(a: Plain, b: Plain) -> list[Limit]:
    """Everything that limits a comparison of two records, refusals first; nothing limits settings of one day.

    Parameters
    ----------
    a, b
        Two records (contract: day.json), or their :func:`~pullbook.comparison.comparable.comparable` extracts.

    Returns
    -------
    list of Limit
        Why torque or advance of the two is refused or to be qualified, and what would be needed to compare them.
    """
    if (a.get("engine"), a.get("day")) == (b.get("engine"), b.get("day")):
        return []  # one day has one dyno, one mark and one footing: its pulls were made comparable or left out
    found = [*_correction(a, b), *_scale(a, b), *_parts(a, b), *_dyno(a, b), *_mark(a, b)]
    if a.get("engine") != b.get("engine"):
        found += [_limit("engine torque", REFUSED, "torque", a.get("engine"), b.get("engine"))]
        found += [_limit("engine advance", QUALIFIED, "advance", a.get("engine"), b.get("engine"))]
    return sorted(found, key=lambda limit: limit.level != REFUSED)


def worst(found: list[Limit], of: str) -> str:
    """``allowed``, ``qualified`` or ``refused`` for torque or advance.

    Parameters
    ----------
    found
        Limits of the pair (:func:`limits`).
    of
        ``torque`` or ``advance``; limits of ``both`` count for either.
    """
    levels = {limit.level for limit in found if limit.of in (of, "both")}
    return REFUSED if REFUSED in levels else QUALIFIED if levels else "allowed"


def intervals_apart(a: tuple[float | None, float | None], b: tuple[float | None, float | None]) -> bool | None:
    """Whether two intervals (lo, hi) of one unit do not meet; None where an end is not known."""
    (a_lo, a_hi), (b_lo, b_hi) = a, b
    if a_lo is None or a_hi is None or b_lo is None or b_hi is None:
        return None
    return a_hi < b_lo or b_hi < a_lo


def _limit(reason: str, level: Level, of: Of, a: object, b: object) -> Limit:
    what, why, needed = REASONS[reason]
    return Limit(what, level, of, noted(a), noted(b), why, needed)


def _noted(record: Plain, name: str) -> Any:
    return (record.get("conditions") or {}).get(name)


def _dyno(a: Plain, b: Plain) -> list[Limit]:
    one, two = (", ".join(str(v) for v in (_noted(r, "dyno"), _noted(r, "dyno kind")) if v) or None for r in (a, b))
    if one is None or two is None:
        return [_limit("dyno unknown", QUALIFIED, "torque", one, two)]
    if one != two:
        return [_limit("dyno", REFUSED, "torque", one, two)]
    return [_limit("day", QUALIFIED, "torque", a.get("day"), b.get("day"))]


def _correction(a: Plain, b: Plain) -> list[Limit]:
    one, two = _standard(a), _standard(b)
    if one is None or two is None:
        return [_limit("correction unknown", REFUSED, "torque", one or "not known", two or "not known")]
    if one != two:
        return [_limit("correction", REFUSED, "torque", one, two)]
    outside = ["outside" if (r.get("correction") or {}).get("inside_window") is False else "inside" for r in (a, b)]
    return [_limit("air", QUALIFIED, "torque", *outside)] if "outside" in outside else []


def _standard(record: Plain) -> str | None:
    found = record.get("correction") or {}
    already = found.get("already_corrected")
    if already == "unknown":
        return None
    if already:
        return f"{already} (by the log)"
    if found.get("standard") == "none":
        return "none"
    return None if found.get("factor_min") is None else str(found.get("standard"))


def _mark(a: Plain, b: Plain) -> list[Limit]:
    scales = [r.get("timing_scale") or {} for r in (a, b)]
    one, two = (s.get("zero_mark_error_deg") for s in scales)
    shown = [_mark_words(s) for s in scales]
    if not all(s.get("verified") for s in scales):
        return [_limit("mark unchecked", QUALIFIED, "advance", *shown)]
    if one is not None and two is not None and abs(float(one) - float(two)) >= MOVED_DEG:
        return [_limit("mark moved", QUALIFIED, "advance", *shown)]
    return []


def _mark_words(scale: Plain) -> str:
    error = scale.get("zero_mark_error_deg")
    return "not checked" if not scale.get("verified") else "checked" + (f", {signed(error)}°" if error is not None else "")


def _scale(a: Plain, b: Plain) -> list[Limit]:
    one, two = (r.get("timing_scale") or {} for r in (a, b))
    known = all(s.get("log_minus_true_deg") is not None for s in (one, two))
    if not known or not intervals_apart(*((s.get("lo_deg"), s.get("hi_deg")) for s in (one, two))):
        return []
    return [_limit("scale", QUALIFIED, "advance", *(f"{signed(s['log_minus_true_deg'])}°" for s in (one, two)))]


def _parts(a: Plain, b: Plain) -> list[Limit]:
    found = []
    for name in (*PARTS, "mixture"):
        was, now = _noted(a, name), _noted(b, name)
        if was is not None and now is not None and was != now:
            why = f"{name} changed too: nobody can part its share from timing’s"
            of: Of = "both" if name in MOVES_BEST else "torque"
            found.append(Limit(name, QUALIFIED, of, str(was), str(now), why, f"both with the same {name}"))
        elif name == "fuel" and (was is None) != (now is None):
            found.append(_limit("fuel unknown", QUALIFIED, "both", was, now))
    return found
