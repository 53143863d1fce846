"""From templates to one file that opens anywhere: autoescape always on, pictures inside, no script needed, no address fetched."""

from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

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


def own_markup(svg: str) -> Markup:
    """A drawing made by :mod:`.canvas`: its words were escaped when drawn."""
    return Markup(svg)
