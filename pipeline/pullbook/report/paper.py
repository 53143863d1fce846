"""Sheets of paper: paragraphs, tables with columns that fit, pictures in their corner; inches from the top left.

matplotlib draws, so that the paper's pictures are the page's own and every word is real text with its font inside the file.
"""

import io
import warnings
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from pullbook.report.canvas import Panel, Picture, Table
from pullbook.report.drawing import SETTINGS
from pullbook.report.fonts import family
from pullbook.report.letters import Words, cut_to, drawable, font_of, measure, wrap
from pullbook.report.style import PAPER, WIDE, Look

SIZES = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
LEADING = 1.32
FOOT_SIZE = 7.0
NUMBER_ROOM = 0.7  # inches at the right of the foot: "12 of 34"
LEAST_ROWS = 3  # of a table on one sheet, where it stands on several


def settings() -> dict[Any, Any]:
    """matplotlib's settings for paper."""
    return {**SETTINGS, "font.family": family()}


@dataclass(slots=True)
class PaperColumn:
    """A column of a sheet being filled from the top, inches from the sheet's upper left: ``x`` its left edge, ``y`` where the next
    line begins, ``bottom`` where it must end."""

    sheets: "Sheets"
    figure: Figure
    x: float
    y: float
    width: float
    bottom: float

    def room(self, height: float) -> bool:
        """Whether ``height`` inches are left."""
        return self.y + height <= self.bottom + 1e-6

    def height_of(self, text: str, size: float = 8.5, *, bold: bool = False, indent: float = 0.0) -> float:
        """Height, inches, that a paragraph of ``size`` points, indented by ``indent`` inches, would take."""
        return len(wrap(text, size, self.width - indent, bold)) * size * LEADING / 72

    def text(
        self, text: str, size: float = 8.5, *, bold: bool = False, hue: str = "ink", indent: float = 0.0, after: float = 0.03
    ) -> bool:
        """A paragraph; False, and nothing drawn, where it does not fit.

        Parameters
        ----------
        text
            Words; wrapped to the column.
        size
            Of the letters, points.
        bold, hue
            How they look.
        indent, after
            From the left edge, and to what follows; inches.
        """
        lines = wrap(text, size, self.width - indent, bold)
        if not self.room(len(lines) * size * LEADING / 72):
            return False
        for line in lines:
            self.line(line, self.x + indent, self.y, size, bold=bold, hue=hue)
            self.y += size * LEADING / 72
        self.y += after
        return True

    def line(self, line: str, x: float, y: float, size: float, *, bold: bool = False, hue: str = "ink", ha: str = "left") -> None:
        """One line of ``size`` points, its top at ``y`` and its side ``ha`` at ``x``, inches."""
        w, h = self.sheets.size
        begin = x - measure(line, size, bold) if ha == "right" else x
        self.sheets.words[self.figure].lines.append(
            (begin / w, 1 - (y + size * 1.02 / 72) / h, line, font_of(size, bold), PAPER[hue])
        )

    def rule(self, hue: str = "rule", width: float = 0.6, y: float | None = None) -> None:
        """A line across, ``width`` points wide, at ``y`` inches, else where the next line begins."""
        w, h = self.sheets.size
        at = 1 - (self.y if y is None else y) / h
        line = mpl.lines.Line2D(
            (self.x / w, (self.x + self.width) / w), (at, at), color=PAPER[hue], lw=width, transform=self.figure.transFigure
        )
        self.figure.add_artist(line)

    def frame(self, top: float, bottom: float, hue: str, *, pad: float = 0.07, fill: str | None = None) -> None:
        """A box round what stands between ``top`` and ``bottom``, ``pad`` off it, inches."""
        w, h = self.sheets.size
        box = mpl.patches.Rectangle(
            ((self.x - pad) / w, 1 - (bottom + pad / 2) / h),
            (self.width + 2 * pad) / w,
            (bottom - top + pad) / h,
            fill=fill is not None,
            facecolor=PAPER[fill] if fill else "none",
            edgecolor=PAPER[hue],
            lw=1.2,
            transform=self.figure.transFigure,
            zorder=-1,
        )
        self.figure.add_artist(box)

    def picture(self, picture: Picture, span: tuple[float, float], *, height: float | None = None, size: float = 9.0) -> bool:
        """Title and drawing; False where they do not fit.

        Parameters
        ----------
        picture, span
            What is drawn, over these rpm.
        height
            Of the drawing, inches; None: its own.
        size
            Of its title, points.
        """
        tall = picture.height if height is None else height
        title = wrap(picture.title, size, self.width, True)
        head = len(title) * size * LEADING / 72
        if not self.room(head + tall):
            return False
        for line in title:
            self.line(line, self.x, self.y, size, bold=True)
            self.y += size * LEADING / 72
        look = _look(self.width)
        picture.paint(Panel(self.figure, look, self.x, self.sheets.size[1] - self.y - tall, self.width, tall, span))
        self.y += tall
        return True


def _look(width: float) -> Look:
    return replace(WIDE, width=width, font=8.0 if width > 6 else 7.0, left=0.5 if width > 6 else 0.42, right=1.05)


class Sheets:
    """A stack of sheets of one size, at the foot of each a name, cut where it is too long, and what follows it."""

    def __init__(self, page: str, foot: tuple[str, str], title: str, margin: float = 0.6) -> None:
        self.size = SIZES.get(page, SIZES["A4"])
        self.margin = margin
        name, rest = (drawable(part) for part in foot)
        self.foot = cut_to(name, FOOT_SIZE, self.size[0] - 2 * margin - measure(rest, FOOT_SIZE) - NUMBER_ROOM) + rest
        self.title = drawable(title)
        self.figures: list[Figure] = []
        self.words: dict[Figure, Words] = {}

    def sheet(self) -> PaperColumn:
        """A new sheet, as one column between the margins."""
        figure = Figure(figsize=self.size)
        self.figures.append(figure)
        self.words[figure] = Words()
        figure.add_artist(self.words[figure])
        w, h = self.size
        return PaperColumn(self, figure, self.margin, self.margin, w - 2 * self.margin, h - self.margin - 0.15)

    def sheet_height(self) -> float:
        """Height, inches, between the margins of a sheet."""
        return self.size[1] - 2 * self.margin - 0.15

    def table(self, column: PaperColumn, table: Table, size: float = 7.2) -> PaperColumn:
        """A table in ``size`` points on as many sheets as it needs, its head on each; returns the column it ended in."""
        widths = _column_widths(table, size, column.width)
        pad = 0.05
        line = size * 1.25 / 72
        head = [wrap(h, size, w - 2 * pad, True) for h, w in zip(table.heads, widths, strict=True)]
        head_height = max(len(h) for h in head) * line + 0.06
        body = [[wrap(c, size, w - 2 * pad)[:12] for c, w in zip(row, widths, strict=True)] for row in table.rows]
        heights = [max(len(c) for c in cells) * line + 0.06 for cells in body]
        caption = column.height_of(table.caption, 8.5, bold=True) + 0.03
        fresh = self.sheet_height() - head_height
        parts = rows_on_sheets(heights, column.bottom - column.y - caption - head_height, fresh, fresh - caption)
        if not parts[0]:
            column = self.sheet() if heights or not column.room(caption + head_height) else column
            parts = parts[1:] or parts
        column.text(table.caption, 8.5, bold=True)

        def put(cells: list[list[str]], height: float, *, bold: bool) -> None:
            x = column.x
            for i, (lines, w) in enumerate(zip(cells, widths, strict=True)):
                right = table.is_figure(i)
                for k, text in enumerate(lines):
                    column.line(
                        text,
                        x + w - pad if right else x + pad,
                        column.y + k * line,
                        size,
                        bold=bold,
                        ha="right" if right else "left",
                        hue="soft" if bold else "ink",
                    )
                x += w
            column.y += height
            column.rule(y=column.y - 0.025)

        rest = iter(zip(body, heights, strict=True))
        for k, count in enumerate(parts):
            column = self.sheet() if k else column
            put(head, head_height, bold=True)
            for cells, height in islice(rest, count):
                put(cells, height, bold=False)
        column.y += 0.15
        return column

    def pdf(self) -> bytes:
        """The stack as PDF bytes, the same for the same contents."""
        out = io.BytesIO()
        w, h = self.size
        with mpl.rc_context(settings()), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph .* missing")
            with PdfPages(
                out, metadata={"Title": self.title, "Creator": "pullbook", "Producer": None, "CreationDate": None}
            ) as pages:
                for i, figure in enumerate(self.figures, 1):
                    base = 1 - (h - self.margin + 0.12) / h
                    figure.text(self.margin / w, base, self.foot, fontsize=FOOT_SIZE, color=PAPER["soft"])
                    figure.text(
                        1 - self.margin / w, base, f"{i} of {len(self.figures)}", fontsize=7, color=PAPER["soft"], ha="right"
                    )
                    pages.savefig(figure)
        return out.getvalue()


def rows_on_sheets(heights: list[float], here: float, fresh: float, first: float) -> list[int]:
    """How many rows of a table stand on each sheet, none with fewer than :data:`LEAST_ROWS` of a table that has as many.

    Parameters
    ----------
    heights
        Of the rows, inches, in their order.
    here
        Room left on the sheet begun, inches, without caption and head.
    fresh, first
        The same of a new sheet, and of a new sheet on which the caption stands too.

    Returns
    -------
    list of int
        Rows on the sheet begun (none: the table begins on the next), on the next, and so on; together all of them.

    Examples
    --------
    >>> rows_on_sheets([1.0] * 5, 4.0, 10.0, 9.0), rows_on_sheets([1.0] * 7, 6.0, 10.0, 9.0)
    ([0, 5], [4, 3])
    """
    parts = [0]
    room = here
    for done, height in enumerate(heights):
        if height > room + 1e-6 and (parts[-1] or len(parts) == 1):
            room = first if done == 0 else fresh
            parts.append(0)
        parts[-1] += 1
        room -= height
    if len(parts) > 1 and 0 < parts[0] < LEAST_ROWS and here < first:
        return [0, *rows_on_sheets(heights, first, fresh, first)]
    short = LEAST_ROWS - parts[-1]
    if len(parts) > 1 and short > 0 and parts[-2]:
        if parts[-2] - short >= LEAST_ROWS:
            parts[-2:] = [parts[-2] - short, LEAST_ROWS]
        elif len(parts) == 2:
            return [0, *rows_on_sheets(heights, first, fresh, first)] if here < first else parts
    return parts


def _column_widths(table: Table, size: float, width: float) -> list[float]:
    pad = 0.1
    natural, least = [], []
    for i, head in enumerate(table.heads):
        cells = [drawable(r[i])[:200] for r in table.rows]
        words = [w for c in (*cells, head) for w in c.split()]
        least.append(min(max((measure(w, size, True) for w in words), default=0.2), 1.6) + pad)
        natural.append(min(max((measure(c, size) for c in (*cells, "")), default=0.2), 3.2) + pad)
    natural = [max(n, m) for n, m in zip(natural, least, strict=True)]
    kept = [n if table.is_figure(i) else m for i, (n, m) in enumerate(zip(natural, least, strict=True))]
    least = kept if sum(kept) < width else least  # a number is not broken while words can be
    if sum(natural) <= width:
        return natural
    if sum(least) >= width:
        return [m * width / sum(least) for m in least]
    share = (width - sum(least)) / (sum(natural) - sum(least))
    return [m + share * (n - m) for n, m in zip(natural, least, strict=True)]
