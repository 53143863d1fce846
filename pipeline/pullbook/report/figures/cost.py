"""What the curve to set gives away at each rpm against the best."""

import numpy as np

from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.figures.lines import broken
from pullbook.report.placing import values
from pullbook.report.style import PAPER
from pullbook.report.view import DayView
from pullbook.report.words import between, half_width, number, percent, rpm


def picture(shown: DayView) -> Picture | None:
    """Cost picture, None without a curve to set."""
    curve = shown.mechanical
    strip = [r for r in (curve or {}).get("strip") or [] if r.get("cost_pct") is not None]
    if not strip:
        strip = [
            {**r, "lo_pct": None, "hi_pct": None} for r in shown.advice.get("least_curve") or [] if r.get("cost_pct") is not None
        ]
    if not strip:
        return None
    limits = ((shown.record.get("facts") or {}).get("day") or {}).get("limits") or {}
    tolerance = float(limits.get("tolerance_pct") or 0.5)

    def paint(panel: Panel) -> None:
        right = 0.95 if not panel.look.narrow else 0.3
        ax = panel.axes(right=right)
        x, y, lo, hi = broken(*(values(strip, k) for k in ("rpm", "cost_pct", "lo_pct", "hi_pct")))
        top = max(float(np.nanmax(np.concatenate((y, hi[np.isfinite(hi)], [tolerance])))) * 1.15, 0.8)
        panel.levels(ax, 0, top, most=4)
        ax.fill_between(x, lo, hi, color=PAPER["warm"], lw=0, zorder=1)
        ax.plot(x, y, color=PAPER["down"], lw=1.8, zorder=3)
        ax.axhline(tolerance, color=PAPER["ink"], lw=0.9, ls=(0, (2, 2)), zorder=2)
        if not panel.look.narrow:
            panel.say(ax, panel.span[1] + 50, tolerance, "too little\nto feel", dx=4)
        panel.quantity(ax, "given away, % of torque")

    worst = max(strip, key=lambda r: r["cost_pct"])
    mean = (curve or {}).get("cost_pct")
    half = half_width((curve or {}).get("cost_lo_pct"), (curve or {}).get("cost_hi_pct"))
    lost = percent(worst["cost_pct"], 0.1 if worst["lo_pct"] is None else half_width(worst["lo_pct"], worst["hi_pct"]))
    title = f"The curve to set gives away most at {rpm(worst['rpm'])}: {lost}"
    return Picture(
        "cost",
        title,
        f"Torque the curve to set gives away against the best at each engine speed. {title}"
        + (f"; {percent(mean, half)} on average." if mean is not None else "."),
        paint,
        Table(
            "Given away by the curve to set, % of torque",
            ("rpm", "given away, %", "likely between, %"),
            tuple((number(r["rpm"]), number(r["cost_pct"], 2), between(r["lo_pct"], r["hi_pct"], "", 2)) for r in strip),
            (True, True, True),
        ),
        height=2.0,
        narrow_height=2.3,
        note="Against the best advance that was run or lies between what was run, under the limit. "
        + ("Shaded: where it likely lies. " if any(r["lo_pct"] is not None for r in strip) else "")
        + "Below the dashed line it is too little to feel.",
    )
