"""A place to draw: fixed margins in inches, one rpm axis for all pictures, words that keep apart.

The same paint goes on a wide drawing, a narrow one for phones, and a corner of a PDF page.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypedDict, Unpack

import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import XAxis, YAxis
from matplotlib.figure import Figure
from matplotlib.transforms import ScaledTranslation

from pullbook.report.letters import measure
from pullbook.report.placing import freest, keep_apart, round_marks
from pullbook.report.style import PAPER, Look
from pullbook.report.words import number


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
    """One picture: ``title`` states the finding, ``alt`` says it to who cannot see it, ``table`` holds its numbers.

    ``height`` on a wide drawing and on paper, ``narrow_height`` on a phone's: inches.
    """

    name: str
    title: str
    alt: str
    paint: Callable[["Panel"], None]
    table: Table
    height: float = 2.7
    narrow_height: float = 3.0
    note: str = ""


class Hand(TypedDict, total=False):
    """How words on a picture are set: their hue, bold or not, moved by points, paper put behind them (``ground``)."""

    hue: str
    bold: bool
    dx: float
    dy: float
    ground: bool


class _Across(XAxis):
    majorTicks = minorTicks = ()  # type: ignore[assignment]  # noqa: N815


class _Upright(YAxis):
    majorTicks = minorTicks = ()  # type: ignore[assignment]  # noqa: N815


class BareAxes(Axes):
    """Axes that never have ticks: matplotlib makes its own even where none is shown, for more than the lines on them cost."""

    def _init_axis(self) -> None:  # where matplotlib lets a projection bring axes of its own
        self.xaxis, self.yaxis = _Across(self, clear=False), _Upright(self, clear=False)


@dataclass(slots=True)
class Panel:
    """A rectangle of a matplotlib figure to paint in: lower left ``x``, ``y``, ``width`` and ``height`` in inches from that of the
    figure; ``span``: least and most rpm of the axis that all pictures share."""

    figure: Figure
    look: Look
    x: float
    y: float
    width: float
    height: float
    span: tuple[float, float]

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
        """Bare axes over a share of the height.

        Parameters
        ----------
        low, high
            Share of the panel's height it begins and ends at.
        rpm
            Whether it gets the engine-speed axis common to all pictures of a day.
        right, left
            Margins, inches; None: the look's own.
        foot, head
            Room below and above within its share, inches.
        """
        fw, fh = self.figure.get_size_inches()
        right = self.look.right if right is None else right
        left = self.look.left if left is None else left
        bottom = self.y + low * self.height + foot
        top = self.y + high * self.height - head
        ax = self.figure.add_axes(
            ((self.x + left) / fw, bottom / fh, (self.width - left - right) / fw, max(top - bottom, 0.1) / fh), axes_class=BareAxes
        )
        ax.set_axis_off()
        ax.margins(0)
        ax.plot((0, 1), (0, 0), transform=ax.transAxes, color=PAPER["soft"], lw=0.7, clip_on=False, scalex=False, scaley=False)
        if rpm:
            self.rpm_axis(ax)
        return ax

    def rpm_axis(self, ax: Axes) -> None:
        """The engine-speed axis, the same on every picture of a day."""
        lo, hi = self.span
        ax.set_xlim(lo - 50, hi + 50)
        step = next(s for s in (100, 200, 500, 1000, 2000, 5000) if (hi - lo) / s <= (4.6 if self.look.narrow else 8) or s == 5000)
        marks = np.arange(np.ceil(lo / step) * step, hi + 1, step).tolist()
        self.below(ax, marks, [number(m) for m in marks], "engine speed, rpm")

    def below(self, ax: Axes, marks: Sequence[float], labels: Sequence[str], name: str) -> None:
        """``marks`` (in data) and their words under the axes, and what they measure under these."""
        across = ax.get_xaxis_transform()
        style: dict[str, Any] = {"ls": "none", "marker": 3, "ms": 3, "mew": 0.7, "color": PAPER["soft"], "clip_on": False}
        ax.plot(marks, [0.0] * len(marks), transform=across, scalex=False, scaley=False, **style)
        for mark, label in zip(marks, labels, strict=True):
            self.write(ax, across, mark, 0, label, dy=-4.5, va="top", ha="center")
        self.write(ax, ax.transAxes, 0.5, 0, name, dy=-6.5 - 1.15 * self.look.font, va="top", ha="center", hue="soft")

    def beside(self, ax: Axes, marks: Sequence[float], labels: Sequence[str]) -> None:
        """Words of the upright axis, left of it, at ``marks`` in data."""
        for mark, label in zip(marks, labels, strict=True):
            self.write(ax, ax.get_yaxis_transform(), 0, mark, label, dx=-3.0, va="center", ha="right")

    def quantity(self, ax: Axes, text: str) -> None:
        """Name and unit of the upright axis, written level above it."""
        self.write(ax, ax.transAxes, 0, 1, text, dx=2 - 72 * self.look.left, dy=4, va="bottom", ha="left", hue="soft")

    def levels(self, ax: Axes, lo: float, hi: float, most: int = 5) -> None:
        """Round levels of the upright axis, ``most`` at the most, from ``lo`` to ``hi`` in data, with fine lines across."""
        ax.set_ylim(lo, hi)
        marks = round_marks(lo, hi, most)
        places = 0 if all(abs(m - round(m)) < 1e-9 for m in marks) else 1
        self.beside(ax, marks, [number(m, places) for m in marks])
        self.rules(ax, marks)

    def rules(self, ax: Axes, marks: Sequence[float]) -> None:
        """Fine lines across the axes at ``marks`` in data."""
        x = np.tile([0.0, 1.0, np.nan], len(marks))
        y = np.repeat(np.asarray(marks, float), 3)
        ax.plot(x, y, transform=ax.get_yaxis_transform(), color=PAPER["rule"], lw=0.6, zorder=0, scalex=False, scaley=False)

    def write(self, ax: Axes, transform: Any, x: float, y: float, text: str, *, ha: str, va: str, **hand: Unpack[Hand]) -> None:
        """Words at a place of ``transform``, held there by their side ``ha`` and their height ``va``.

        Parameters
        ----------
        ax, transform, x, y
            Where: a point of ``transform`` on ``ax``.
        text
            Words, several lines where they hold line feeds.
        ha, va
            The side and the height by which they are held.
        hand
            Shift in points, hue, weight, ground (:class:`Hand`).
        """
        moved = transform + ScaledTranslation(hand.get("dx", 0.0) / 72, hand.get("dy", 0.0) / 72, self.figure.dpi_scale_trans)
        box = {"facecolor": PAPER["paper"], "edgecolor": "none", "pad": 1.0} if hand.get("ground") else None
        style: dict[str, Any] = {
            "fontsize": self.look.font,
            "fontweight": "bold" if hand.get("bold") else "normal",
            "linespacing": 1.05,
            "color": PAPER[hand.get("hue", "ink")],
        }
        ax.text(x, y, text, transform=moved, ha=ha, va=va, bbox=box, zorder=6, **style)

    def say(self, ax: Axes, x: float, y: float, text: str, *, ha: str = "left", va: str = "center", **hand: Unpack[Hand]) -> None:
        """Words at ``x``, ``y`` in data; sides and hand as for :meth:`write`."""
        self.write(ax, ax.transData, x, y, text, ha=ha, va=va, **hand)

    def name(
        self,
        ax: Axes,
        spots: Sequence[tuple[float, float, int]],
        text: str,
        drawn: Sequence[tuple[float, float, float]],
        **hand: Unpack[Hand],
    ) -> None:
        """A word at that of several spots where it covers least of what is drawn; of equals at the last.

        Parameters
        ----------
        ax
            Axes whose limits stand already.
        spots
            Points in data, and whether the word stands over (1), under (−1) or to the right of it (0).
        text
            The word.
        drawn
            What it should not cover: place across, lower and upper end, in data.
        hand
            Hue and weight (:class:`Hand`).
        """
        wide, tall = ax.get_position().size * self.figure.get_size_inches()
        (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
        half = 0.55 * measure(text, self.look.font, bool(hand.get("bold"))) / wide * (right - left)
        step = self.look.font / 72 / tall * (high - low)
        at = [(x + (0 if side else half + 6 / 72 / wide * (right - left)), y + side * 1.1 * step) for x, y, side in spots]
        boxes = [(x, y - 0.6 * step, y + 0.6 * step) for x, y in at]
        thick = [(x, lo - 0.2 * step, hi + 0.2 * step) for x, lo, hi in drawn]
        self.say(ax, *at[freest(boxes, half, thick, (low, high))], text, ha="center", **hand)

    def ends(self, ax: Axes, ends: Sequence[tuple[float, float, str, str, bool]]) -> None:
        """Names of lines at their right ends (x, y, text, hue, bold), pushed apart so that each can be read.

        Where they do not all fit, soft ones in the middle go unnamed: the outer ones and those that matter are kept.
        """
        lo, hi = ax.get_ylim()
        inches = ax.get_position().height * self.figure.get_size_inches()[1]
        line = (hi - lo) * self.look.font / 72 / inches
        named = sorted(ends, key=lambda e: e[1])
        while sum(sizes := [line * (1.22 if "\n" not in text else 2.3) for _, _, text, _, _ in named]) > (hi - lo) * 1.02:
            soft = [i for i, e in enumerate(named) if e[3] == "soft"]
            if not soft:
                break
            del named[soft[len(soft) // 2]]
        if not named:
            return
        spots = keep_apart([e[1] for e in named], sizes, lo, hi)
        left, edge = ax.get_xlim()
        reach = (edge - left) * 5 / 72 / (ax.get_position().width * self.figure.get_size_inches()[0])
        for (x, y, text, hue, bold), spot in zip(named, spots, strict=True):
            if abs(spot - y) > line / 3 or x < edge - 60:
                ax.plot((x, edge + reach), (y, spot), color=PAPER["soft"], lw=0.5, clip_on=False, scalex=False, scaley=False)
            self.say(ax, edge, spot, text, hue=hue, bold=bold, dx=6)
