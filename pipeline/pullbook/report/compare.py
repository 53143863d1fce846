"""Two days or settings side by side: compare.json and compare.html. What may not be compared is refused by name, not blanked."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pullbook.comparison.changes import what_changed
from pullbook.comparison.comparable import comparable
from pullbook.comparison.may_compare import REFUSED, limits, worst
from pullbook.comparison.same_day import WHOLE, own_effects
from pullbook.measure.normal import Z90
from pullbook.report import drawing, html
from pullbook.report.canvas import Table
from pullbook.report.figures import two_days
from pullbook.report.model import address, advised, air, best_band, count_pulls, mark, repeats, sentence
from pullbook.report.words import between, clean_all, number, percent_between
from pullbook.wording import noted

Plain = dict[str, Any]


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
        ``a, b``: what each side is; ``torque, advance``: allowed, qualified or refused; ``limits``: why, and what would be needed;
        ``torque_rows``: ``rpm, a_nm, b_nm, change_pct, lo_pct, hi_pct``; ``advance_rows``: ``rpm, a_deg, b_deg, change_deg,
        lo_deg, hi_deg``; ``best_rows``: the same of best advance; ``change_pct, lo_pct, hi_pct`` over the common rpm;
        ``changed``; ``sentence``.

    Raises
    ------
    KeyError
        A setting was not run on its day.
    """
    a, b = clean_all(record_a), clean_all(record_b)
    for record, setting in ((a, setting_a), (b, setting_b)):
        if setting is not None and setting not in _settings(record):
            raise KeyError(
                f"{setting!r} was not run on {noted(record.get('day'))}; run were: {', '.join(_settings(record)) or 'none'}"
            )
    found = limits(a, b)
    torque, advance = worst(found, "torque"), worst(found, "advance")
    torque_rows = [] if torque == REFUSED else _torque(a, b, setting_a, setting_b, curves_a, curves_b)
    whole = _whole(torque_rows)
    if (a.get("engine"), a.get("day")) == (b.get("engine"), b.get("day")):
        own = own_effects(a, setting_a, setting_b)
        torque_rows = [row | _told(own[row["rpm"]]) if row["rpm"] in own else row for row in torque_rows]
        whole = _told(own[WHOLE]) if WHOLE in own else whole
    answer: Plain = {
        "schema": 1,
        "a": _side(a, setting_a),
        "b": _side(b, setting_b),
        "torque": torque,
        "advance": advance,
        "limits": [asdict(limit) for limit in found],
        "torque_rows": torque_rows,
        "advance_rows": _pairs(_delivered(a, setting_a), _delivered(b, setting_b)),
        "best_rows": _pairs(_best(a), _best(b)),
        **whole,
        "changed": _changed(a, b),
    }
    answer["sentence"] = _sentence(answer)
    return answer


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
    pictures = [p for p in (two_days.torque(shown), two_days.advance(shown)) if p is not None]
    drawn = []
    for p in pictures:
        span = two_days.span(shown)
        drawn.append(
            {
                "picture": p,
                "wide": html.own_markup(drawing.svg(p, span, narrow=False)),
                "narrow": html.own_markup(drawing.svg(p, span, narrow=True)),
            }
        )
    sides = [_facts(r, shown[k]) for r, k in ((clean_all(a), "a"), (clean_all(b), "b"))]
    table = Table("The two sides", ("", "A", "B"), tuple((x[0], x[1], y[1]) for x, y in zip(*sides, strict=True)))
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


def _settings(record: Plain) -> list[str]:
    return list(dict.fromkeys(str(p["setting"]) for p in record.get("pulls") or [] if p.get("setting") is not None))


def _side(record: Plain, setting: str | None) -> Plain:
    pulls = [p for p in record.get("pulls") or [] if setting is None or p.get("setting") == setting]
    return {
        "engine": record.get("engine"),
        "day": record.get("day"),
        "setting": setting,
        "pulls_used": sum(p.get("status") in ("used", "part") for p in pulls),
        "name": f"{noted(record.get('engine'))}, {noted(record.get('day'))}" + (f", {setting}" if setting is not None else ""),
    }


def _torque(a: Plain, b: Plain, name_a: str | None, name_b: str | None, curves_a: Any, curves_b: Any) -> list[Plain]:
    left, right = _curve(a, name_a, curves_a), _curve(b, name_b, curves_b)
    rows = []
    for rpm in sorted(left.keys() & right.keys()):
        (ta, la, ha), (tb, lb, hb) = left[rpm], right[rpm]
        change = 100 * (tb / ta - 1)
        row = {
            "rpm": rpm,
            "a_nm": round(ta, 2),
            "b_nm": round(tb, 2),
            "change_pct": round(change, 3),
            "lo_pct": None,
            "hi_pct": None,
        }
        if None not in (la, ha, lb, hb):  # two means that share nothing: their half-widths add as squares
            half = 100 * tb / ta * float(np.hypot((ha - la) / 2 / ta, (hb - lb) / 2 / tb))
            row |= {"lo_pct": round(change - half, 3), "hi_pct": round(change + half, 3)}
        rows.append(row)
    return rows


def _curve(record: Plain, setting: str | None, curves: pl.DataFrame | None) -> dict[int, tuple[Any, Any, Any]]:
    if setting is None:
        half = _level_pct(record)
        rows = [(r["rpm"], r["best_torque_nm"]) for r in record.get("best") or [] if r.get("best_torque_nm")]
        return {n: (t, None, None) if half is None else (t, t * (1 - half / 100), t * (1 + half / 100)) for n, t in rows}
    if curves is None:
        return {}
    mine = curves.filter((pl.col("setting") == setting) & pl.col("torque_nm").is_not_null() & (pl.col("torque_nm") > 0))
    return {r["rpm"]: (r["torque_nm"], r["lo_nm"], r["hi_nm"]) for r in mine.iter_rows(named=True)}


def _level_pct(record: Plain) -> float | None:
    """How well a day's level of torque is known, 90 %: the spread of one pull over the root of the pulls behind it."""
    sd = (record.get("repeatability") or {}).get("pull_sd_pct")
    used = sum(p.get("status") in ("used", "part") for p in record.get("pulls") or [])
    return Z90 * sd / float(np.sqrt(used)) if sd is not None and used else None


def _delivered(record: Plain, setting: str | None) -> dict[int, tuple[Any, Any, Any]]:
    if setting is None:
        return {}
    rows = [r for r in record.get("delivered") or [] if r.get("setting") == setting and r.get("direction") != "down"]
    return {r["rpm"]: (r["advance_deg"], r.get("lo_deg"), r.get("hi_deg")) for r in rows if r.get("advance_deg") is not None}


def _best(record: Plain) -> dict[int, tuple[Any, Any, Any]]:
    return {
        r["rpm"]: (r["best_deg"], r.get("lo_deg"), r.get("hi_deg"))
        for r in record.get("best") or []
        if r.get("best_deg") is not None
    }


def _pairs(left: dict[int, tuple[Any, Any, Any]], right: dict[int, tuple[Any, Any, Any]]) -> list[Plain]:
    rows = []
    for rpm in sorted(left.keys() & right.keys()):
        (va, la, ha), (vb, lb, hb) = left[rpm], right[rpm]
        change = vb - va
        row = {"rpm": rpm, "a_deg": va, "b_deg": vb, "change_deg": round(change, 2), "lo_deg": None, "hi_deg": None}
        if None not in (la, ha, lb, hb):
            half = float(np.hypot((ha - la) / 2, (hb - lb) / 2))
            row |= {"lo_deg": round(change - half, 2), "hi_deg": round(change + half, 2)}
        rows.append(row)
    return rows


def _told(change: tuple[float, float, float]) -> Plain:
    return dict(zip(("change_pct", "lo_pct", "hi_pct"), change, strict=True))


def _whole(rows: list[Plain]) -> Plain:
    """Change over all common rpm; rows of one pull move together, so their ranges are averaged, never shrunk."""
    if not rows:
        return {"change_pct": None, "lo_pct": None, "hi_pct": None}
    known = [r for r in rows if r["lo_pct"] is not None]
    mean = sum(r["change_pct"] for r in rows) / len(rows)
    half = sum(r["hi_pct"] - r["lo_pct"] for r in known) / (2 * len(known)) if len(known) == len(rows) else None
    return {
        "change_pct": round(mean, 3),
        "lo_pct": None if half is None else round(mean - half, 3),
        "hi_pct": None if half is None else round(mean + half, 3),
    }


def _changed(a: Plain, b: Plain) -> list[str]:
    if a.get("day") == b.get("day") and a.get("engine") == b.get("engine"):
        return []
    return what_changed(comparable(b), comparable(a))


def _sentence(c: Plain) -> str:
    if c["torque"] == REFUSED:
        why = next(limit for limit in c["limits"] if limit["level"] == REFUSED)
        return f"Torque of the two may not be compared: {why['why']}. Needed: {why['needed']}."
    if c["change_pct"] is None:
        return "Torque of the two is not known at any common rpm; advances are set side by side below."
    way = "more" if c["change_pct"] > 0 else "less"
    text = f"B makes {number(abs(c['change_pct']), 1)} % {way} torque than A over the rpm both ran"
    text += f" (likely {percent_between(c['lo_pct'], c['hi_pct'])})" if c["lo_pct"] is not None else " (no range known)"
    return text + (", with the reservations below." if c["torque"] != "allowed" else ".")


def _facts(record: Plain, side: Plain) -> list[tuple[str, str]]:
    pulls = [p for p in record.get("pulls") or [] if side["setting"] is None or p.get("setting") == side["setting"]]
    noted = record.get("conditions") or {}
    scale = record.get("timing_scale") or {}
    log_scale = f"{number(scale.get('log_minus_true_deg'), 1)}°, {between(scale.get('lo_deg'), scale.get('hi_deg'), '°', 1)}"
    return [
        ("engine", str(side["engine"])),
        ("day", str(side["day"])),
        ("setting", side["setting"] or "the day’s best"),
        ("pulls", count_pulls(pulls)),
        ("the day in a sentence", sentence(record)),
        ("set", advised(record)),
        ("best band", best_band(record)),
        ("a repeat lands", repeats(record)),
        ("air", air(record)),
        ("timing mark", mark(record)),
        ("log less true", "not known" if scale.get("log_minus_true_deg") is None else log_scale),
        *((name, str(noted.get(name) or "not noted")) for name in ("dyno", "fuel", "oil", "plugs", "mixture")),
    ]
