"""Torque of every setting's mean over engine speed, the chosen one bold, spread shaded."""

import numpy as np
import polars as pl

from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.figures.lines import broken, hue_of, line_of
from pullbook.report.placing import column
from pullbook.report.style import PAPER
from pullbook.report.view import DayView
from pullbook.report.words import labels, number, rpm, short


def picture(shown: DayView) -> Picture | None:
    """Torque picture, None without means of settings."""
    curves = shown.table("setting_curves")
    curves = None if curves is None else curves.drop_nulls("setting")
    if curves is None or curves["torque_nm"].drop_nulls().is_empty():
        return None
    names: list[str] = [s for s in shown.settings if s in set(curves["setting"].to_list())] or curves["setting"].unique(
        maintain_order=True
    ).to_list()
    told = shown.chosen if shown.chosen in names else shown.baseline if shown.baseline in names else names[0]
    top = curves.filter(pl.col("setting") == told).drop_nulls("torque_nm").sort("torque_nm")
    peak = top.row(-1, named=True) if top.height else curves.drop_nulls("torque_nm").sort("torque_nm").row(-1, named=True)

    # where knock was noted on the nearest setting of all, the one shown is another
    clear = " with no knock noted" if shown.advice.get("nearest_setting") not in (None, shown.chosen) else ""
    called = f"Nearest to the advice{clear}, " if told == shown.chosen and told != shown.baseline else "Setting "

    def paint(panel: Panel) -> None:
        look = panel.look
        ax = panel.axes(right=look.right if not look.narrow else 0.82)
        lows = [*curves["lo_nm"].drop_nulls(), *curves["torque_nm"].drop_nulls()]
        highs = [*curves["hi_nm"].drop_nulls(), *curves["torque_nm"].drop_nulls()]
        pad = 0.04 * (max(highs) - min(lows)) + 1
        panel.levels(ax, min(lows) - pad, max(highs) + pad)
        ends = []
        named = labels(names, 9 if look.narrow else 18)
        for name in names:
            rows = curves.filter(pl.col("setting") == name).sort("rpm")
            x, y, lo, hi = broken(*(column(rows, c) for c in ("rpm", "torque_nm", "lo_nm", "hi_nm")))
            hue = hue_of(shown, name)
            ax.fill_between(x, lo, hi, color=PAPER["up" if hue == "up" else "soft"], alpha=0.16, lw=0, zorder=1)
            ax.plot(x, y, **line_of(shown, name))
            there = np.flatnonzero(np.isfinite(y))
            if there.size:
                ends.append((float(x[there[-1]]), float(y[there[-1]]), named[name], hue, hue == "up"))
        panel.ends(ax, ends)
        panel.quantity(ax, "torque, N·m")

    return Picture(
        "torque",
        f"{called}“{short(told, 24)}” makes {number(peak['torque_nm'])} N·m at {rpm(peak['rpm'])}",
        f"Mean torque of {len(names)} settings from {rpm(shown.span[0])} to {rpm(shown.span[1])}. “{told}” peaks with "
        f"{number(peak['torque_nm'])} N·m at {rpm(peak['rpm'])}. Shading is where each mean likely lies.",
        paint,
        _numbers(curves, names),
        height=2.6,
        narrow_height=2.9,
        note="Shaded: where each mean likely lies."
        + (f" Bold: the setting nearest to the one advised{clear}." if shown.chosen in names else "")
        + (
            " Dashed: the baseline."
            if shown.baseline in names and shown.baseline != shown.chosen
            else " That is the baseline."
            if shown.chosen in names
            else ""
        ),
    )


def _numbers(curves: pl.DataFrame, names: list[str]) -> Table:
    at = {(r["setting"], r["rpm"]): r for r in curves.iter_rows(named=True)}
    rows = []
    for n in sorted({r for _, r in at}):
        cells = []
        for s in names:
            r = at.get((s, n))
            if r is None or r["torque_nm"] is None:
                cells.append("–")
            else:
                known = r["lo_nm"] is not None and r["hi_nm"] is not None
                cells.append(
                    number(r["torque_nm"], 1) + (f" ({number(r['lo_nm'], 1)} to {number(r['hi_nm'], 1)})" if known else "")
                )
        rows.append((number(n), *cells))
    return Table("Mean torque of each setting, N·m", ("rpm", *names), tuple(rows), (True,) * (len(names) + 1))
