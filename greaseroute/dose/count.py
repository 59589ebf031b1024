"""How many cartridges of one grease a walk takes."""

from pydantic import Field

from greaseroute.records import Record


class CartridgeCount(Record):
    """Cartridges of one grease: ``used`` are put into guns, ``carry`` = used + reserve.

    ``strokes`` and ``grams`` are what goes into the fittings; priming is not counted.
    """

    carry: int = Field(ge=0)
    used: int = Field(ge=0)
    reserve: int = Field(ge=0)
    strokes: int = Field(default=0, ge=0)
    grams: float = Field(default=0.0, ge=0)
