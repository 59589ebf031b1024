"""Machines that leave before the walk ends: from then on their place and their way out are traffic.

The way out is the shortest one that the machine has room for, to the nearest haul road, else to
the nearest gate: where it really drives is for the driver to say. Where it can, it goes round the
people at other machines and not between them. Common practice, no source.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import cast

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.site.clearance import distance_m
from greaseroute.site.fleet import Unit
from greaseroute.site.ground_plan import Area, GroundPlan, Hours
from greaseroute.site.model import Site
from greaseroute.site.moment import parked_window
from greaseroute.site.morning import Morning
from greaseroute.walk.arrays import Floats
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.no_path import NoPath
from greaseroute.walk.site_ground import site_ground

BESIDE_M = 0.5  # room that a driver needs to either side; common practice, no source
LEAST_M = 0.1  # half the width of a machine is taken as this at least
APART_M = 15.0  # between points of a haul road that are tried
TRIED = 8  # of them the nearest
NARROWER = (1.0, 0.6, 0.2)  # parts of its half width with which a way is looked for in turn
STAND_M = 1.0  # beside a machine, taken by somebody who greases it; common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class WayOut:
    """The ground that a machine needs when it leaves: its outline and a strip to the road."""

    unit: str
    leaves: datetime
    ground: Polygon

    def zone(self, morning: Morning) -> Area:
        """A zone that nobody enters from that hour until the round is over."""
        end = morning.zero.timetz().replace(tzinfo=None)
        hours = (Hours(self.leaves.timetz().replace(tzinfo=None), end),)
        return Area(f"way out of {self.unit}", "no_go", self.ground, hours=hours, kind="traffic")


def leaving(site: Site, morning: Morning) -> Iterator[tuple[Unit, datetime]]:
    """Units that go while the round may still be under way, each with its moment."""
    for unit in site.units:
        _, end = parked_window(unit, morning.zero)
        if end is not None and 0 < morning.ms(end) < morning.end_ms:
            yield unit, end.astimezone(morning.zero.tzinfo)


def ways_out(
    site: Site,
    now: Mapping[str, Sequence[PlacedMachine]],
    morning: Morning,
    *,
    known: dict[str, Polygon] | None = None,
) -> tuple[WayOut, ...]:
    """The ground of every machine that leaves, in the order of the fleet list.

    ``known`` holds ground by unit that another morning has asked for, and takes up what is new.
    """
    grounds, found = {} if known is None else known, []
    for unit, at in leaving(site, morning):
        if unit.unit not in grounds:
            grounds[unit.unit] = _ground(site, unit.unit, now)
        found.append(WayOut(unit.unit, at, grounds[unit.unit]))
    return tuple(found)


def _ground(site: Site, unit: str, now: Mapping[str, Sequence[PlacedMachine]]) -> Polygon:
    outline = now[unit][0].outline
    around = outline.convex_hull.buffer(BESIDE_M, quad_segs=2)
    others = {name: placed for name, placed in now.items() if name != unit}
    width_m = _width_m(outline)
    line = None
    if not any(road.polygon.intersects(around) for road in site.ground.haul_roads):
        work_m = BESIDE_M + distance_m("no_entry", site.rules) + STAND_M
        halves = [max(width_m / 2 * share, LEAST_M) for share in NARROWER]
        tries = [(halves[0], work_m), *((half, 0.0) for half in halves)]
        start = outline.centroid
        lines = (_shortest(site, others, start, half_m=h, work_m=work) for h, work in tries)
        line = next((found for found in lines if found is not None), None)
    if line is None:
        return _whole_mm(around)
    half_m = width_m / 2 + BESIDE_M
    strip = _short_of_places(site, line, half_m=half_m).buffer(half_m, cap_style="flat")
    return _whole_mm(shapely.union_all([around, strip]))


def _whole_mm(shape: BaseGeometry) -> Polygon:
    """Without holes, in whole millimetres: as it is written, so it is planned with."""
    outer = cast("Polygon", shape).exterior
    return Polygon(np.round(shapely.get_coordinates(outer), 3))


def _width_m(outline: BaseGeometry) -> float:
    """The lesser side of the rectangle round an outline."""
    corners = shapely.get_coordinates(outline.minimum_rotated_rectangle)
    return float(np.hypot(*np.diff(corners[:3], axis=0).T).min())


def _short_of_places(site: Site, line: LineString, *, half_m: float) -> LineString:
    """The line up to where somebody sets off, ends or loads: nobody drives over these places.

    A strip over them would shut the start itself, and with it every leg from it.
    """
    used = {name for t in site.technicians for name in (t.start, t.finish)}
    keep_m = half_m + distance_m("no_entry", site.rules)
    spots = [p.point for p in site.ground.places if p.name in used or p.kind == "store"]
    near = line.intersection(shapely.union_all([p.buffer(keep_m) for p in spots]))
    if near.is_empty:
        return line
    first_m = min(line.project(Point(at)) for at in shapely.get_coordinates(near))
    return cast("LineString", substring(line, 0.0, first_m))


def _shortest(
    site: Site,
    others: Mapping[str, Sequence[PlacedMachine]],
    start: Point,
    *,
    half_m: float,
    work_m: float,
) -> LineString | None:
    """The shortest line to a road or a gate that keeps clear of everything by ``half_m``.

    From other machines it keeps ``work_m`` more, but not where it sets off: who stands beside it
    there is shut in by it in any case.
    """
    plan, goals = site.ground, _goals(site.ground, start)
    here = start.buffer(half_m + work_m)

    def closed_by(placed: PlacedMachine) -> list[Polygon]:
        solid = closed_ground(placed)
        around = shapely.union_all(solid).buffer(work_m).difference(here)
        return [*solid, *shapely.get_parts(around)] if work_m else solid

    open_plan = replace(plan, haul_roads=(), crossings=(), no_go=(), slow_ground=(),
                        spot_heights=())  # fmt: skip
    ground = site_ground(open_plan, others, clearance_m=half_m, closed_by=closed_by)
    if not len(goals) or not ground.is_free([(start.x, start.y)])[0]:
        return None
    lengths = ground.distances_between_m([(start.x, start.y)], goals)[0]
    if not np.isfinite(lengths).any():
        return None
    line = ground.path((start.x, start.y), tuple(goals[int(np.argmin(lengths))]))
    return None if isinstance(line, NoPath) else line


def _goals(plan: GroundPlan, start: Point) -> Floats:
    """Points to drive to, (n, 2): of the haul roads the nearest, else the gates."""
    roads = shapely.union_all([road.polygon for road in plan.haul_roads])
    if roads.is_empty:
        points = [gate.opening.centroid for gate in plan.gates]
        return np.array([(p.x, p.y) for p in points]).reshape(-1, 2)
    rim = shapely.get_coordinates(shapely.segmentize(roads.boundary, APART_M))
    nearest = shapely.get_coordinates(shapely.shortest_line(start, roads))[-1:]
    away = np.hypot(*(rim - (start.x, start.y)).T)
    return np.concatenate([nearest, rim[np.argsort(away, kind="stable")[:TRIED]]])
