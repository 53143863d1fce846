"""What the engine wants and what it was given: band of best advance, curves run, the limit, and the curve the hardware can make."""

from typing import Any

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.figures.lines import broken, hue_of, line_of
from pullbook.report.placing import values
from pullbook.report.style import PAPER
from pullbook.report.view import DayView
from pullbook.report.words import between, degrees, half_width, labels, number, rpm, setting_degrees
from pullbook.wording import noted

CURVE_VAGUE_DEG = 3.0
"""Half of its likely range beyond which a curve that was run is no line but bars."""
BEST_VAGUE_DEG = 4.0
"""Half of an interval beyond which a best advance is not said without it."""
_MANY = 0.2  # of the rows tested: where the best lies beyond what was run at so many, a title that leaves them out misleads


def picture(shown: DayView) -> Picture | None:
    """Advance picture, None where neither a best nor a delivered advance is known anywhere."""
    best = shown.record.get("best") or []
    tested = _delivered(shown)
    if not tested and not any(r.get("best_deg") is not None for r in best):
        return None

    def paint(panel: Panel) -> None:
        look = panel.look
        ax = panel.axes(right=look.right if not look.narrow else 0.82)
        made = hardware(shown)
        panel.levels(ax, *_reach(best, tested, made), most=6)
        crossing = [(n, deg) for n, deg, _ in tested.values()] + [line for line in (made, _limit_line(shown)) if line is not None]
        ends = _wanted(panel, ax, best, crossing)
        named = labels(tested, 9 if look.narrow else 18)
        for name, (n, degrees_run, half) in tested.items():
            end = _run(panel, ax, line_of(shown, name, 0.75), n, degrees_run, half)
            vague = is_vague(half)
            ends.append((*end, named[name] + "?" * vague, "soft" if vague else hue_of(shown, name), False))
        ends += _limit(ax, shown)
        if made is not None:
            ax.plot(made[0], made[1], color=PAPER["hard"], lw=3.2, alpha=0.95, zorder=5, solid_capstyle="butt")
            if not shown.mechanical:
                ax.plot(made[0], made[1], color=PAPER["hard"], ls="none", marker="s", ms=4.5, zorder=5)
            inside = np.flatnonzero(made[0] <= panel.span[1] + 1)
            if inside.size:
                ends.append((panel.span[1], float(np.interp(panel.span[1], made[0], made[1])), "SET THIS", "hard", True))
        panel.ends(ax, ends)
        panel.quantity(ax, "advance, ° before top dead centre at the crank")

    return Picture(
        "advance",
        _finding(best),
        f"Advance over engine speed from {rpm(shown.span[0])} to {rpm(shown.span[1])}. {_finding(best)}. "
        f"Curves run: {', '.join(tested) or 'not known'}."
        + (f" Curve to set: {setting_degrees(shown.mechanical['total_deg'])} total." if shown.mechanical else ""),
        paint,
        _numbers(best, shown),
        height=3.1,
        narrow_height=3.4,
        note="Shaded band: advance that costs next to nothing; dots: best; bars: how sure. Rings: what was run. "
        "Triangles: the best lies that way, beyond what was run. Thick: the curve to set. Short dashes: do not go above."
        + " Dotted bars with a question mark: nobody knows where inside."
        * any(is_vague(h) for _, _, h in tested.values()),
    )


def is_vague(half: Array) -> bool:
    """Whether a curve is known so poorly that it is a guess between initial and total.

    Parameters
    ----------
    half
        Half the width of its likely range by row, degrees, NaN where not known, (n,).
    """
    return bool(np.nanmedian(half) > CURVE_VAGUE_DEG) if np.isfinite(half).any() else False


def _run(panel: Panel, ax: Any, style: dict[str, Any], n: Array, degrees_run: Array, half: Array) -> tuple[float, float]:
    """One setting's curve with rings where it was run; a vague one as bars over its whole range, never as a line."""
    if is_vague(half):
        ax.vlines(
            n[::4], (degrees_run - half)[::4], (degrees_run + half)[::4], color=PAPER["soft"], lw=0.8, ls=(0, (1, 2)), zorder=2
        )
    else:
        x, y = broken(n, degrees_run)
        ax.plot(x, y, **{**style, "zorder": 3})
        size = 2.6 if panel.look.narrow else 3.2
        ax.plot(n[::5], degrees_run[::5], ls="none", marker="o", ms=size, mfc=PAPER["paper"], mec=style["color"], mew=0.9, zorder=4)
    return float(n[-1]), float(degrees_run[-1])


def hardware(shown: DayView) -> tuple[Array, Array] | None:
    """The curve to set over the tested rpm: springs and stop, or the table.

    Returns
    -------
    tuple or None
        Rpm and ° BTDC, (n,) each; None where nothing is to be set, or at one speed alone.
    """
    curve = shown.mechanical
    lo, hi = shown.span
    made = [(r["rpm"], r["advance_deg"]) for r in (curve or {}).get("curve") or []]
    if len(made) > 1:
        return np.array([p[0] for p in made], float), np.array([p[1] for p in made], float)
    if curve and curve.get("all_in_rpm") is not None:
        total = curve["total_deg"]
        points = [(curve["all_in_rpm"], total), (max(hi, curve["all_in_rpm"]) + 100, total)]
        if curve.get("knee_rpm") is not None and curve.get("knee_deg") is not None:
            points.insert(0, (curve["knee_rpm"], curve["knee_deg"]))
        if curve.get("start_rpm") is not None and curve.get("initial_deg") is not None:
            points = [
                (min(lo, curve["start_rpm"]) - 100, curve["initial_deg"]),
                (curve["start_rpm"], curve["initial_deg"]),
                *points,
            ]
        x = np.array([p[0] for p in points], float)
        y = np.array([p[1] for p in points], float)
        grid = np.union1d(np.arange(max(lo, x[0]), hi + 1, 50), x[(x >= lo) & (x <= hi)])
        return grid, np.interp(grid, x, y)
    if curve:
        return np.array([lo, hi]), np.array([curve["total_deg"]] * 2, float)
    table = [(r["rpm"], r["delivered_deg"]) for r in shown.advice.get("table") or [] if r.get("delivered_deg") is not None]
    table = [p for p in table if lo <= p[0] <= hi]
    return (np.array([p[0] for p in table], float), np.array([p[1] for p in table], float)) if len(table) > 1 else None


def _delivered(shown: DayView) -> dict[str, tuple[Array, Array, Array]]:
    """Advance of every setting as pulls ran it: rpm, degrees, and half the width of the likely range (NaN: not known)."""
    found: dict[str, list[tuple[float, float, float]]] = {}
    for r in shown.record.get("delivered") or []:
        if r.get("direction") != "down" and r.get("advance_deg") is not None and shown.span[0] <= r["rpm"] <= shown.span[1]:
            half = half_width(r.get("lo_deg"), r.get("hi_deg"))
            found.setdefault(str(r["setting"]), []).append((r["rpm"], r["advance_deg"], np.nan if half is None else half))
    columns = {s: np.array(sorted(v), float).T for s, v in found.items()}
    return {s: (c[0], c[1], c[2]) for s, c in columns.items()}


def _wanted(
    panel: Panel, ax: Any, best: list[dict[str, Any]], crossing: list[tuple[Array, Array]]
) -> list[tuple[float, float, str, str, bool]]:
    if not best:
        return []
    x = values(best, "rpm")
    names = ("best_deg", "lo_deg", "hi_deg", "band_lo_deg", "band_hi_deg", "tested_lo_deg", "tested_hi_deg")
    x, b, lo, hi, band_lo, band_hi, t_lo, t_hi = broken(x, *(values(best, n) for n in names))
    ax.fill_between(x, band_lo, band_hi, color=PAPER["wash"], lw=0, zorder=1)
    inside = np.isfinite(b) & np.isfinite(lo) & np.isfinite(hi)
    ax.vlines(x[inside], lo[inside], hi[inside], color=PAPER["up"], lw=0.8, zorder=2, alpha=0.65)
    ax.plot(x, b, color=PAPER["up"], lw=0.7, marker="o", ms=2.4 if panel.look.narrow else 3.2, zorder=3.5)
    states = {r["rpm"]: r.get("state") for r in best}
    for state, edge, shape in (("above_tested", t_hi, 6), ("below_tested", t_lo, 7)):  # caretup, caretdown
        there = np.array([states.get(int(n)) == state if np.isfinite(n) else False for n in x]) & np.isfinite(edge)
        ax.plot(x[there][::2], edge[there][::2], ls="none", marker=shape, ms=6, color=PAPER["up"], zorder=5)
    placed = np.flatnonzero(np.isfinite(b))
    if not placed.size:
        return []
    last = int(placed[-1])
    if last < x.size - 3:  # the best ends before the axis does: name it where it ends
        ends = [v if np.isfinite(v) else b[last] for v in (lo[last], hi[last])]
        spots = [(float(x[last]), float(y), side) for y, side in ((sum(ends) / 2, 0), (ends[0], -1), (ends[1], 1))]
        drawn = [(float(n), float(y), float(y)) for line in crossing for n, y in zip(*line, strict=True)]
        drawn += [(float(x[i]), float(lo[i]), float(hi[i])) for i in np.flatnonzero(inside)]
        panel.name(ax, spots, "best", drawn, hue="up", bold=True)
        return []
    return [(float(x[last]), float(b[last]), "best", "up", True)]


def _limit_line(shown: DayView) -> tuple[Array, Array] | None:
    rows = [
        r
        for r in shown.advice.get("ceiling") or []
        if r.get("advance_deg") is not None and shown.span[0] <= r["rpm"] <= shown.span[1]
    ]
    return (values(rows, "rpm"), values(rows, "advance_deg")) if rows else None


def _limit(ax: Any, shown: DayView) -> list[tuple[float, float, str, str, bool]]:
    line = _limit_line(shown)
    if line is None:
        return []
    x, y = broken(*line)
    ax.plot(x, y, color=PAPER["down"], lw=1.4, ls=(0, (1.6, 1.2)), zorder=4, drawstyle="steps-mid")
    return [(float(x[-1]), float(y[-1]), "limit", "down", False)]


def _reach(best: list[dict[str, Any]], tested: dict[str, tuple[Array, Array, Array]], made: Any) -> tuple[float, float]:
    seen = [v for _, y, _ in tested.values() for v in y]
    seen += [r[k] for r in best for k in ("best_deg", "lo_deg", "hi_deg") if r.get(k) is not None]
    seen += list(made[1]) if made is not None else []
    lo, hi = min(seen), max(seen)
    bands = [r[k] for r in best for k in ("band_lo_deg", "band_hi_deg") if r.get(k) is not None]
    lo, hi = min([lo, *(max(b, lo - 4) for b in bands)]), max([hi, *(min(b, hi + 4) for b in bands)])
    return lo - 1, hi + 1.5


def _finding(best: list[dict[str, Any]]) -> str:
    inside = [r for r in best if r.get("state") == "inside" and r.get("best_deg") is not None]
    if inside:
        low, high = min(inside, key=lambda r: r["best_deg"]), max(inside, key=lambda r: r["best_deg"])
        level = high["best_deg"] - low["best_deg"] < 1.5
        ends = [f"{degrees(r['best_deg'])} at {rpm(r['rpm'])}" for r in (low, high)]
        about = f"is about {degrees((high['best_deg'] + low['best_deg']) / 2)}"
        found = f"Best advance {about if level else f'goes from {ends[0]} to {ends[1]}'}"
        halves = [h for r in inside if (h := half_width(r.get("lo_deg"), r.get("hi_deg"))) is not None]
        if (half := float(np.median(halves or [0.0]))) > BEST_VAGUE_DEG:
            found += f", give or take {degrees(half)}"
        return found + (_elsewhere(best) or (" at every rpm that shows one" if level else ""))
    states = [r.get("state") for r in best]
    if states.count("above_tested") > states.count("below_tested"):
        return "The best advance lies above everything that was run"
    if "below_tested" in states:
        return "The best advance lies below everything that was run"
    return "The day cannot place the best advance"


def _elsewhere(best: list[dict[str, Any]]) -> str:
    """At how many speeds the best lies beyond what was run, where they are many."""
    tested = [r.get("state") for r in best if r.get("state") != "untested"]
    side = max(("above", "below"), key=lambda s: tested.count(f"{s}_tested"))
    count = tested.count(f"{side}_tested")
    return f"; {side} what was run at {count} of {len(tested)} speeds" if count >= _MANY * len(tested) else ""


STATES = {
    "inside": "found",
    "above_tested": "above what was run",
    "below_tested": "below what was run",
    "flat": "cannot be placed",
    "untested": "not tested",
}


def _numbers(best: list[dict[str, Any]], shown: DayView) -> Table:
    made = hardware(shown)
    rows = []
    for r in best:
        at = made is not None and made[0][0] <= r["rpm"] <= made[0][-1]
        rows.append(
            (
                number(r["rpm"]),
                number(r.get("best_deg"), 1),
                between(r.get("lo_deg"), r.get("hi_deg"), "", 1),
                STATES.get(noted(r.get("state")), noted(r.get("state"))),
                between(r.get("band_lo_deg"), r.get("band_hi_deg"), "", 1),
                between(r.get("tested_lo_deg"), r.get("tested_hi_deg"), "", 1),
                number(r.get("knock_cap_deg"), 1) if r.get("knock_cap_deg") is not None else "none noted",
                number(float(np.interp(r["rpm"], *made)), 1) if at and made is not None else "–",
            )
        )
    heads = (
        "rpm",
        "best, °",
        "likely between, °",
        "state",
        "costs next to nothing, °",
        "run, °",
        "cap from knock, °",
        "curve to set, °",
    )
    return Table("Best advance and the curve to set", heads, tuple(rows), (True, True, True, False, True, True, True, True))


def pull_lines(shown: DayView) -> list[tuple[str, Array, Array]]:
    """Delivered advance of every pull used: (setting, rpm, degrees), its own where known, else its setting's, over its own span."""
    own = shown.table("pull_advance")
    curves = _delivered(shown)
    lines = []
    for pull in shown.pulls:
        if pull.get("status") == "left_out":
            continue
        setting = noted(pull.get("setting"))
        if own is not None:
            rows = own.filter(pl.col("pull_id") == pull["pull_id"]).drop_nulls().sort("rpm")
            if rows.height:
                lines.append((setting, rows["rpm"].to_numpy().astype(float), rows["advance_deg"].to_numpy().astype(float)))
                continue
        if setting in curves:
            x, y, half = curves[setting]
            if is_vague(half):
                continue
            keep = (x >= (pull.get("rpm_min") or 0) - 50) & (x <= (pull.get("rpm_max") or 1e9) + 50)
            lines.append((setting, x[keep], y[keep]))
    return lines
