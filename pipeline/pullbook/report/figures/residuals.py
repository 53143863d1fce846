"""What is left of every pull after level and timing are taken out, a lane a pull."""

from typing import Any

import numpy as np
import polars as pl

from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.figures.lines import broken
from pullbook.report.placing import column, thin
from pullbook.report.style import PAPER
from pullbook.report.view import DayView
from pullbook.report.words import labels, number, told_apart
from pullbook.wording import noted

LABEL = 18
"""Letters of a setting's name at its lane."""
LANES = 24


def picture(shown: DayView) -> Picture | None:
    """Residual picture, None without residuals."""
    table = shown.table("residuals")
    if table is None or table["residual_pct"].drop_nulls().is_empty():
        return None
    present = set(table["pull_id"].to_list())
    pulls = [p for p in shown.pulls if p["pull_id"] in present]
    if not pulls:
        return None
    drawn = pulls[:LANES]
    used = table.filter(pl.col("used")) if "used" in table.columns else table
    size = used["residual_pct"].drop_nulls().abs()
    scale = max(float(size.quantile(0.98) or 0.3) if size.len() else 0.3, 0.2) * 1.2
    by_pull = table.sort("rpm").partition_by("pull_id", as_dict=True)

    def paint(panel: Panel) -> None:
        look = panel.look
        ax = panel.axes(right=1.35 if not look.narrow else 0.3, left=0.62 if not look.narrow else 0.55)
        ax.set_ylim(-len(drawn), 0)
        named = labels((noted(p.get("setting")) for p in drawn), LABEL)
        cut = told_apart((name.replace("\n", " ") for name in named.values()), LABEL)
        for i, p in enumerate(drawn):
            middle = -i - 0.5
            ax.plot(ax.get_xlim(), (middle, middle), color=PAPER["rule"], lw=0.7, zorder=1)
            rows = by_pull[(p["pull_id"],)]
            wide, tall = broken(column(rows, "rpm"), column(rows, "residual_pct"))
            x, y = thin(wide, tall)
            out = p.get("status") == "left_out"
            ax.plot(
                x,
                middle + np.clip(0.46 * y / scale, -0.48, 0.48),
                color=PAPER["down" if out else "ink"],
                lw=1.0,
                ls=(0, (1.5, 1.5)) if out else "-",
                zorder=3,
            )
            if not look.narrow:
                panel.say(
                    ax,
                    panel.span[1] + 50,
                    middle,
                    cut[named[noted(p.get("setting"))].replace("\n", " ")],
                    dx=4,
                    hue="down" if out else "soft",
                )
        panel.beside(ax, [-i - 0.5 for i in range(len(drawn))], [f"pull {p['order']}" for p in drawn])
        panel.quantity(ax, f"left over, % of torque (a lane is ±{number(scale, 1)} %)")

    rms = _root_mean_square(used)
    title = f"What timing and level do not explain: {number(rms, 2)} % of torque, root mean square"
    return Picture(
        "residuals",
        title,
        f"What is left of each of {len(pulls)} pulls after its level and timing are taken out, over engine speed. {title}.",
        paint,
        _numbers(pulls, by_pull),
        height=0.75 + 0.26 * len(drawn),
        narrow_height=0.8 + 0.27 * len(drawn),
        note="Dotted: left out of every estimate. A lane that wanders by itself points at that pull; all lanes alike at the engine."
        + (f" The first {LANES} pulls are drawn." if len(pulls) > LANES else ""),
    )


def _numbers(pulls: list[dict[str, Any]], by_pull: dict[tuple[Any, ...], pl.DataFrame]) -> Table:
    rows = []
    for p in pulls:
        own = by_pull[(p["pull_id"],)]
        if (size := _root_mean_square(own)) is not None:
            largest = float(np.nanmax(np.abs(column(own, "residual_pct"))))
            used = "no" if p.get("status") == "left_out" else "yes"
            rows.append((str(p["order"]), noted(p.get("setting")), used, number(size, 2), number(largest, 2)))
    heads = ("pull", "setting", "used", "root mean square, %", "largest, %")
    return Table("Left over after level and timing", heads, tuple(rows), (True, False, False, True, True))


def _root_mean_square(rows: pl.DataFrame) -> float | None:
    left = column(rows, "residual_pct")
    left = left[np.isfinite(left)]
    return float(np.sqrt(np.mean(left**2))) if left.size else None
