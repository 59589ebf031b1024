"""What a feature of ``ground.geojson`` may say beside its geometry, role by role."""

from typing import Annotated

from pydantic import BeforeValidator, Field

from greaseroute.records import Record
from greaseroute.site.ground_plan import Hours
from greaseroute.site.moment import hours_span

AREA = ("Polygon", "MultiPolygon")
LINE = ("LineString", "MultiLineString")


def _spans(value: object) -> object:
    """Texts such as ``12:00-12:30`` to spans; a single text is a list of one."""
    texts = [value] if isinstance(value, str) else value
    if not isinstance(texts, list) or not all(isinstance(t, str) for t in texts):
        raise ValueError('a list of spans such as ["12:00-12:30"]')
    return tuple(hours_span(t) for t in texts)


Spans = Annotated[tuple[Hours, ...], BeforeValidator(_spans)]


class Boundary(Record):
    """The edge of the site."""

    role: str
    name: str = ""
    notes: str = ""


class Obstacle(Boundary):
    """Ground nobody walks on; ``kind`` in plain words (pond, stockpile, building)."""

    kind: str = ""


class BarrierLine(Boundary):
    """A line nobody crosses but at its gates; ``kind`` in plain words (fence, bench edge)."""

    kind: str = ""


class GateOpening(Boundary):
    """An opening in a barrier; a point is as wide as ``width_m``."""

    width_m: float = Field(default=2.0, gt=0, le=50)


class NoGo(Boundary):
    """Closed ground: always, or during ``hours`` only."""

    kind: str = ""
    hours: Spans = ()


class HaulRoad(Boundary):
    """A road of the haulage; a line needs ``width_m``."""

    width_m: float | None = Field(default=None, gt=0, le=100)


class Crossing(Boundary):
    """Where a haul road may be crossed on foot; closed during ``hours``."""

    width_m: float = Field(default=3.0, gt=0, le=50)
    wait_s: float = Field(default=0.0, ge=0, le=3600)
    hours: Spans = ()


class SlowGround(Boundary):
    """Ground that takes ``time_factor`` times as long (a time factor, not an energy factor)."""

    kind: str = ""
    time_factor: float = Field(ge=1, le=10)


class PlacePoint(Boundary):
    """A named point; ``kind`` such as store, start, finish, wash bay."""

    name: str = Field(min_length=1)
    kind: str = "place"


class SpotHeight(Boundary):
    """A levelled point; its height is ``height_m`` or the third number of its position."""

    height_m: float | None = None


RECORDS: dict[str, type[Boundary]] = {
    "boundary": Boundary,
    "obstacle": Obstacle,
    "barrier": BarrierLine,
    "gate": GateOpening,
    "no_go": NoGo,
    "haul_road": HaulRoad,
    "crossing": Crossing,
    "slow_ground": SlowGround,
    "place": PlacePoint,
    "spot_height": SpotHeight,
}
GEOMETRIES: dict[str, tuple[str, ...]] = {
    "boundary": AREA,
    "obstacle": AREA,
    "barrier": LINE,
    "gate": ("Point", "LineString"),
    "no_go": AREA,
    "haul_road": (*AREA, *LINE),
    "crossing": (*AREA, "LineString"),
    "slow_ground": AREA,
    "place": ("Point",),
    "spot_height": ("Point",),
}
