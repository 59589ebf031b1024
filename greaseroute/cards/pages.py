"""The template engine and the style that all pages share."""

from functools import cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from greaseroute.catalogue.posture import position
from greaseroute.plan.tally import left_name
from greaseroute.plan.words import clock, count, day, listed


@cache
def environment() -> Environment:
    """The engine: everything is escaped, an unknown name is an error."""
    made = Environment(
        loader=PackageLoader("greaseroute.cards"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(clock=clock, day=day, listed=listed)
    made.filters.update(position=position, svg=Markup, plural=count, left_name=left_name)
    made.globals.update(count=count)
    return made


def part(name: str) -> str:
    """The text of a template file: a style or a script."""
    return (files("greaseroute.cards") / "templates" / name).read_text(encoding="utf-8")


def page_style() -> str:
    """The style of the week's and the first day's pages: the card's, and their own."""
    return part("card.css") + part("pages.css")
