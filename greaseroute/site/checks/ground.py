"""Does the ground plan make sense in itself?"""

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from greaseroute.errors import Fault
from greaseroute.site.clearance import more_m
from greaseroute.site.files.draft import GROUND, SITE, Draft
from greaseroute.site.geodesy import LocalPlane
from greaseroute.site.ground_plan import Area, GroundPlan

EDGE_M = 0.001  # a point this near an edge lies on it


def ground_faults(draft: Draft) -> Iterator[Fault]:
    """Every fault that shows between the features of the plan."""
    if draft.ground is None or draft.plane is None:
        return
    if draft.all_read("haul_road"):
        yield from crossings_on_roads(draft.ground)
    yield from doubled_places(draft.ground)
    yield from blocked_places(draft.ground)
    yield from wide_clearances(draft, draft.ground)
    yield from places_too_near(draft, draft.ground)
    yield from outside(draft.ground, draft.plane)


def crossings_on_roads(plan: GroundPlan) -> Iterator[Fault]:
    """A crossing that crosses no haul road, or does not reach its far side."""
    roads = unary_union([r.polygon for r in plan.haul_roads])
    for crossing in plan.crossings:
        if roads.intersection(crossing.polygon).area <= 0:
            allowed, do = "ground on a haul road", "move it onto the road it crosses"
            yield _area_fault(crossing, "geometry", ("on no haul road", allowed, do))
        elif len(_banks(crossing, roads)) < 2:
            allowed = "an area from one side of the road to the other"
            do = "lengthen it over both edges of the road"
            yield _area_fault(crossing, "geometry", ("ends on the road", allowed, do))


def _banks(crossing: Area, roads: BaseGeometry) -> list[BaseGeometry]:
    """The pieces of a crossing's outline that stick out of the road or lie on its edge."""
    rim = crossing.polygon.exterior.difference(roads.buffer(-EDGE_M))
    joined = unary_union(rim.buffer(2 * EDGE_M)) if not rim.is_empty else rim
    return list(getattr(joined, "geoms", [joined])) if not joined.is_empty else []


def doubled_places(plan: GroundPlan) -> Iterator[Fault]:
    """Two places of one name: nobody knows which is meant."""
    seen: set[str] = set()
    for place in plan.places:
        if place.name in seen:
            texts = (place.name, "each place once", "rename one of them")
            yield Fault(GROUND, place.line, f"place {place.name}", "name", *texts)
        seen.add(place.name)


def blocked_places(plan: GroundPlan) -> Iterator[Fault]:
    """A place where nobody can stand: in an obstacle, on a road, in a zone closed for good."""
    always_closed = [z for z in plan.no_go if not z.hours]
    for place in plan.places:
        for area in (*plan.obstacles, *always_closed, *_open_road(plan, place.point)):
            if _deep_inside(place.point, area):
                value = f"inside {area.role.replace('_', ' ')} {area.name}"
                texts = (value, "free ground", "move it to where one can stand")
                yield Fault(GROUND, place.line, f"place {place.name}", "geometry", *texts)
                break


def wide_clearances(draft: Draft, plan: GroundPlan) -> Iterator[Fault]:
    """A distance to be kept that is larger than half the yard is wide: nobody could stand there."""
    around = shapely.get_coordinates(plan.boundary.minimum_rotated_rectangle)
    sides = np.hypot(*np.diff(around, axis=0).T)
    half_m = float(sides.min()) / 2
    rules = draft.settings.text.data.get("rules")
    for field, value in rules.items() if isinstance(rules, dict) else ():
        known = field.endswith("clearance_m") or field in ("swing_gap_m", "stand_clear_m")
        if known and isinstance(value, int | float) and value >= half_m:
            line = draft.settings.text.line(("rules", field))
            allowed = f"less than {half_m:.1f} m, half of what the site is wide"
            texts = (f"{value:g}", allowed, "correct it, or the boundary in ground.geojson")
            yield Fault(SITE, line, "site", f"rules.{field}", *texts)


def places_too_near(draft: Draft, plan: GroundPlan) -> Iterator[Fault]:
    """A place where people go that is nearer to something than its own distance allows."""
    if draft.settings.site is None:
        return
    rules = draft.settings.site.rules
    for place in plan.places:
        for area in (*plan.obstacles, *(z for z in plan.no_go if not z.hours)):
            kept_m = more_m(area, rules) + rules.clearance_m
            away_m = area.polygon.distance(place.point)
            if kept_m > rules.clearance_m and EDGE_M < away_m < kept_m - EDGE_M:
                value = f"{away_m:.2f} m from {area.role.replace('_', ' ')} {area.name}"
                allowed = f"{kept_m:g} m or more (the distances of rules in site.toml)"
                do = "move it, or correct the distance in site.toml"
                yield Fault(
                    GROUND, place.line, f"place {place.name}", "geometry", value, allowed, do
                )
                break


def _open_road(plan: GroundPlan, point: Point) -> tuple[Area, ...]:
    """The haul roads, or none where a crossing lies under the point."""
    crossed = any(c.polygon.covers(point) for c in plan.crossings)
    return () if crossed else plan.haul_roads


def _deep_inside(point: Point, area: Area) -> bool:
    return area.polygon.contains(point) and area.polygon.exterior.distance(point) > EDGE_M


def outside(plan: GroundPlan, plane: LocalPlane) -> Iterator[Fault]:
    """Places outside the boundary, and other features that lie wholly outside it."""
    rim = plan.boundary.buffer(EDGE_M)
    for place in plan.places:
        if not rim.covers(place.point):
            yield _outside(f"place {place.name}", place.line, place.point, plan=plan, plane=plane)
    areas = (*plan.obstacles, *plan.no_go, *plan.haul_roads, *plan.crossings, *plan.slow_ground)
    shapes: list[tuple[str, int, BaseGeometry]] = [
        (f"{a.role} {a.name}", a.line, a.polygon) for a in areas
    ]
    shapes += [(f"barrier {b.name}", b.line, b.line_string) for b in plan.barriers]
    for record, line, shape in shapes:
        if not rim.intersects(shape):
            yield _outside(record, line, shape, plan=plan, plane=plane)


def _outside(
    record: str, line: int, shape: BaseGeometry, *, plan: GroundPlan, plane: LocalPlane
) -> Fault:
    """The fault of a feature outside the boundary, with a word where it looks swapped."""
    away_m = plan.boundary.distance(shape)
    middle = shape.representative_point()
    swapped = is_swapped(plan, plane, (middle.x, middle.y))
    do = "its coordinates look swapped: exchange them" if swapped else "correct its position"
    value = f"{away_m:.1f} m outside the boundary"
    return Fault(GROUND, line, record, "geometry", value, "inside the boundary", do)


def is_swapped(plan: GroundPlan, plane: LocalPlane, point: tuple[float, float]) -> bool:
    """Whether exchanging the two coordinates, as written in the files, leads into the boundary."""
    written = plane.to_source(np.array([point], dtype=float))
    if plane.system == "lon/lat" and abs(written[0, 0]) > 90:
        return False
    east, north = plane.point(float(written[0, 1]), float(written[0, 0]))
    return bool(plan.boundary.covers(Point(east, north)))


def _area_fault(area: Area, field: str, texts: tuple[str, str, str]) -> Fault:
    return Fault(GROUND, area.line, f"{area.role} {area.name}", field, *texts)
