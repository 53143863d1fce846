"""From templates to one file that opens anywhere: autoescape always on, pictures inside, no script needed, no address fetched."""

from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from pullbook.report import drawing
from pullbook.report.canvas import Picture
from pullbook.report.style import css_variables


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(Path(__file__).parent / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page(template: str, **values: Any) -> str:
    """Fill a template. Everything is escaped but what is Markup: the style sheet and our own drawings."""
    sheet = _environment().loader.get_source(_environment(), "report.css")[0]  # type: ignore[union-attr]
    return _environment().get_template(template).render(style=Markup(css_variables() + sheet), **values)


def figure(picture: Picture, span: tuple[float, float]) -> dict[str, Any]:
    """A picture as the templates show it, drawn for a wide page and a phone; its words were escaped when drawn."""
    wide, narrow = (drawing.svg(picture, span, narrow=narrow) for narrow in (False, True))
    return drawn_figure(picture, wide, narrow)


def drawn_figure(picture: Picture, wide: str, narrow: str) -> dict[str, Any]:
    """The same of drawings that are there already."""
    return {"picture": picture, "wide": Markup(wide), "narrow": Markup(narrow)}
