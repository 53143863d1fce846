"""A day as a row of the lists: the index, an engine's history, the catalogue; and what is said of it in so few words."""

from typing import Any
from urllib.parse import quote

from pullbook.report import words
from pullbook.report.model import count_pulls, repeats_within, sentence
from pullbook.report.view import mapped
from pullbook.report.words import clean_all, number, setting_degrees
from pullbook.wording import counted

NO_BAND = "not placed"


def advised(record: dict[str, Any]) -> str:
    """The setting advised, short enough for a list."""
    advice = record.get("advice") or {}
    curve = advice.get("mechanical") or {}
    if curve.get("total_deg") is not None and not mapped(record):
        initial = curve.get("initial_deg")
        text = f"{setting_degrees(curve['total_deg'])} total" + (
            f", {setting_degrees(initial)} initial" if initial is not None else ""
        )
        return text + (f", all in by {words.setting_rpm(curve['all_in_rpm'])}" if curve.get("all_in_rpm") is not None else "")
    table = [r for r in advice.get("table") or [] if r.get("delivered_deg") is not None]
    if table:
        top = max(table, key=lambda r: r["rpm"])
        return f"table of {counted(len(table), 'point')}, {setting_degrees(top['delivered_deg'])} at {words.rpm(top['rpm'])}"
    return "none"


def best_band(record: dict[str, Any]) -> str:
    """The band of advance that costs next to nothing: the part common to all rpm, or the middle row's where there is none."""
    rows = record.get("best") or []
    placed = [r for r in rows if r.get("band_lo_deg") is not None and r.get("band_hi_deg") is not None]
    if placed:
        lo, hi = max(r["band_lo_deg"] for r in placed), min(r["band_hi_deg"] for r in placed)
        if lo <= hi:
            return f"{number(lo)} to {number(hi)}° over {number(placed[0]['rpm'])} to {words.rpm(placed[-1]['rpm'])}"
        middle = placed[len(placed) // 2]
        return f"{number(middle['band_lo_deg'])} to {number(middle['band_hi_deg'])}° at {words.rpm(middle['rpm'])}, moves with rpm"
    states = {r.get("state") for r in rows}
    if "above_tested" in states:
        return "above what was run"
    return "below what was run" if "below_tested" in states else NO_BAND


def _placed(record: dict[str, Any]) -> dict[str, Any] | None:
    """The row in the middle of those where the best was found: rpm, best, its range and its band, degrees."""
    rows = [r for r in record.get("best") or [] if r.get("best_deg") is not None]
    if not rows:
        return None
    names = ("rpm", "best_deg", "lo_deg", "hi_deg", "band_lo_deg", "band_hi_deg")
    return {name: rows[len(rows) // 2].get(name) for name in names}


def _total(record: dict[str, Any]) -> float | None:
    """Total advance advised, or what the table ends with."""
    advice = record.get("advice") or {}
    if mapped(record):
        table = [r for r in advice["table"] if r.get("delivered_deg") is not None]
        return float(max(table, key=lambda r: r["rpm"])["delivered_deg"])
    total = (advice.get("mechanical") or {}).get("total_deg")
    return None if total is None else float(total)


def address(name: str) -> str:
    """A folder's name as a part of an address."""
    return quote(name, safe="", errors="surrogateescape")


def summary(record: dict[str, Any]) -> dict[str, Any]:
    """One row of the index, the engine's history and the catalogue: plain text and numbers, from the record alone.

    Returns
    -------
    dict
        ``engine, title, day, sentence, advised, best_band, placed, total_deg`` (crank degrees or None), ``repeatability,
        pull_sd_pct`` (% or None), ``pulls, settings, changes, notes, fuel, dyno, questions`` (count), ``made_at, tool_version,
        href`` (``<engine>/<day>/report.html``, percent-encoded, from the reports folder), ``logs_here``. The caller may add or
        overrule any of them.
    """
    shown = clean_all(record)
    engine, day = str(shown.get("engine", "")), str(shown.get("day", ""))
    facts = shown.get("facts") or {}
    of_day = facts.get("day") or {}
    dyno = of_day.get("dyno")
    return {
        "engine": engine,
        "title": str((facts.get("engine") or {}).get("name") or ""),
        "day": day,
        "sentence": sentence(shown),
        "advised": advised(shown),
        "best_band": best_band(shown),
        "placed": _placed(shown),
        "total_deg": _total(shown),
        "repeatability": repeats_within(shown),
        "pull_sd_pct": (shown.get("repeatability") or {}).get("pull_sd_pct"),
        "pulls": count_pulls(shown.get("pulls") or []),
        "settings": list({str(p["setting"]): None for p in shown.get("pulls") or [] if p.get("setting") is not None}),
        "changes": [str(c) for c in shown.get("changes") or []],
        "notes": str(of_day.get("notes") or ""),
        "fuel": str(of_day.get("fuel") or (facts.get("engine") or {}).get("fuel") or ""),
        "dyno": str((dyno.get("name") if isinstance(dyno, dict) else dyno) or ""),
        "questions": len(shown.get("questions") or []),
        "made_at": shown.get("made_at"),
        "tool_version": shown.get("tool_version"),
        "href": f"{address(str(record.get('engine', '')))}/{address(str(record.get('day', '')))}/report.html",
        "logs_here": True,
    }
