"""The site as it stands: every unit placed, the ground that is left, and what can be walked to."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from greaseroute.catalogue.kinematics.placed import PlacedMachine, Pose, place
from greaseroute.errors import UnknownName
from greaseroute.site.clearance import kept_ground
from greaseroute.site.ground_plan import Place
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning, changes
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.hours import is_shut
from greaseroute.walk.obstacles import Closing, close
from greaseroute.walk.site_ground import ClosedBy, site_ground
from greaseroute.walk.ways_out import WayOut

Stances = Mapping[str, tuple[PlacedMachine, ...]]  # a unit in each posture it will be in
Known = Callable[[tuple[bool, ...], Callable[[], FreeGround]], FreeGround]
# A place counts as on free ground if it is at most this far off (its figures may be rounded).
ON_GROUND_M = 1e-6
# The kind of a place where somebody stands just now, perhaps closer to a machine than the
# clearance; how far one then steps aside to walk on.
HERE = "here"
STEP_ASIDE_M = 3.0


@dataclass(frozen=True, eq=False)
class Yard:
    """Units, in all postures that they are worked in, and free ground by spans of hours.

    ``grounds`` holds (from_ms, ground), ascending from 0.
    """

    stances: Stances
    grounds: tuple[tuple[int, FreeGround], ...]

    @cached_property
    def free(self) -> BaseGeometry:
        """Ground that is free at some hour of the morning."""
        if len(self.grounds) == 1:
            return self.grounds[0][1].free
        return shapely.union_all([ground.free for _, ground in self.grounds])

    @property
    def begins(self) -> list[int]:
        """When each span of hours begins, ms from zero."""
        return [begin for begin, _ in self.grounds]

    def walkable(self, starts: Sequence[Point]) -> BaseGeometry:
        """The parts of the free ground on which one of ``starts`` lies."""
        parts = shapely.get_parts(self.free)
        near = np.zeros(len(parts), dtype=bool)
        for start in starts:
            near |= shapely.distance(parts, start) <= ON_GROUND_M
        return shapely.union_all(parts[near])

    def ground_for(self, points: Sequence[tuple[float, float]]) -> FreeGround:
        """The ground of the first span of hours in which all of ``points`` are free."""
        grounds = [ground for _, ground in self.grounds]
        if len(grounds) == 1:
            return grounds[0]
        spots = shapely.points(np.asarray(points, dtype=float))
        return next(
            (g for g in grounds if (shapely.distance(g.free, spots) <= ON_GROUND_M).all()),
            grounds[0],
        )

    def is_free(self, points: object) -> list[bool]:
        """For each span of hours, whether all of ``points`` are free."""
        return [bool(ground.is_free(points).all()) for _, ground in self.grounds]


def stances_now(site: Site) -> dict[str, tuple[PlacedMachine, ...]]:
    """Every unit in the posture it stands in. Raises PostureRefused, UnknownName."""
    return {
        unit.unit: (
            place(
                site.machine(unit),
                Pose(unit.x_m, unit.y_m, unit.heading_deg, unit.slew_deg),
                posture=unit.posture,
            ),
        )
        for unit in site.units
    }


def yard_of(
    site: Site,
    stances: Stances,
    morning: Morning,
    *,
    traffic: Sequence[WayOut] = (),
    closed_by: ClosedBy = closed_ground,
    closing: Closing = close,
    known: Known = lambda _, lay: lay(),
) -> Yard:
    """Free ground with all units in ``stances``, one for each span of hours of the morning.

    ``traffic``: ground of machines that leave, shut from then on. Spans in which the same zones
    and crossings are shut are one. ``closed_by`` and ``closing``: see `site_ground`. ``known``
    gives the ground for what is shut, or has it laid.
    """
    zones = (*site.ground.no_go, *(way.zone(morning) for way in traffic))
    plan = kept_ground(replace(site.ground, no_go=zones), site.rules)
    timed = (*plan.no_go, *plan.crossings)
    begins = [0, *changes(timed, morning)]
    made: dict[tuple[bool, ...], FreeGround] = {}
    grounds: list[tuple[int, FreeGround]] = []
    for begin, end in pairwise([*begins, morning.end_ms]):
        span = (morning.moment(begin), morning.moment(end))
        key = tuple(is_shut(area, span) for area in timed)
        if key not in made:
            lay = partial(
                site_ground, plan, stances, clearance_m=site.rules.clearance_m, times=span,
                closed_by=closed_by, closing=closing,
            )  # fmt: skip
            made[key] = known(key, lay)
        if not grounds or grounds[-1][1] is not made[key]:
            grounds.append((begin, made[key]))
    return Yard(stances, tuple(grounds))


def footing(site: Site, name: str, yard: Yard) -> Point:
    """The point of a place; where somebody stands just now, the nearest free ground to it.

    Raises UnknownName.
    """
    place = place_named(site, name)
    if place.kind != HERE or yard.free.is_empty or yard.free.distance(place.point) <= ON_GROUND_M:
        return place.point
    edge, _ = nearest_points(yard.free, place.point)
    return edge if edge.distance(place.point) <= STEP_ASIDE_M else place.point


def place_named(site: Site, name: str) -> Place:
    """The place of that name. Raises UnknownName."""
    for spot in site.ground.places:
        if spot.name == name:
            return spot
    raise UnknownName(
        "place", repr(name), limit=", ".join(p.name for p in site.ground.places) or "none",
        next_step="add it to ground.geojson or mend site.toml",
    )  # fmt: skip
