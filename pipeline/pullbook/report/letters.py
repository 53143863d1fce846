"""Letters on paper: what the font has, how wide words are, where a line ends, many lines as one artist. Points and inches."""

from functools import cache
from typing import Any

from matplotlib.artist import Artist
from matplotlib.font_manager import FontProperties, findfont, get_font

from pullbook.report.fonts import SCREEN, family


@cache
def _widths(bold: bool) -> dict[str, float]:
    return {}


@cache
def _font(bold: bool):  # type: ignore[no-untyped-def]  # matplotlib's font object has no public type
    return get_font(findfont(FontProperties(family=SCREEN, weight="bold" if bold else "normal")))


@cache
def _drawable() -> frozenset[int]:
    return frozenset(_font(False).get_charmap()) & frozenset(_font(True).get_charmap())


def drawable(text: str) -> str:
    """``text`` with a box for every character the paper's font does not have."""
    return "".join(c if ord(c) in _drawable() else "□" for c in text)


def measure(text: str, size: float, bold: bool = False) -> float:
    """Width of a line of text at ``size`` points, inches."""
    known = _widths(bold)
    total = 0.0
    for c in text:
        if c not in known:
            font = _font(bold)
            font.set_size(100, 72)
            known[c] = font.load_char(ord(c)).linearHoriAdvance / 65536 / 100  # the advance no hinting has touched
        total += known[c]
    return total * size / 72


def cut_to(text: str, size: float, width: float, *, bold: bool = False) -> str:
    """``text`` in ``size`` points, its end cut where it is longer than ``width`` inches."""
    while measure(text, size, bold) > width and len(text) > 2:
        text = text[:-2].rstrip() + "…"
    return text


def wrap(text: str, size: float, width: float, bold: bool = False) -> list[str]:
    """Lines of ``text`` that fit ``width`` inches; words too long for a line are cut."""
    lines: list[str] = []
    line = ""
    for word in drawable(text).split():
        trial = f"{line} {word}" if line else word
        if measure(trial, size, bold) <= width + 1e-6:
            line = trial
            continue
        if line:
            lines.append(line)
        while measure(word, size, bold) > width + 1e-6 and len(word) > 1:
            cut = max(next((i for i in range(len(word), 1, -1) if measure(word[:i], size, bold) <= width), 1), 1)
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return [*lines, line] if line or not lines else lines


@cache
def font_of(size: float, bold: bool) -> FontProperties:
    """The paper's font at ``size`` points."""
    return FontProperties(family=family(), size=size, weight="bold" if bold else "normal")


class Words(Artist):
    """The lines of a sheet as one artist: an artist for each line costs more than drawing its letters."""

    zorder = 3

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[tuple[float, float, str, FontProperties, str]] = []

    def draw(self, renderer: Any) -> None:
        """Called by matplotlib: every line at its place on the figure."""
        figure = self.get_figure()
        assert figure is not None
        width, height = figure.bbox.size
        pen = renderer.new_gc()
        for x, y, text, font, colour in self.lines:
            pen.set_foreground(colour)
            renderer.draw_text(pen, x * width, y * height, text, font, 0)
        pen.restore()
        self.stale = False
