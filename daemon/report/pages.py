"""Turning templates into pages: everything escaped, nothing fetched, no script, one style sheet inside.

Text from logs and the register passes ``shown.plain``-like cleaning on its way out (control and
direction-changing characters are dropped), then escaping. The page also forbids itself scripts and requests.
"""

import unicodedata
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from config.units import render
from daemon.report import ink, shown

HERE = Path(__file__).parent
_KEPT = frozenset("\n\t")
_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Co"})


@cache
def environment() -> Environment:
    """Return the template environment (made once)."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_seen,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["shown"] = shown
    made.filters["percent"] = shown.percent
    return made


def page(template: str, **context: Any) -> str:  # noqa: ANN401 - templates take anything
    """Render a page. ``unit`` of the context is the studio's temperature unit.

    The filter ``t`` puts temperatures of sentences in that unit.
    """
    unit = context.get("unit", "C")
    made = environment().overlay()
    made.filters = {**made.filters, "t": lambda text: render(str(text), unit)}
    return made.get_template(template).render(style=style(), **context)


@cache
def style() -> Markup:
    """Return the style sheet with its colours, light and dark."""
    sheet = (HERE / "templates" / "pages.css").read_text(encoding="utf-8")
    colours = (
        f":root{{{ink.variables(dark=False)}}}"
        f"@media (prefers-color-scheme:dark){{@media screen{{:root{{{ink.variables(dark=True)}}}}}}}"
    )
    return Markup(colours + sheet)  # noqa: S704 - our own file


def _seen(value: object) -> object:
    """Drop characters a reader cannot see but a terminal, a printer or the reading direction would obey."""
    if isinstance(value, Markup) or not isinstance(value, str):
        return value
    return "".join(c for c in value if c in _KEPT or unicodedata.category(c) not in _UNSEEN)
