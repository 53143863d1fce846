"""Letters on paper: what the font has, how wide words are, where a line ends, many lines as one artist. Points and inches."""

from functools import cache
from typing import Any
from unicodedata import normalize

from matplotlib.artist import Artist
from matplotlib.font_manager import FontProperties

from pullbook.report.typeface import SCREEN, typeface


@cache
def _widths(bold: bool) -> dict[str, float]:
    return {}


@cache
def _drawable() -> frozenset[int]:
    return frozenset(typeface(False).letters) & frozenset(typeface(True).letters)


def drawable(text: str) -> str:
    """``text`` with a box for every character the paper's font does not have; a letter and its accent as the one sign they make."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(c if ord(c) in _drawable() else "□" for c in normalize("NFC", text))


def measure(text: str, size: float, bold: bool = False) -> float:
    """Width of a line of text at ``size`` points, inches."""
    known = _widths(bold)
    for c in set(text) - known.keys():
        font = typeface(bold)
        known[c] = font.advance(font.letters.get(ord(c), 0))
    return sum([known[c] for c in text]) * size / 72_000


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
    return FontProperties(family=SCREEN, size=size, weight="bold" if bold else "normal")


class Words(Artist):
    """The lines of a sheet as one artist: an artist for each line costs more than drawing its letters."""

    zorder = 3

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[tuple[float, float, str, FontProperties, str, bool]] = []

    def draw(self, renderer: Any) -> None:
        """Called by matplotlib: every line at its place on the figure, those at the right by their end."""
        figure = self.get_figure()
        assert figure is not None
        width, height = figure.bbox.size
        pen = renderer.new_gc()
        for x, y, text, font, colour, from_right in self.lines:
            pen.set_foreground(colour)
            wide = renderer.get_text_width_height_descent(text, font, False)[0] if from_right else 0.0
            renderer.draw_text(pen, x * width - wide, y * height, text, font, 0)
        pen.restore()
        self.stale = False
