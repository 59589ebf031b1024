"""What a feature of ``ground.geojson`` may say beside its geometry, role by role."""

from typing import Annotated

from pydantic import BeforeValidator

from greaseroute.records import Record, about, number
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

    role: str = about("what the feature is")
    name: str = about("what people call it", "")
    notes: str = about("anything else", "")


class Obstacle(Boundary):
    """Ground nobody walks on; ``kind`` in plain words (pond, stockpile, building)."""

    kind: str = about("what it is in plain words, such as pond, stockpile, fence", "")


class BarrierLine(Boundary):
    """A line nobody crosses but at its gates; ``kind`` in plain words (fence, bench edge).

    ``low``: an arm with a grease gun goes over it or through it (a kerb, a ditch, a rail).
    """

    kind: str = about("what it is in plain words, such as pond, stockpile, fence", "")
    low: bool = about("whether an arm with a gun goes over it or through it", False)


class GateOpening(Boundary):
    """An opening in a barrier; a point is as wide as ``width_m``."""

    width_m: float = number("width of the opening", default=2.0, least=0.3, greatest=50.0, unit="m")


class NoGo(Boundary):
    """Closed ground: always, or during ``hours`` only."""

    kind: str = about("what it is in plain words, such as pond, stockpile, fence", "")
    hours: Spans = about("spans of local time in which it is closed, such as 12:00-12:30", ())


class HaulRoad(Boundary):
    """A road of the haulage; a line needs ``width_m``."""

    width_m: float | None = number(
        "width of a road drawn as a line", default=None, least=0.5, greatest=100.0, unit="m"
    )


class Crossing(Boundary):
    """Where a haul road may be crossed on foot; closed during ``hours``."""

    width_m: float = number(
        "width of a crossing drawn as a line", default=3.0, least=0.3, greatest=50.0, unit="m"
    )
    wait_s: float = number(
        "wait before one may cross", default=0.0, least=0.0, greatest=3600.0, unit="s",
        usual=(0.0, 300.0),
    )  # fmt: skip
    hours: Spans = about("spans of local time in which it is closed, such as 12:00-12:30", ())


class SlowGround(Boundary):
    """Ground that takes ``time_factor`` times as long (a time factor, not an energy factor)."""

    kind: str = about("what it is in plain words, such as pond, stockpile, fence", "")
    time_factor: float = number(
        "how many times as long walking takes there", least=1.0, greatest=10.0, usual=(1.0, 4.0)
    )


class PlacePoint(Boundary):
    """A named point; ``kind`` such as store, start, finish, wash bay."""

    name: str = about("its name, which site.toml uses", min_length=1)
    kind: str = about("such as store, start, finish, wash bay", "place")


class SpotHeight(Boundary):
    """A levelled point; its height is ``height_m`` or the third number of its position."""

    height_m: float | None = number(
        "height above any level", default=None, least=-1000.0, greatest=9000.0, unit="m"
    )


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
