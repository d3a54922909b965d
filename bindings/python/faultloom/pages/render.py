"""Templates of pages, filled in. Every text is escaped; only drawings made here are not."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from faultloom._words import dollars, minutes, percent, volts, words
from faultloom.pages.style import STYLE
from faultloom.pages.text import clean


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("faultloom.pages", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalize,
    )
    shown = {"dollars": dollars, "minutes": minutes, "percent": percent, "volts": volts}
    environment.filters.update({**shown, "words": words})
    return environment


def _finalize(value: object) -> object:
    """What ends up on the page: free of characters that HTML can't hold."""
    return value if isinstance(value, Markup) else clean(value)


def render(template: str, values: Mapping[str, object], drawing: str = "") -> str:
    """A whole page.

    Args:
        template: Name in the folder `templates`.
        values: What it asks for; as plain text, never as markup.
        drawing: SVG of `svg.harness_drawing`, "" for none.
    """
    page = _environment().get_template(template)
    # Both were made by this package, the drawing with its texts escaped.
    markup = {"drawing": Markup(drawing), "drawing_style": Markup(STYLE)}
    return page.render({**values, **markup})
