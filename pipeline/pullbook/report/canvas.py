"""A place to draw: fixed margins in inches, one rpm axis for all pictures, words that keep apart.

The same paint goes on a wide drawing, a narrow one for phones, and a corner of a PDF page.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter

from pullbook.report.style import PAPER, Look
from pullbook.report.words import number

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Table:
    """A table as shown: ``rows`` are finished words; ``figures`` marks the columns that hold numbers (set right)."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    figures: tuple[bool, ...] = ()

    def is_figure(self, column: int) -> bool:
        """Whether a column holds numbers."""
        return bool(self.figures) and self.figures[column]


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: ``title`` states the finding, ``alt`` says it to who cannot see it, ``table`` holds its numbers."""

    name: str
    title: str
    alt: str
    paint: Callable[["Panel"], None]
    table: Table
    height: float = 2.7
    narrow_height: float = 3.0
    note: str = ""


@dataclass(slots=True)
class Panel:
    """A rectangle of a matplotlib figure (inches from its lower left) to paint in."""

    figure: Figure
    look: Look
    x: float
    y: float
    width: float
    height: float
    span: tuple[float, float]
    axes_made: list[Axes] = field(default_factory=list)

    def axes(
        self,
        *,
        low: float = 0.0,
        high: float = 1.0,
        rpm: bool = True,
        right: float | None = None,
        left: float | None = None,
        foot: float = 0.42,
        head: float = 0.22,
    ) -> Axes:
        """Bare axes over a share of the height, with margins in inches; ``rpm`` gives it the common engine-speed axis."""
        fw, fh = self.figure.get_size_inches()
        right = self.look.right if right is None else right
        left = self.look.left if left is None else left
        bottom = self.y + low * self.height + foot
        top = self.y + high * self.height - head
        ax = self.figure.add_axes(
            ((self.x + left) / fw, bottom / fh, (self.width - left - right) / fw, max(top - bottom, 0.1) / fh)
        )
        for side in ("top", "right", "left"):
            ax.spines[side].set_visible(False)
        ax.spines["bottom"].set_color(PAPER["soft"])
        ax.spines["bottom"].set_linewidth(0.7)
        ax.patch.set_visible(False)
        ax.tick_params(labelsize=self.look.font, colors=PAPER["ink"], length=2.5, width=0.7, color=PAPER["soft"], pad=2)
        ax.tick_params(axis="y", length=0)
        ax.margins(0)
        if rpm:
            self.rpm_axis(ax)
        self.axes_made.append(ax)
        return ax

    def rpm_axis(self, ax: Axes) -> None:
        """The engine-speed axis, the same on every picture of a day."""
        lo, hi = self.span
        ax.set_xlim(lo - 50, hi + 50)
        step = next(s for s in (100, 200, 500, 1000, 2000, 5000) if (hi - lo) / s <= (4.6 if self.look.narrow else 8) or s == 5000)
        ax.xaxis.set_major_locator(FixedLocator(list(np.arange(np.ceil(lo / step) * step, hi + 1, step))))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: number(v)))
        self.axis_name(ax, "engine speed, rpm")

    def axis_name(self, ax: Axes, text: str) -> None:
        """Name of the lower axis, under its middle."""
        ax.set_xlabel(text, fontsize=self.look.font, color=PAPER["soft"], labelpad=2)

    def quantity(self, ax: Axes, text: str) -> None:
        """Name and unit of the upright axis, written level above it."""
        ax.annotate(
            text,
            (0, 1),
            xytext=(-self.look.left * 72 + 2, 4),
            xycoords="axes fraction",
            textcoords="offset points",
            fontsize=self.look.font,
            color=PAPER["soft"],
            ha="left",
            va="bottom",
            annotation_clip=False,
        )

    def levels(self, ax: Axes, lo: float, hi: float, most: int = 5) -> None:
        """Round levels of the upright axis with fine lines across."""
        ax.set_ylim(lo, hi)
        marks = round_marks(lo, hi, most)
        places = 0 if all(abs(m - round(m)) < 1e-9 for m in marks) else 1
        ax.yaxis.set_major_locator(FixedLocator(marks))
        ax.yaxis.set_major_formatter(FuncFormatter(lambda v, _: number(v, places)))
        for mark in marks:
            ax.axhline(mark, color=PAPER["rule"], lw=0.6, zorder=0)

    def say(
        self,
        ax: Axes,
        x: float,
        y: float,
        text: str,
        *,
        hue: str = "ink",
        ha: str = "left",
        va: str = "center",
        bold: bool = False,
        dx: float = 0.0,
        dy: float = 0.0,
        ground: bool = False,
        size: float = 1.0,
    ) -> None:
        """Words at a point of the data, moved by points; ``ground`` puts paper behind them."""
        box = {"facecolor": PAPER["paper"], "edgecolor": "none", "pad": 1.0} if ground else None
        ax.annotate(
            text,
            (x, y),
            xytext=(dx, dy),
            textcoords="offset points",
            fontsize=self.look.font * size,
            color=PAPER[hue],
            ha=ha,
            va=va,
            fontweight="bold" if bold else "normal",
            annotation_clip=False,
            bbox=box,
            zorder=6,
        )

    def ends(self, ax: Axes, ends: Sequence[tuple[float, float, str, str, bool]]) -> None:
        """Names of lines at their right ends (x, y, text, hue, bold), pushed apart so that each can be read."""
        if not ends:
            return
        lo, hi = ax.get_ylim()
        inches = ax.get_position().height * self.figure.get_size_inches()[1]
        lines = max(text.count("\n") for _, _, text, _, _ in ends) + 1
        gap = (hi - lo) * self.look.font * (1.22 * lines + 0.1 * (lines - 1)) / 72 / inches
        spots = keep_apart([e[1] for e in ends], gap, lo, hi)
        edge = ax.get_xlim()[1]
        for (x, y, text, hue, bold), spot in zip(ends, spots, strict=True):
            if abs(spot - y) > gap / 3 or x < edge - 60:
                ax.annotate(
                    "",
                    (x, y),
                    xytext=(edge, spot),
                    annotation_clip=False,
                    arrowprops={"arrowstyle": "-", "color": PAPER["soft"], "lw": 0.5, "shrinkA": 2, "shrinkB": 0},
                )
            self.say(ax, edge, spot, text, hue=hue, bold=bold, dx=3)


def round_marks(lo: float, hi: float, most: int) -> list[float]:
    """Round numbers between ``lo`` and ``hi``, ``most`` at the most (1, 2 and 5 times powers of ten)."""
    raw = max((hi - lo) / most, 1e-9)
    power = 10.0 ** np.floor(np.log10(raw))
    step = next(s * power for s in (1, 2, 5, 10) if s * power >= raw * 0.999)
    first = np.ceil(lo / step - 1e-9)
    return [float(round(k * step, 10)) for k in np.arange(first, np.floor(hi / step + 1e-9) + 1)]


def keep_apart(wanted: Iterable[float], gap: float, lo: float, hi: float) -> list[float]:
    """Places nearest to ``wanted``, at least ``gap`` apart, inside ``lo`` to ``hi`` where they fit.

    Examples
    --------
    >>> keep_apart([1.0, 1.1, 5.0], 1.0, 0.0, 6.0)
    [0.55, 1.55, 5.0]
    """
    wish = list(wanted)
    order = sorted(range(len(wish)), key=lambda i: wish[i])
    groups: list[list[int]] = []
    middles: list[float] = []
    for i in order:
        groups.append([i])
        middles.append(min(max(wish[i], lo), hi))
        while len(groups) > 1 and middles[-1] - middles[-2] < gap * (len(groups[-1]) + len(groups[-2])) / 2 - 1e-12:
            last, mid = groups.pop(), middles.pop()
            weight = len(groups[-1]), len(last)
            joined = (middles[-1] * weight[0] + mid * weight[1]) / sum(weight)
            groups[-1] += last
            half = gap * (sum(weight) - 1) / 2
            middles[-1] = min(max(joined, lo + half), max(hi - half, lo + half))
    spots = [0.0] * len(wish)
    for members, middle in zip(groups, middles, strict=True):
        for place, i in enumerate(members):
            spots[i] = round(middle + gap * (place - (len(members) - 1) / 2), 9)
    return spots


def runs(mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches of true as (first, stop)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(int), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def thin(x: Array, y: Array, most: int = 500) -> tuple[Array, Array]:
    """A line of at most about a point a pixel, its ends kept."""
    if x.size <= most:
        return x, y
    keep = np.unique(np.linspace(0, x.size - 1, most).round().astype(int))
    return x[keep], y[keep]


def values(rows: Sequence[dict[str, Any]], name: str) -> Array:
    """One value of each row as floats, None NaN."""
    return np.array([np.nan if r.get(name) is None else r[name] for r in rows], float)


def column(table: Any, name: str) -> Array:
    """A polars column as floats, nulls NaN."""
    return np.array(table[name].cast(float).fill_null(float("nan")).to_numpy(), dtype=float)
