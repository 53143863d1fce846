"""What changed between two days of one engine, in five lines at most: settings, parts, conditions, and what may not be compared."""

from collections.abc import Sequence
from typing import Any

from pullbook.comparison.comparable import comparable
from pullbook.comparison.conditions import CONDITIONS, FOOTING, PARTS, UNITS
from pullbook.comparison.may_compare import MOVED_DEG, intervals_apart, limits
from pullbook.wording import counted, few, plain

Plain = dict[str, Any]

_LEAST = {"air pressure": 0.2, "air temperature": 1.0, "vapour pressure": 0.1, "oil at start": 5.0, "coolant at start": 5.0}
"""Smaller differences than these (kPa, °C, kPa, °C, °C) are the same condition."""
_PLACES = {"air pressure": 1, "air temperature": 1, "vapour pressure": 2, "oil at start": 0, "coolant at start": 0}
_UNITS = UNITS | {"oil at start": "°C", "coolant at start": "°C"}
_LISTED, _NAMED = 5, 3


def changes(record: Plain, previous: Plain | None) -> list[str]:
    """Lines for ``changes`` of day.json: what changed since the engine's previous day; empty on its first day.

    Parameters
    ----------
    record, previous
        Records or their outlines, with the keys that :func:`pullbook.comparison.comparable.comparable` reads.

    Examples
    --------
    >>> day = {"correction": {"standard": "none"}, "timing_scale": {"verified": True}}
    >>> before = day | {"day": "2031-04-05", "conditions": {"plugs": "heat 7", "dyno": "cell 2"}}
    >>> changes(day | {"day": "2031-05-02", "conditions": {"plugs": "heat 8", "dyno": "cell 2"}}, before)
    ['1 thing changed since 2031-04-05: 1 part.', 'Parts: plugs heat 7 → heat 8.']
    """
    return told(comparable(record), comparable(previous)) if previous is not None else []


def told(now: Plain, before: Plain) -> list[str]:
    """The same from two :func:`~pullbook.comparison.comparable.comparable` extracts: at most five lines.

    Parameters
    ----------
    now, before
        Extracts of two days' records (:func:`~pullbook.comparison.comparable.comparable`), the later one first.
    """
    apart = not_like_for_like(now, before)
    return what_changed(now, before) + ([f"Not like for like: {'; '.join(apart)}."] if apart else [])


_LIMITED_AS = {"zero mark": "timing mark", "dyno kind": "dyno", "already corrected": "correction"}
"""What is compared -> what a limit of the comparison calls it, where that is another word."""


def what_changed(now: Plain, before: Plain, *, of_settings: bool = True) -> list[str]:
    """Settings, parts and conditions of two extracts that differ: how many things, then a line for each kind.

    Parameters
    ----------
    now, before
        Extracts of two days' records (:func:`~pullbook.comparison.comparable.comparable`), the later one first.
    of_settings
        Whether the settings run count; False where one setting of each day is looked at and the others are beside the point.
    """
    settings, settings_changed = _settings(now["settings"], before["settings"]) if of_settings else ([], 0)
    parts = _values(now, before, PARTS)
    around = _values(now, before, (*CONDITIONS, "oil at start", "coolant at start"))
    footing = _values(now, before, FOOTING)
    groups = [
        counted(settings_changed, "setting") if settings_changed else None,
        counted(len(parts), "part") if parts else None,
        counted(len(around), "condition") if around else None,
        f"{len(footing)} of dyno, correction and mark" if footing else None,
    ]
    total = settings_changed + len(parts) + len(around) + len(footing)
    if total:
        first = f"{counted(total, 'thing')} changed since {before['day']}: {', '.join(filter(None, groups))}."
    else:
        same = "settings, parts" if of_settings else "parts"
        first = f"Nothing noted changed since {before['day']}: {same} and conditions are the same."
    kinds = (
        ("Settings", settings),
        ("Parts", parts),
        ("Conditions", around),
        ("Dyno, correction and mark", _said_nowhere_else(now, before)),
    )
    return [first] + [f"{title}: {_row(found)}." for title, found in kinds if found]


def not_like_for_like(now: Plain, before: Plain) -> list[str]:
    """Why figures of two days (extracts) may not be set side by side as they are; empty where they may.

    Left out are parts, which stand among the changes, and that a dyno reads a little differently every day.

    Parameters
    ----------
    now, before
        Extracts of two days' records (:func:`~pullbook.comparison.comparable.comparable`), the later one first.

    Returns
    -------
    list of str
        One reason each, with both values where they differ.
    """
    apart = [limit for limit in limits(before, now) if limit.what not in ("day", *PARTS, *CONDITIONS)]
    return [limit.what + (f" {limit.a} → {limit.b}" if limit.a != limit.b else "") + f": {limit.why}" for limit in apart]


def _settings(now: Plain, before: Plain) -> tuple[list[str], int]:
    """What differs between the settings of two days, in words, and how many settings that are."""
    moved = []
    for name in now:
        if name in before:
            for what, word in (("initial_deg", "initial"), ("total_deg", "total")):
                was, is_now = before[name].get(what), now[name].get(what)
                if was is not None and is_now is not None and _moved(before[name], now[name], what):
                    moved.append(f"{name} {word} {was:.1f} → {is_now:.1f}°")
    new, gone = [n for n in now if n not in before], [n for n in before if n not in now]
    found = [*moved]
    if new:
        found.append(f"new {_names(new)}")
    if gone:
        found.append(f"not run again {_names(gone)}")
    return found, len(moved) + len(new) + len(gone)


def _said_nowhere_else(now: Plain, before: Plain) -> list[str]:
    """What differs of dyno, correction and mark, too little to limit a comparison; :func:`not_like_for_like` has the others."""
    limited = {limit.what for limit in limits(before, now)}
    return _values(now, before, tuple(name for name in FOOTING if _LIMITED_AS.get(name, name) not in limited))


def _names(names: Sequence[str]) -> str:
    return few([f"‘{n}’" for n in names], _NAMED)


def _moved(before: Plain, now: Plain, what: str) -> bool:
    """Different by more than half a degree, and the 90 % intervals (where there are any) do not meet."""
    if abs(now[what] - before[what]) < MOVED_DEG:
        return False
    apart = intervals_apart(*[(side.get(f"lo_{what}"), side.get(f"hi_{what}")) for side in (before, now)])
    return apart is not False


def _values(now: Plain, before: Plain, names: tuple[str, ...]) -> list[str]:
    found = []
    for name in names:
        was, is_now = before["conditions"].get(name), now["conditions"].get(name)
        if was is None or is_now is None or was == is_now:
            continue  # noted on one day only: nobody knows whether it changed
        unit = f" {_UNITS[name]}" if name in _UNITS else ""
        if isinstance(was, int | float) and isinstance(is_now, int | float):
            if abs(is_now - was) >= _LEAST.get(name, 1e-9):
                found.append(f"{name} {' → '.join(_alike(was, is_now, _PLACES.get(name)))}{unit}")
        else:
            found.append(f"{name} {was} → {is_now}")
    return found


def _alike(was: float, is_now: float, places: int | None) -> list[str]:
    """Both values with the same decimals, none that both could do without; as they are written where no ``places`` are set."""
    if places is None:
        return [f"{v:.4g}" for v in (was, is_now)]
    needed = max(len(plain(v, places).partition(".")[2]) for v in (was, is_now))
    return [f"{v:.{needed}f}".replace("-", "−") for v in (was, is_now)]


def _row(found: list[str]) -> str:
    more = f"; and {len(found) - _LISTED} more" if len(found) > _LISTED else ""
    return "; ".join(found[:_LISTED]) + more
