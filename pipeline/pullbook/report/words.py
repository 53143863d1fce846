"""Numbers and outside text as a builder reads them: no more digits than the interval earns, words where nothing is known."""

import re
from collections.abc import Iterable
from math import isfinite
from typing import Any

from pullbook.wording import to_fifty

NOT_KNOWN = "not known"
_PLANE_ENDS = "".join(chr(plane * 0x10000 + end) for plane in range(1, 17) for end in (0xFFFE, 0xFFFF))
_UNSEEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b\u200e\u200f\u2028-\u202e\u2060-\u2069\ufdd0-\ufdef\ufeff\ufff9-\uffff\ud800-\udfff"
    + _PLANE_ENDS
    + "]"
)


def clean(text: object, longest: int = 600) -> str:
    """Outside text without control, direction-turning and unprintable characters, on one line, ``longest`` characters at most."""
    plain = str(text)[: 4 * longest]
    if not plain.isprintable():
        plain = _UNSEEN.sub("", plain.replace("\t", " ").replace("\r", " ").replace("\n", " "))
    plain = plain.strip()
    return plain if len(plain) <= longest else plain[: longest - 1] + "…"


def clean_all(value: Any, longest: int = 600) -> Any:
    """The same for every text inside dicts and lists; numbers that are not finite become None."""
    if isinstance(value, str):
        return clean(value, longest)
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, dict):
        return {clean(k): clean_all(v, longest) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [clean_all(v, longest) for v in value]
    return value


def short(text: str, longest: int = 16, kept: int | None = None) -> str:
    """A label short enough to stand in a picture; its end is kept (``kept`` letters, else a third), as settings differ there.

    Examples
    --------
    >>> short("stop changed to 24", 10)
    'stop c…24'
    """
    if len(text) <= longest:
        return text
    tail = max(longest // 3, 1) if kept is None else kept
    return text[: longest - tail - 1].rstrip() + "…" + text[-tail:].lstrip() if longest > 3 else text[:longest]


def told_apart(names: Iterable[str], longest: int) -> dict[str, str]:
    """Names cut to ``longest`` so that no two look alike where that can be: more of their ends is kept until they differ.

    Examples
    --------
    >>> told_apart(["distributor 16 total", "distributor 18 total"], 12)
    {'distributor 16 total': 'dis…16 total', 'distributor 18 total': 'dis…18 total'}
    """
    full = list(dict.fromkeys(names))
    for kept in (longest // 3, longest // 2, 2 * longest // 3, longest - 1):
        cut = {n: short(n, longest, kept) for n in full}
        if len(set(cut.values())) == len(full):
            return cut
    return {n: short(n, longest) for n in full}


def on_two_lines(text: str, longest: int) -> str:
    r"""A label on one line, or on two where it does not fit; only then cut.

    Examples
    --------
    >>> on_two_lines("soft, 2 more", 9), on_two_lines("base", 9)
    ('soft,\n2 more', 'base')
    """
    if len(text) <= longest:
        return text
    words = text.split()
    at = min(range(1, len(words)), key=lambda i: max(len(" ".join(words[:i])), len(" ".join(words[i:]))), default=0)
    return "\n".join(short(" ".join(part), longest) for part in (words[:at], words[at:]) if part)


def labels(names: Iterable[str], longest: int) -> dict[str, str]:
    """Names short enough for a picture: words that all of them share are dropped, then long ones stand on two lines.

    Examples
    --------
    >>> labels(["20 all through", "23 all through"], 9), labels(["base", "stop 24"], 9)
    ({'20 all through': '20', '23 all through': '23'}, {'base': 'base', 'stop 24': 'stop 24'})
    """
    full = list(dict.fromkeys(names))
    if all(len(n) <= longest for n in full) or len(full) < 2:
        return {n: on_two_lines(n, longest) for n in full}
    parts = [n.split() for n in full]
    most = min(map(len, parts)) - 1
    front = next((i for i in range(most) if len({p[i] for p in parts}) > 1), most)
    back = next((i for i in range(most - front) if len({p[-1 - i] for p in parts}) > 1), most - front)
    return {n: on_two_lines(" ".join(p[front : len(p) - back]), longest) for n, p in zip(full, parts, strict=True)}


def known(value: float | None) -> bool:
    """Whether a number is there at all: no None, no NaN, finite."""
    return value is not None and isfinite(value)


def number(value: float | None, places: int = 0) -> str:
    """A plain number with a true minus sign; words where it is not known.

    Examples
    --------
    >>> number(3740.2), number(-0.04, 1), number(None)
    ('3740', '0.0', 'not known')
    """
    if value is None or not isfinite(value):
        return NOT_KNOWN
    text = f"{value:,.{places}f}" if abs(value) >= 10_000 else f"{value:.{places}f}"
    if float(text.replace(",", "")) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−").replace(",", "\u202f")  # a comma is a decimal mark in half of the world


def half_width(lo: float | None, hi: float | None) -> float | None:
    """Half the width of an interval that is closed on both sides, in its unit; None where it is open."""
    return None if lo is None or hi is None else abs(hi - lo) / 2


def degrees(value: float | None, half: float | None = None) -> str:
    """Degrees to one, or to a tenth where the interval is within half a degree either way.

    Examples
    --------
    >>> degrees(33.72), degrees(33.72, 0.3), degrees(None)
    ('34°', '33.7°', 'not known')
    """
    return NOT_KNOWN if not known(value) else number(value, 1 if half is not None and half <= 0.5 else 0) + "°"


def setting_degrees(value: float | None) -> str:
    """Degrees to set, a tenth only where the number has one; words where it is not known."""
    return NOT_KNOWN if value is None else number(value, 0 if abs(value - round(value)) < 0.05 else 1) + "°"


def percent(value: float | None, half: float | None = None, *, signed: bool = False) -> str:
    """Per cent of torque to 0.5, or to 0.1 where the interval is within half a per cent either way: steps no coarser than its half.

    Examples
    --------
    >>> percent(0.62, 0.6, signed=True), percent(0.62, 0.4), percent(-0.1, 0.7)
    ('+0.5 %', '0.6 %', '0 %')
    """
    if value is None or not isfinite(value):
        return NOT_KNOWN
    fine = half is not None and half <= 0.5
    shown = round(value, 1) if fine else round(2 * value) / 2
    text = number(shown, 0 if shown == round(shown) else 1)
    return ("+" if signed and shown > 0 else "") + text + " %"


def between(lo: float | None, hi: float | None, unit: str = "", places: int = 0) -> str:
    """An interval in words, its open sides said, to so many ``places``."""
    if not known(lo) and not known(hi):
        return NOT_KNOWN
    if not known(hi):
        return f"above {number(lo, places)}{unit}"
    if not known(lo):
        return f"below {number(hi, places)}{unit}"
    return f"{number(lo, places)} to {number(hi, places)}{unit}"


def percent_between(lo: float | None, hi: float | None) -> str:
    """An interval of a change, per cent, to a tenth; words where an end is not known."""
    return NOT_KNOWN if lo is None or hi is None else f"{number(lo, 1)} to {number(hi, 1)} %"


def rpm(value: float | None) -> str:
    """Engine speed, 1/min, to one, with its unit; words where it is not known."""
    return NOT_KNOWN if value is None else f"{number(value)} rpm"


def setting_rpm(value: float | None) -> str:
    """Engine speed to set, 1/min, to fifty, as the note on springs says it; words where it is not known."""
    return rpm(None if value is None else to_fifty(value))
