"""Promises about machines that leave while the round is under way.

From that hour their place and their way out are traffic. The plan tells the ground of it; asked is
whether it is told of every such machine, covers its place, and leads to a road where one is near.
That nobody walks or stands there then is asked with all that opens and closes by the clock.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.basis import Basis
from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.house_rules import CLOCK_MS, PLACE_M
from greaseroute.audit.moments import unit_stands
from greaseroute.plan.round import Leaving
from greaseroute.units import MS_PER_S

ROOM = 1.05  # a passage so many times as wide as the machine is one that it can take
ROAD_M = 0.05  # a way out that ends so near to a road leads there
BY_PLACE_M = 3.0  # a way out ends so far from a place where somebody sets off, at most


def leaving_ms(basis: Basis) -> dict[str, int]:
    """When each machine goes that goes before the end of the round, ms from zero."""
    found = {}
    for unit in basis.site.units:
        _, go_ms = unit_stands(unit, basis.clock)
        if go_ms is not None and 0 < go_ms < basis.end_ms:
            found[unit.unit] = go_ms
    return found


def leaving_is_told(case: Case) -> Iterator[Finding]:
    """Each machine that goes has its hour and its ground in the plan, and no other has."""
    basis = case.basis
    told = {each.unit: each for each in basis.plan.leaving}
    due = leaving_ms(basis)
    for unit in sorted(due.keys() ^ told.keys()):
        what = "leaves while the round is under way, and the plan does not say so"
        yield Where(unit=unit).finding(
            "traffic", what if unit in due else "is said to leave and does not"
        )
    for unit in due.keys() & told.keys():
        yield from _told_right(case, told[unit], go_ms=due[unit])


def _told_right(case: Case, told: Leaving, *, go_ms: int) -> Iterator[Finding]:
    basis, where = case.basis, Where(unit=told.unit, at=told.leaves)
    off_ms = abs(basis.clock.of_text(told.leaves) - go_ms)
    if off_ms > CLOCK_MS:
        what = "leaves at another hour than the plan says"
        yield where.finding("traffic", what, off=off_ms / MS_PER_S, measure="s")
    ground, outline = Polygon(told.ground), _outline(case, told.unit)
    if outline.difference(ground.buffer(PLACE_M)).area > PLACE_M:
        yield where.finding("traffic", "stands beyond the ground that is told of it")
    gap_m = _gap_to_road_m(case, told.unit, ground)
    if gap_m > ROAD_M:
        what = "has room to drive to the road, and the way out that is told does not lead there"
        yield where.finding("traffic", what, off=gap_m, measure="m")


def _outline(case: Case, unit: str) -> BaseGeometry:
    return case.machines.outlines[unit, case.basis.units[unit].posture]


def _gap_to_road_m(case: Case, unit: str, ground: Polygon) -> float:
    """How far the ground told ends from any road (or gate, where there is none).

    0 where the machine has no room to get there, or where somebody sets off, ends or loads at
    the end of it: nobody drives over such a place.
    """
    plan, outline = case.basis.site.ground, _outline(case, unit)
    roads: list[BaseGeometry] = [road.polygon for road in plan.haul_roads]
    goals = roads or [gate.opening for gate in plan.gates]
    gap_m = min((float(ground.distance(goal)) for goal in goals), default=0.0)
    half_m = ROOM * _width_m(outline) / 2
    if gap_m <= ROAD_M or not _drives_to(case, unit, goals, half_m=half_m):
        return 0.0
    crew = case.basis.site.technicians
    used = {name for person in crew for name in (person.start, person.finish)}
    spots = [p.point for p in plan.places if p.name in used or p.kind == "store"]
    if any(ground.distance(spot) < 2 * half_m + BY_PLACE_M for spot in spots):
        return 0.0
    return gap_m


def _drives_to(case: Case, unit: str, goals: Sequence[BaseGeometry], *, half_m: float) -> bool:
    """Whether ground as wide as the machine joins it to one of the goals."""
    plan = case.basis.site.ground
    openings = shapely.union_all([g.opening.buffer(PLACE_M, cap_style="flat") for g in plan.gates])
    solid: list[BaseGeometry] = [o.polygon for o in plan.obstacles]
    solid += [b.line_string.difference(openings) for b in plan.barriers]
    solid += [_outline(case, u) for u in case.basis.units if u != unit]
    middle = _outline(case, unit).centroid
    wide = shapely.get_parts(plan.boundary.difference(shapely.union_all(solid).buffer(half_m)))
    mine = [part for part in wide if part.contains(middle)]
    return any(part.distance(goal) <= PLACE_M for part in mine for goal in goals)


def _width_m(outline: BaseGeometry) -> float:
    corners = shapely.get_coordinates(outline.minimum_rotated_rectangle)
    sides = [shapely.Point(a).distance(shapely.Point(b)) for a, b in pairwise(corners[:3])]
    return float(min(sides))
