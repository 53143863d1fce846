"""Two days or settings side by side: compare.json and compare.html. What may not be compared is refused by name, not blanked."""

import json
from pathlib import Path
from typing import Any

import polars as pl

from pullbook.comparison.may_compare import REFUSED
from pullbook.comparison.two_sides import Side, two_sides
from pullbook.report import html
from pullbook.report.canvas import Table
from pullbook.report.day_row import address, advised, best_band
from pullbook.report.figures import two_days
from pullbook.report.model import air, count_pulls, mark, repeats_within, sentence
from pullbook.report.words import between, clean_all, number, percent_between, rpm

Plain = dict[str, Any]

_OF_THE_DAY = "–"
"""Stands for what is said of a whole day where a side is one setting; a row with nothing else is left out."""


def compare_days(
    record_a: Plain,
    record_b: Plain,
    setting_a: str | None = None,
    setting_b: str | None = None,
    *,
    curves_a: pl.DataFrame | None = None,
    curves_b: pl.DataFrame | None = None,
) -> Plain:
    """Compare two records, B against A.

    Parameters
    ----------
    record_a, record_b
        Records of two days (or one day twice).
    setting_a, setting_b
        Settings to compare; None: the day's best advance and best torque.
    curves_a, curves_b
        The days' ``setting_curves`` tables (``setting, rpm, torque_nm, lo_nm, hi_nm``); without them the torque of a setting is
        not known.

    Returns
    -------
    dict
        As :func:`pullbook.comparison.two_sides.two_sides`, and ``sentence``.

    Raises
    ------
    KeyError
        A setting was not run on its day.
    """
    a, b = Side(clean_all(record_a), setting_a, curves_a), Side(clean_all(record_b), setting_b, curves_b)
    answer = two_sides(a, b)
    return answer | {"sentence": _sentence(answer)}


def render_compare(a: Plain, b: Plain, comparison: Plain, folder: Path) -> list[Path]:
    """Write compare.html and compare.json.

    Parameters
    ----------
    a, b
        The two records.
    comparison
        What :func:`compare_days` found.
    folder
        ``reports/compare/<a>--<b>``; made if need be.
    """
    folder.mkdir(parents=True, exist_ok=True)
    shown = clean_all(comparison)
    span = two_days.span(shown)
    drawn = [html.figure(p, span) for p in (two_days.torque(shown), two_days.advance(shown)) if p is not None]
    sides = [_facts(Side(clean_all(record), shown[which]["setting"])) for record, which in ((a, "a"), (b, "b"))]
    rows = tuple((x[0], x[1], y[1]) for x, y in zip(*sides, strict=True) if {x[1], y[1]} != {_OF_THE_DAY})
    table = Table("The two sides", ("", "A", "B"), rows)
    links = [f"../../{address(str(r.get('engine')))}/{address(str(r.get('day')))}/report.html" for r in (a, b)]
    page = html.page("compare.html.j2", c=shown, figures=drawn, sides=table, links=links)
    files = {
        folder / "compare.html": page.encode("utf-8", "replace"),
        folder / "compare.json": json.dumps(comparison, ensure_ascii=False, allow_nan=False, indent=1).encode(
            "utf-8", "backslashreplace"
        ),
    }
    for path, data in files.items():
        path.write_bytes(data)
    return list(files)


def _sentence(c: Plain) -> str:
    if c["torque"] == REFUSED:
        why = next(limit for limit in c["limits"] if limit["level"] == REFUSED)
        return f"Torque of the two may not be compared: {why['why']}. Needed: {why['needed']}."
    if c["change_pct"] is None:
        if None in (c["a"]["setting"], c["b"]["setting"]):
            return (
                "Torque at the best advance is not known on both sides at any common rpm, as the best was not found there; "
                "name a setting of each (ENGINE/DAY:SETTING) to compare what was run."
            )
        return "Torque of the two is not known at any common rpm; advances are set side by side below."
    way = "more" if c["change_pct"] > 0 else "less"
    span = [r["rpm"] for r in c["torque_rows"]]
    over = (
        f"over {number(min(span))} to {rpm(max(span))}"
        if len(span) > 1
        else f"at {rpm(span[0])}"
        if span
        else "over the rpm both ran"
    )
    text = f"B makes {number(abs(c['change_pct']), 1)} % {way} torque than A {over}"
    if abs(c["change_pct"]) < 0.05:
        text = f"A and B make the same torque {over}, to a tenth of a per cent"
    text += f" (likely {percent_between(c['lo_pct'], c['hi_pct'])})" if c["lo_pct"] is not None else " (no range known)"
    return text + (", with the reservations below." if c["torque"] != "allowed" else ".")


def _facts(side: Side) -> list[tuple[str, str]]:
    record = side.record
    noted = record.get("conditions") or {}
    scale = record.get("timing_scale") or {}
    log_scale = f"{number(scale.get('log_minus_true_deg'), 1)}°, {between(scale.get('lo_deg'), scale.get('hi_deg'), '°', 1)}"
    whole_day = side.setting is None
    return [
        ("engine", str(record.get("engine"))),
        ("day", str(record.get("day"))),
        ("setting", side.setting or "the day’s best"),
        ("pulls", count_pulls(side.pulls)),
        ("the day in a sentence", sentence(record) if whole_day else _OF_THE_DAY),
        ("set", advised(record) if whole_day else _OF_THE_DAY),
        ("best band", best_band(record) if whole_day else _OF_THE_DAY),
        ("a repeat lands", repeats_within(record)),
        ("air", air(record)),
        ("timing mark", mark(record)),
        ("log less true", "not known" if scale.get("log_minus_true_deg") is None else log_scale),
        *((name, str(noted.get(name) or "not noted")) for name in ("dyno", "fuel", "oil", "plugs", "mixture")),
    ]
