"""Torque given away over engine speed and advance, as far as it was tested, each pull a thin line at the advance it ran."""

from typing import Any

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.figures.advance import pull_lines
from pullbook.report.style import PAPER
from pullbook.report.view import DayView
from pullbook.report.words import between, number, rpm
from pullbook.wording import counted

LEVELS = (0.25, 0.5, 1.0, 2.0, 4.0)


def picture(shown: DayView) -> Picture | None:
    """Contour picture, None where no pull's advance is known."""
    lines = pull_lines(shown)
    surface = shown.table("surface")
    if not lines and surface is None:
        return None
    grid = _grid(surface) if surface is not None else None

    def paint(panel: Panel) -> None:
        ax = panel.axes(right=0.3 if not panel.look.narrow else 0.12)
        values = [v for _, _, y in lines for v in y] + (list(grid[1]) if grid else [])
        panel.levels(ax, min(values) - 1, max(values) + 1, most=6)
        if grid is not None:
            x, y, loss = grid
            hues = [PAPER[f"step{i}"] for i in range(5)]
            ax.contourf(x, y, loss, levels=[-1e-9, *LEVELS[:4], 1e9], colors=hues, zorder=1)
            ax.contour(x, y, loss, levels=LEVELS, colors=PAPER["ink"], linewidths=[0.5, 1.1, 0.7, 0.7, 0.7], zorder=2)
            for place in (0.22, 0.72):
                _name_levels(panel, ax, grid, place)
        for _, n, a in lines:
            ax.plot(n, a, color=PAPER["ink"], lw=0.6, alpha=0.75, zorder=4)
        panel.quantity(ax, "advance, ° before top dead centre at the crank")

    what = (
        "Torque given away by a degree too much or too little"
        if grid
        else "Advance each pull ran; torque given away was not worked out"
    )
    return Picture(
        "contours",
        _finding(grid) or what,
        f"Per cent below the best torque over engine speed ({rpm(shown.span[0])} to {rpm(shown.span[1])}) and advance, drawn only "
        f"where pulls were run; {counted(len(lines), 'pull')} as thin lines. {_finding(grid) or what}.",
        paint,
        _numbers(grid, lines, surface),
        height=3.2,
        narrow_height=3.3,
        note="Numbers on the lines: % of torque below the best at that rpm. Thin lines: what each pull ran. "
        "Blank: nothing was tested there.",
    )


def _grid(surface: pl.DataFrame) -> tuple[Array, Array, Array] | None:
    x = np.unique(surface["rpm"].to_numpy()).astype(float)
    y = np.unique(surface["advance_deg"].to_numpy()).astype(float)
    if x.size < 2 or y.size < 2 or x.size * y.size > 200_000:
        return None
    loss = np.full((y.size, x.size), np.nan)
    rows = surface.drop_nulls("loss_pct")
    loss[np.searchsorted(y, rows["advance_deg"].to_numpy()), np.searchsorted(x, rows["rpm"].to_numpy())] = rows[
        "loss_pct"
    ].to_numpy()
    return (x, y, np.maximum(loss, 0)) if np.isfinite(loss).any() else None


def _name_levels(panel: Panel, ax: Any, grid: tuple[Array, Array, Array], place: float) -> None:
    x, y, loss = grid
    j = int(place * (x.size - 1))
    col = loss[:, j]
    lowest = int(np.nanargmin(col)) if np.isfinite(col).any() else 0
    taken: list[float] = []
    gap = 0.075 * (y[-1] - y[0])
    for level in LEVELS[1:]:
        crosses = [
            i for i in range(y.size - 1) if np.isfinite(col[i : i + 2]).all() and (col[i] - level) * (col[i + 1] - level) < 0
        ]
        for i in crosses:
            at = float(y[i] + (level - col[i]) / (col[i + 1] - col[i]) * (y[i + 1] - y[i]))
            if all(abs(at - t) > gap for t in taken) and abs(i - lowest) > 0:
                panel.say(ax, float(x[j]), at, f"{level:g} %", ha="center", ground=True)
                taken.append(at)


def _finding(grid: tuple[Array, Array, Array] | None) -> str:
    if grid is None:
        return ""
    x, y, loss = grid
    j = int(np.argmax(np.nanmax(np.where(np.isfinite(loss), loss, -1), axis=0)))
    i = int(np.nanargmax(np.where(np.isfinite(loss[:, j]), loss[:, j], -1)))
    return f"What was run gives away up to {number(loss[i, j], 1)} %, most at {number(y[i])}° and {rpm(x[j])}"


def _numbers(grid: tuple[Array, Array, Array] | None, lines: list[tuple[str, Array, Array]], surface: pl.DataFrame | None) -> Table:
    if grid is None or surface is None:
        rows = tuple((s, number(n[0]), number(n[-1]), between(float(a.min()), float(a.max()), "°")) for s, n, a in lines if n.size)
        return Table("Advance each pull ran", ("setting", "from rpm", "to rpm", "advance"), rows, (False, True, True, True))
    x, y, loss = grid
    heads = np.unique(np.round(y / 2) * 2)
    heads = heads[(heads >= y[0]) & (heads <= y[-1])]
    picked = [int(np.argmin(np.abs(y - h))) for h in heads]
    cells: tuple[tuple[str, ...], ...] = tuple(
        (number(x[j]), *("–" if not np.isfinite(loss[i, j]) else number(loss[i, j], 1) for i in picked))
        for j in range(0, x.size, max(x.size // 18, 1))
    )
    return Table(
        "Torque below the best, %, by rpm and advance (– is not tested)",
        ("rpm", *(f"{number(y[i])}°" for i in picked)),
        cells,
        (True,) * (len(picked) + 1),
    )
