"""The ground plan: everything on the site that is not a machine, in local metres."""

from dataclasses import dataclass, field
from datetime import time
from typing import Literal

from shapely.geometry import LineString, Point, Polygon

AreaRole = Literal["obstacle", "no_go", "haul_road", "crossing", "slow_ground"]


@dataclass(frozen=True, slots=True)
class Hours:
    """A daily span of local time, ``start`` to ``end``; it may run over midnight."""

    start: time
    end: time


@dataclass(frozen=True, slots=True)
class Area:
    """A closed or special piece of ground.

    ``hours`` (no_go, crossing): closed during these spans only; a no_go without hours is closed
    always, a crossing without hours is always open. ``wait_s`` belongs to crossings,
    ``time_factor`` (>= 1, multiplies time) to slow ground. ``kind`` says what it is, for people
    (pond, stockpile, building, mud).
    """

    name: str
    role: AreaRole
    polygon: Polygon
    hours: tuple[Hours, ...] = ()
    wait_s: float = 0.0
    time_factor: float = 1.0
    line: int = 0
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Barrier:
    """A line nobody passes but at its gates (fence, wall, bench edge, ditch).

    ``low``: an arm goes over it or through it.
    """

    name: str
    line_string: LineString
    line: int = 0
    kind: str = ""
    low: bool = False


@dataclass(frozen=True, slots=True)
class Gate:
    """An opening in a barrier, as the segment of it one walks through."""

    name: str
    opening: LineString
    line: int = 0


@dataclass(frozen=True, slots=True)
class Place:
    """A named point: store, start, finish, wash bay."""

    name: str
    kind: str
    point: Point
    line: int = 0


@dataclass(frozen=True, slots=True)
class GroundPlan:
    """All of ``ground.geojson`` in local metres; ``spot_heights`` are (x_m, y_m, z_m)."""

    boundary: Polygon
    obstacles: tuple[Area, ...] = ()
    no_go: tuple[Area, ...] = ()
    haul_roads: tuple[Area, ...] = ()
    crossings: tuple[Area, ...] = ()
    slow_ground: tuple[Area, ...] = ()
    barriers: tuple[Barrier, ...] = ()
    gates: tuple[Gate, ...] = ()
    places: tuple[Place, ...] = ()
    spot_heights: tuple[tuple[float, float, float], ...] = field(default=())
