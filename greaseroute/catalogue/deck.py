"""Decks: places on a machine where one may stand."""

from typing import Literal

from pydantic import Field

from greaseroute.catalogue.joint import Metres, Point3
from greaseroute.records import Record


class Deck(Record):
    """A place on a machine where one may stand, and the way up to it.

    ``outline_m`` are the (x, y) corners of the standing surface in the frame of ``link``, at
    ``height_m`` (z in the same frame). ``foot_m`` is where the climb starts; its z is ignored,
    the climb starts on the ground. ``holds``: what one climbs by.
    """

    name: str = Field(min_length=1)
    link: str
    outline_m: tuple[tuple[Metres, Metres], ...] = Field(min_length=3)
    height_m: float = Field(ge=0.05, le=30.0)
    foot_m: Point3
    holds: tuple[Literal["steps", "rails", "ladder"], ...] = ("steps", "rails")
