"""Pictures of a comparison: change of torque, and the two advances, A dashed and B bold."""

from typing import Any

import numpy as np

from pullbook.measure.runs import runs
from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.figures.lines import broken
from pullbook.report.placing import values
from pullbook.report.style import BASELINE_PATTERN, PAPER
from pullbook.report.words import between, degrees, number, percent_between, rpm

Plain = dict[str, Any]


def span(c: Plain) -> tuple[float, float]:
    """Least and most engine speed, rpm, that both sides have something to say of."""
    rows = [r["rpm"] for name in ("torque_rows", "advance_rows", "best_rows") for r in c[name]]
    return (float(min(rows)), float(max(rows))) if rows and max(rows) - min(rows) >= 200 else (1000.0, 6000.0)


def torque(c: Plain) -> Picture | None:
    """Change of torque, None where it is refused or not known."""
    rows = c["torque_rows"]
    if len(rows) < 2:
        return None

    def paint(panel: Panel) -> None:
        ax = panel.axes(right=0.3)
        x, y, lo, hi = broken(*(values(rows, n) for n in ("rpm", "change_pct", "lo_pct", "hi_pct")))
        seen = np.concatenate([v[np.isfinite(v)] for v in (y, lo, hi)])
        size = max(float(np.abs(seen).max()), 0.5) * 1.1
        panel.levels(ax, -size, size)
        ax.axhline(0, color=PAPER["ink"], lw=1.0, ls=BASELINE_PATTERN, zorder=2)
        ax.fill_between(x, lo, hi, color=PAPER["rule"], lw=0, zorder=1)
        ax.plot(x, y, color=PAPER["soft"], lw=1.2, zorder=3)
        for clear, hue in ((lo > 0, "up"), (hi < 0, "down")):
            for first, stop in runs(clear):
                ax.plot(x[first:stop], y[first:stop], color=PAPER[hue], lw=2.6, zorder=4, solid_capstyle="butt")
        panel.quantity(ax, "torque of B against A, %")

    where = f"{number(rows[0]['rpm'])} to {rpm(rows[-1]['rpm'])}"
    likely = "" if c["lo_pct"] is None else f" (likely {percent_between(c['lo_pct'], c['hi_pct'])})"
    return Picture(
        "compare-torque",
        f"Torque of B against A: {number(c['change_pct'], 1)} %{likely} over {where}",
        f"Change of torque from A to B over engine speed, {where}: {number(c['change_pct'], 1)} % on average{likely}.",
        paint,
        _table("Torque of the two", rows, ("nm", "N·m"), ("pct", "%"), places=2),
        height=2.4,
        narrow_height=2.6,
        note="Dashed: A. Shaded: the likely range. Thick: all of it is above A, or all below.",
    )


def advance(c: Plain) -> Picture | None:
    """The two advances: of the settings where they are named, else of the best."""
    rows, what = (c["advance_rows"], "advance delivered") if c["advance_rows"] else (c["best_rows"], "best advance")
    if len(rows) < 2:
        return None

    def paint(panel: Panel) -> None:
        ax = panel.axes(right=0.5)
        x, a, b = broken(*(values(rows, n) for n in ("rpm", "a_deg", "b_deg")))
        seen = np.concatenate([v[np.isfinite(v)] for v in (a, b)])
        panel.levels(ax, float(seen.min()) - 1.5, float(seen.max()) + 1.5)
        ax.plot(x, a, color=PAPER["ink"], lw=1.5, ls=BASELINE_PATTERN)
        ax.plot(x, b, color=PAPER["up"], lw=2.4)
        panel.ends(ax, [(float(x[-1]), float(a[-1]), "A", "ink", False), (float(x[-1]), float(b[-1]), "B", "up", True)])
        panel.quantity(ax, f"{what}, ° before top dead centre")

    title = _advance_title(what.capitalize(), rows)
    return Picture(
        "compare-advance",
        title,
        f"{title}, over {number(rows[0]['rpm'])} to {rpm(rows[-1]['rpm'])}.",
        paint,
        _table(what.capitalize(), rows, ("deg", "°"), ("deg", "°"), places=1),
        height=2.4,
        narrow_height=2.6,
        note="Dashed: A. Bold: B.",
    )


def _advance_title(what: str, rows: list[Plain]) -> str:
    """How far apart the two advances lie on average, where that can be told; rows of one day err together, so their ranges are
    averaged, never shrunk."""
    mean = float(np.mean([r["change_deg"] for r in rows]))
    way = "more" if mean > 0 else "less"
    if any(r["lo_deg"] is None or r["hi_deg"] is None for r in rows):
        return f"{what} of B is {degrees(abs(mean))} {way} than of A on average; how surely is not known"
    half = float(np.mean([r["hi_deg"] - r["lo_deg"] for r in rows])) / 2
    places = 1 if half <= 0.5 else 0
    likely = between(mean - half, mean + half, "°", places)
    if mean - half <= 0 <= mean + half:
        return f"{what} of A and B cannot be told apart: B less A is likely {likely}"
    nearest, farthest = sorted((abs(mean - half), abs(mean + half)))
    return (
        f"{what} of B is {degrees(abs(mean), half)} {way} than of A on average (likely {between(nearest, farthest, '°', places)})"
    )


def _table(title: str, rows: list[Plain], of: tuple[str, str], change: tuple[str, str], *, places: int) -> Table:
    """Both sides and the change between them by rpm; ``of`` and ``change``: ending of the row's keys, and unit."""
    (side, unit), (key, in_unit) = of, change
    shown = (
        (
            number(r["rpm"]),
            number(r[f"a_{side}"], 1),
            number(r[f"b_{side}"], 1),
            number(r[f"change_{key}"], places),
            between(r[f"lo_{key}"], r[f"hi_{key}"], "", places),
        )
        for r in rows
    )
    heads = ("rpm", f"A, {unit}", f"B, {unit}", f"change, {in_unit}", f"likely between, {in_unit}")
    return Table(title, heads, tuple(shown), (True,) * 5)
