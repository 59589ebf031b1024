"""The leg to a stop: how far, which way, and what to mind on it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from shapely.geometry import LineString

from greaseroute.plan.round import Stop
from greaseroute.site.ground_plan import GroundPlan

DIRECTIONS = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west",
)  # fmt: skip
SHORT_M = 0.5  # below this nobody walks


@dataclass(frozen=True, slots=True)
class Mind:
    """Something on the way: what (``crossing``, ``gate``, ``slow ground``), its name, the wait."""

    what: str
    name: str
    wait_s: float = 0.0
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Leg:
    """The walk to a stop: its line, its length, the compass bearing from start to end."""

    line: tuple[tuple[float, float], ...]
    length_m: float
    bearing_deg: float
    mind: tuple[Mind, ...]

    @property
    def direction(self) -> str:
        """The nearest of eight winds."""
        return DIRECTIONS[round(self.bearing_deg / 45.0) % 8]


def leg_of(stop: Stop, ground: GroundPlan) -> Leg:
    """The leg to a stop as its plan has it."""
    line = tuple(stop.path)
    if len(line) < 2:
        return Leg(line, 0.0, 0.0, ())
    path = LineString(line)
    if path.length < SHORT_M:
        return Leg(line, path.length, 0.0, ())
    (x0, y0), (x1, y1) = line[0], line[-1]
    bearing = math.degrees(math.atan2(x1 - x0, y1 - y0)) % 360.0
    return Leg(line, path.length, bearing, tuple(_in_order(path, ground)))


def _in_order(path: LineString, ground: GroundPlan) -> list[Mind]:
    """What the path goes over and through, as it comes."""
    met = sorted(_met(path, ground), key=lambda item: item[0])
    return [mind for _, mind in met]


def _met(path: LineString, ground: GroundPlan) -> Iterator[tuple[float, Mind]]:
    for area in ground.crossings:
        over = path.intersection(area.polygon)
        if over.length > 0:
            yield path.project(over.centroid), Mind("crossing", area.name, area.wait_s)
    for gate in ground.gates:
        if path.intersects(gate.opening):
            at = path.project(path.intersection(gate.opening).centroid)
            yield at, Mind("gate", gate.name)
    for area in ground.slow_ground:
        over = path.intersection(area.polygon)
        if over.length >= SHORT_M:
            yield path.project(over.centroid), Mind("slow ground", area.name, kind=area.kind)
