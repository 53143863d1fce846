"""What changed between two days of one engine, in five lines at most: settings, parts, conditions, and what may not be compared."""

from typing import Any

from pullbook.comparison.conditions import CONDITIONS, FOOTING, PARTS, UNITS

Plain = dict[str, Any]

_LEAST = {"air pressure": 0.2, "air temperature": 1.0, "vapour pressure": 0.1, "oil at start": 5.0, "coolant at start": 5.0}
"""Smaller differences than these (kPa, °C, kPa, °C, °C) are the same condition."""
_UNITS = UNITS | {"oil at start": "°C", "coolant at start": "°C"}
_LEAST_DEG = 0.5
_LISTED, _NAMED = 5, 3


def comparable(record: Plain) -> Plain:
    """What of a record (or of its outline) can be compared with another day's, a kilobyte or two.

    Parameters
    ----------
    record
        ``day, correction, pulls, shapes, timing_scale, conditions`` as in day.json.

    Returns
    -------
    dict
        ``day``; ``settings``: label -> initial and total advance with their intervals; ``conditions``; ``scale``.
    """
    pulls = [p for p in record.get("pulls") or [] if p.get("status") != "left_out"]
    shapes = {s.get("setting"): s for s in record.get("shapes") or []}
    named = dict.fromkeys(str(p["setting"]) for p in pulls if p.get("setting") is not None)
    ends = [f"{side}{what}" for what in ("initial_deg", "total_deg") for side in ("", "lo_", "hi_")]
    noted = dict(record.get("conditions") or {})
    for name, column in (("air pressure", "pressure_kpa"), ("air temperature", "temperature_c"), ("oil at start", "oil_c"),
                         ("coolant at start", "coolant_c")):  # fmt: skip
        if noted.get(name) is None:
            noted[name] = _mean([p.get(column) for p in pulls])
    correction = record.get("correction") or {}
    if correction.get("standard") is not None:
        noted["correction"] = correction["standard"]
    scale = record.get("timing_scale") or {}
    return {
        "day": record.get("day"),
        "settings": {name: {k: shapes.get(name, {}).get(k) for k in ends} for name in named},
        "conditions": noted,
        "scale": {k: scale.get(k) for k in ("log_minus_true_deg", "lo_deg", "hi_deg", "zero_mark_error_deg", "verified")},
    }


def changes(record: Plain, previous: Plain | None) -> list[str]:
    """Lines for ``changes`` of day.json: what changed since the engine's previous day; empty on its first day.

    Examples
    --------
    >>> before = {"day": "2031-04-05", "conditions": {"plugs": "heat 7"}, "timing_scale": {"verified": True}}
    >>> changes(before | {"day": "2031-05-02", "conditions": {"plugs": "heat 8"}}, before)
    ['1 thing changed since 2031-04-05: 1 part.', 'Parts: plugs heat 7 → heat 8.']
    """
    return told(comparable(record), comparable(previous)) if previous is not None else []


def told(now: Plain, before: Plain) -> list[str]:
    """The same from two :func:`comparable` extracts: at most five lines, the first with how many things changed."""
    settings, settings_changed = _settings(now["settings"], before["settings"])
    parts = _values(now, before, PARTS)
    around = _values(now, before, (*CONDITIONS, "oil at start", "coolant at start"))
    footing = _values(now, before, FOOTING)
    groups = [(settings_changed, "setting"), (len(parts), "part"), (len(around), "condition"), (len(footing), "point of footing")]
    total = sum(number for number, _ in groups)
    if total:
        counted = ", ".join(_count(number, word) for number, word in groups if number)
        first = f"{_count(total, 'thing')} changed since {before['day']}: {counted}."
    else:
        first = f"Nothing noted changed since {before['day']}: settings, parts and conditions are the same."
    lines = [first]
    lines += [
        f"{title}: {_listed(found)}."
        for title, found in (("Settings", settings), ("Parts", parts), ("Conditions", around))
        if found
    ]
    limits = not_like_for_like(now, before)
    if limits:
        lines.append(f"Not like for like: {'; '.join(limits)}.")
    return lines


def not_like_for_like(now: Plain, before: Plain) -> list[str]:
    """Why figures of two days (:func:`comparable` extracts) may not be set side by side as they are; empty where they may."""
    limits = []
    a, b = before["conditions"], now["conditions"]
    if a.get("dyno") != b.get("dyno") or a.get("dyno kind") != b.get("dyno kind"):
        names = [_dyno(c) for c in (a, b)]
        limits.append(f"another dyno ({names[0]} → {names[1]}), so compare advances, not torque")
    if a.get("correction") != b.get("correction"):
        limits.append(
            f"another correction ({_word(a.get('correction'))} → {_word(b.get('correction'))}), so torque differs by the standard"
        )
    if a.get("already corrected") != b.get("already corrected"):
        limits.append("one day's logs were corrected before they came here")
    marks, errors = (a.get("zero mark"), b.get("zero mark")), (_error(before), _error(now))
    if None not in marks and marks[0] != marks[1]:
        limits.append(f"the zero mark moved (stop readings {marks[0]} → {marks[1]})")
    elif None not in errors and abs(errors[1] - errors[0]) >= _LEAST_DEG:
        limits.append(f"the zero mark moved ({signed(errors[0])}° → {signed(errors[1])}°)")
    elif before["scale"].get("verified") is not True or now["scale"].get("verified") is not True:
        limits.append("the zero mark was not checked on both days, so light readings may differ by some 3°")
    if _apart(before["scale"], now["scale"]):
        was, is_now = (s["scale"]["log_minus_true_deg"] for s in (before, now))
        limits.append(f"the log's advance scale moved ({signed(was)}° → {signed(is_now)}°)")
    return limits


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


def _names(names: list[str]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(f"‘{n}’" for n in names[:_NAMED]) + more


def _moved(before: Plain, now: Plain, what: str) -> bool:
    """Different by more than half a degree, and the 90 % intervals (where there are any) do not meet."""
    if abs(now[what] - before[what]) < _LEAST_DEG:
        return False
    apart = _intervals_apart(*[(side.get(f"lo_{what}"), side.get(f"hi_{what}")) for side in (before, now)])
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
                found.append(f"{name} {was:.4g} → {is_now:.4g}{unit}")
        else:
            found.append(f"{name} {was} → {is_now}")
    return found


def _apart(before: Plain, now: Plain) -> bool:
    known = before.get("log_minus_true_deg") is not None and now.get("log_minus_true_deg") is not None
    return known and _intervals_apart(*[(s.get("lo_deg"), s.get("hi_deg")) for s in (before, now)]) is True


def _intervals_apart(a: tuple[Any, Any], b: tuple[Any, Any]) -> bool | None:
    """Whether two intervals do not meet; None where an end is not known."""
    if None in a or None in b:
        return None
    return bool(a[1] < b[0] or b[1] < a[0])


def signed(value: float, decimals: int = 1) -> str:
    """A number with its sign, a true minus.

    Examples
    --------
    >>> signed(-0.5), signed(2.44, 2)
    ('−0.5', '+2.44')
    """
    return f"{value:+.{decimals}f}".replace("-", "−")


def _error(side: Plain) -> Any:
    return side["scale"].get("zero_mark_error_deg") if side["scale"].get("verified") else None


def _mean(values: list[Any]) -> float | None:
    numbers = [float(v) for v in values if isinstance(v, int | float)]
    return round(sum(numbers) / len(numbers), 2) if numbers else None


def _listed(found: list[str]) -> str:
    more = f"; and {len(found) - _LISTED} more" if len(found) > _LISTED else ""
    return "; ".join(found[:_LISTED]) + more


def _count(number: int, word: str) -> str:
    if number == 1:
        return f"1 {word}"
    return f"{number} {word.replace('point', 'points', 1) if word.startswith('point') else word + 's'}"


def _dyno(noted: Plain) -> str:
    name, kind = noted.get("dyno"), noted.get("dyno kind")
    return f"{name}, {kind}" if name and kind else str(name or kind or "not noted")


def _word(value: Any) -> str:
    return "not noted" if value is None else str(value)
