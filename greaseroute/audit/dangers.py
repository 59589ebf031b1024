"""Promises about dangers on the way and at the stops: the plan warns of each that is near.

Distances are taken anew from the raw ground plan; the sun is that of `site.sun`.
"""

from collections.abc import Iterator
from datetime import UTC, timedelta

from shapely.geometry import LineString, MultiPoint
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.ground import KEPT_FROM
from greaseroute.audit.house_rules import FALL_M, PLACE_M, WARNED_M
from greaseroute.plan.round import PlaceCaution, Stop
from greaseroute.site.ground_plan import Area, Barrier
from greaseroute.site.sun import is_down

# What warns of a thing that has a distance of its own. An edge over water is told as water.
WARNING = {
    "rail_clearance_m": {"RAIL"}, "edge_clearance_m": {"FACE", "WATER"},
    "water_clearance_m": {"WATER"}, "toe_clearance_m": {"TIP"},
}  # fmt: skip
DUSK = timedelta(minutes=2)  # of the moment of sunrise either answer is right
Danger = tuple[str, frozenset[str], float, BaseGeometry]  # name, keys that warn of it, from, shape


def dangers_are_told(case: Case) -> Iterator[Finding]:
    """Each leg and each stop warns of what is near it, of darkness and of height."""
    dangers = list(_dangers(case))
    for technician in case.basis.plan.technicians:
        left = technician.start
        for stop in technician.stops:
            on_leg = LineString(stop.path) if len(stop.path) > 1 else None
            feet = MultiPoint([(s.x_m, s.y_m) for s in stop.stands]) if stop.stands else None
            for where, told, span in (
                (on_leg, stop.way_cautions, (left, stop.arrive)),
                (feet, stop.place_cautions, (stop.arrive, stop.leave)),
            ):
                if where is not None:
                    missing = [*_near(where, told, dangers), *_dark(case, told, span)]
                    missing += _high(stop) if where is feet else []
                    for what in missing:
                        at = Where(technician.name, stop.unit, at=stop.arrive)
                        yield at.finding("dangers", f"no word of {what}")
            left = stop.leave


def _dangers(case: Case) -> Iterator[Danger]:
    """Everything of the ground plan that is there at every hour and that one is warned of."""
    plan = case.basis.site.ground
    things: tuple[Area | Barrier, ...] = (*plan.obstacles, *plan.barriers)
    for thing in things:
        words = thing.kind.lower().replace("-", " ").split()
        singular = {word.rstrip("s") for word in words} | set(words)
        field = next((f for f, known in KEPT_FROM if singular & set(known)), "")
        shape = thing.polygon if isinstance(thing, Area) else thing.line_string
        if field:
            keys = WARNING[field]
            yield thing.name, frozenset(keys), min(WARNED_M[key] for key in keys), shape
    for road in plan.haul_roads:
        yield road.name, frozenset({"ROAD"}), WARNED_M["ROAD"], road.polygon
    for zone in plan.no_go:
        if not zone.hours:
            yield zone.name, frozenset({"ZONE"}), WARNED_M["ZONE"], zone.polygon


def _near(
    where: BaseGeometry, told: tuple[PlaceCaution, ...], dangers: list[Danger]
) -> Iterator[str]:
    keys = {caution.key for caution in told}
    for name, known, from_m, shape in dangers:
        away_m = shape.distance(where)
        if away_m < from_m - PLACE_M and not known & keys:
            yield f"{name}, {away_m:.1f} m off"


def _dark(case: Case, told: tuple[PlaceCaution, ...], span: tuple[str, str]) -> Iterator[str]:
    """Darkness where the sun is down at an end of the span and for a while around that."""
    lonlat = case.basis.lonlat
    if lonlat is None or any(caution.key == "DARK" for caution in told):
        return
    clock = case.basis.clock
    zero = clock.zero.astimezone(UTC)
    ends = [zero + timedelta(milliseconds=clock.of_text(text)) for text in span]
    if any(is_down(end - DUSK, lonlat) and is_down(end + DUSK, lonlat) for end in ends):
        yield "darkness"


def _high(stop: Stop) -> list[str]:
    high = any(stand.height_m >= FALL_M for stand in stop.stands)
    told = any(caution.key == "HEIGHT" for caution in stop.place_cautions)
    return ["work at height"] if high and not told else []
