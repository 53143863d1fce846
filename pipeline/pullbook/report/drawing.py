"""A picture as SVG that can stand inside a page beside others: own ids, no metadata, hues as variables, text as text."""

import io
import re
import warnings
from html import escape
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure

from pullbook.report.canvas import Panel, Picture
from pullbook.report.style import HUES, NARROW, WIDE

#: text stays text, and names from outside are never taken for mathematics
SETTINGS: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "pullbook",
    "pdf.fonttype": 42,
    "ps.fonttype": 42,  # matplotlib 3.11 asks this one how many letters a font of a PDF may hold: else each font goes in twice
    "font.family": "DejaVu Sans",
    "axes.unicode_minus": True,
    "text.parse_math": False,
    "path.simplify": True,
    "path.simplify_threshold": 0.3,
}


def svg(picture: Picture, span: tuple[float, float], *, narrow: bool) -> str:
    """The picture as an SVG element that can stand inside a page beside others: own ids, no metadata, hues as variables."""
    look = NARROW if narrow else WIDE
    height = picture.narrow_height if narrow else picture.height
    with mpl.rc_context(SETTINGS), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # the page's own fonts draw what ours lack
        figure = Figure(figsize=(look.width, height))
        picture.paint(Panel(figure, look, 0.0, 0.0, look.width, height, span))
        out = io.StringIO()
        figure.patch.set_visible(False)
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return _page_ready(out.getvalue(), picture.name + ("-n" if narrow else "-w"))


_IDS = re.compile(r' id="([^"]+)"')
_USES = re.compile(r'(url\(#|href="#)([^)"]+)')
_TAGS = re.compile(r"<[^>]*>")


def _page_ready(text: str, prefix: str) -> str:
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>|<style[^>]*>.*?</style>|<!--.*?-->", "", text, flags=re.S)
    used = {use for tag in _TAGS.findall(text) for _, use in _USES.findall(tag)}

    def tag_ready(found: re.Match[str]) -> str:  # inside tags only: a setting may be called anything
        tag = _IDS.sub(lambda m: f' id="{prefix}-{m[1]}"' if m[1] in used else "", found[0])
        tag = _USES.sub(lambda m: f"{m[1]}{prefix}-{m[2]}", tag)
        for name, (paper, _) in HUES.items():
            tag = tag.replace(paper, f"var(--{name},{paper})")
        return re.sub(r"\s+", " ", tag.replace("'DejaVu Sans'", "'DejaVu Sans',Verdana,sans-serif"))

    return re.sub(r">\s*\n\s*<", ">\n<", _TAGS.sub(tag_ready, text)).strip()


def svg_file(inner: str, alt: str) -> str:
    """A file of its own from a page-ready SVG: title for readers, line joins as drawn."""
    head, rest = inner.split(">", 1)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n{head} role="img">\n<title>{escape(alt)}</title>\n'
        f"<style>*{{stroke-linejoin:round;stroke-linecap:butt}}</style>{rest}\n"
    )
