"""The tables of the evidence: pulls, curves, facts and files, as finished words."""

from dataclasses import asdict
from typing import Any

from pullbook.columns import NOTED
from pullbook.facts import DayFacts
from pullbook.report.canvas import Table
from pullbook.report.view import DayView
from pullbook.report.words import between, number, setting_degrees
from pullbook.wording import noted

UNIT_ENDS = {
    "_kg_m2": "kg·m²", "_deg": "°", "_rpm": "rpm", "_kpa": "kPa", "_pct": "%", "_mm": "mm", "_l": "l", "_m": "m", "_c": "°C",
}  # fmt: skip
"""What a fact's name ends in -> its unit as written."""


def enter_table(shown: DayView) -> Table | None:
    """What to enter for mapped ignition; None where springs and stop make the curve."""
    rows = shown.advice.get("table") or []
    if not rows or shown.mechanical:
        return None
    cells = tuple(
        (number(r.get("rpm")), setting_degrees(r.get("delivered_deg")), setting_degrees(r.get("enter_deg"))) for r in rows
    )
    return Table("What to put in the table", ("rpm", "at the spark", "enter"), cells, (True, True, True))


def pulls_table(shown: DayView) -> Table:
    """Every pull in the order run, with its reasons and notes."""
    sheet = shown.sheet()
    words_of = {"used": "used", "part": "in part", "left_out": "left out"}
    heard: dict[str, str] = {}
    for note in shown.record.get("knock") or []:
        text = noted(note.get("word"))
        if text in NOTED and note.get("rpm_lo") is not None:
            text += f" {between(note['rpm_lo'], note.get('rpm_hi'))}"
        heard[note["pull_id"]] = "; ".join(t for t in (heard.get(note["pull_id"]), text) if t)
    rows = []
    for p in shown.pulls:
        notes = "; ".join(str(t) for t in [*(p.get("reasons") or []), sheet.get(p["pull_id"], {}).get("notes")] if t)
        rows.append(
            (
                noted(p.get("order")),
                noted(p.get("setting")) + (" (baseline)" if p.get("baseline") else ""),
                words_of.get(noted(p.get("status")), ""),
                number(p.get("mean_torque_nm"), 1),
                between(p.get("rpm_min"), p.get("rpm_max")),
                number(p.get("seconds"), 1),
                number(p.get("air_factor"), 4) if p.get("air_factor") is not None else "none",
                heard.get(p["pull_id"], "not listened"),
                noted(p.get("file")),
                notes or "–",
            )
        )
    heads = ("pull", "setting", "status", "mean torque, N·m", "rpm", "seconds", "air factor", "knock", "log", "reasons and notes")
    return Table("Pulls in the order run", heads, tuple(rows), (True, False, False, True, True, True, True, False, False, False))


def shapes_table(shown: DayView) -> Table | None:
    """Curves of the settings as delivered; None where no number of them is known."""
    shapes = shown.record.get("shapes") or []
    if not shapes:
        return None

    def cell(s: dict[str, Any], name: str, places: int) -> str:
        if s.get(name) is None:
            return "–"
        lo, hi = s.get(f"lo_{name}"), s.get(f"hi_{name}")
        return number(s[name], places) + (f" ({between(lo, hi, '', places)})" if lo is not None or hi is not None else "")

    rows = tuple(
        (
            noted(s.get("setting")),
            noted(s.get("family")),
            cell(s, "initial_deg", 1),
            cell(s, "total_deg", 1),
            cell(s, "start_rpm", 0),
            cell(s, "knee_rpm", 0),
            cell(s, "knee_deg", 1),
            cell(s, "all_in_rpm", 0),
            "–" if s.get("hysteresis_deg") is None else number(s["hysteresis_deg"], 1),
        )
        for s in shapes
    )
    heads = (
        "setting",
        "kind",
        "initial, °",
        "total, °",
        "starts, rpm",
        "bends, rpm",
        "bends at, °",
        "all in, rpm",
        "down less up, °",
    )
    said = [i for i in range(len(heads)) if i < 2 or any(row[i] != "–" for row in rows)]
    if len(said) == 2:
        return None
    cells = tuple(tuple(row[i] for i in said) for row in rows)
    return Table(
        "Curves as delivered (likely range in brackets)", tuple(heads[i] for i in said), cells, tuple(i >= 2 for i in said)
    )


def facts_table(record: dict[str, Any]) -> Table | None:
    """Engine and day as they were taken: what the fact files say, and what goes without saying; None where there is neither."""
    rows = []
    taken_anyway = set(_flat(asdict(DayFacts())))
    for part, source in (("engine", "engine.yaml"), ("day", "day.yaml")):
        for name, value in _flat((record.get("facts") or {}).get(part) or {}):
            unsaid = part == "day" and (name, value) in taken_anyway
            rows.append((_named(name), value, f"{source}, or not written: the usual" if unsaid else source))
    return Table("Engine and day as taken", ("fact", "value", "from"), tuple(rows[:120])) if rows else None


def _flat(value: Any, name: str = "") -> list[tuple[str, str]]:
    if isinstance(value, dict):
        return [pair for k, v in value.items() for pair in _flat(v, f"{name} {k}".strip())]
    if value is None or value == [] or value == "":
        return []
    if isinstance(value, list):
        if any(isinstance(v, dict) for v in value):
            return [
                (
                    name,
                    "; ".join(", ".join(_part(a, b) for a, b in _flat(v)) for v in value if isinstance(v, dict)),
                )
            ]
        return [(name, ", ".join(_plain(v) for v in value))]
    return [(name, _plain(value))]


def _named(name: str) -> str:
    """A fact's name as it is said, its unit behind a comma: the ending of its name in the file.

    Examples
    --------
    >>> _named("rotating_inertia_kg_m2"), _named("limits tolerance_pct"), _named("used_rpm"), _named("name")
    ('rotating inertia, kg·m²', 'limits tolerance, %', 'used, rpm', 'name')
    """
    stem, unit = next(((name.removesuffix(end), u) for end, u in UNIT_ENDS.items() if name.endswith(end)), (name, ""))
    return stem.replace("_", " ").replace("tdc", "TDC") + (f", {unit}" if unit else "")


def _part(name: str, value: str) -> str:
    """A fact of a list in words: ``start 1100 rpm``; its name alone where it is one."""
    said, _, unit = _named(name).partition(", ")
    return value if said == "name" else f"{said} {value}{'' if unit == '°' else ' '}{unit}".rstrip()


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.5g}" if isinstance(value, float) else str(value)


def inputs_table(record: dict[str, Any]) -> Table | None:
    """Files behind the record with their hashes."""
    rows = tuple((noted(i.get("file")), str(i.get("sha256") or "")[:16]) for i in record.get("inputs") or [])
    return Table("Files this report was made from (first 16 digits of their SHA-256)", ("file", "hash"), rows) if rows else None
