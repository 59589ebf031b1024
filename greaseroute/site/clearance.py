"""How far one keeps from what there is on the ground: by what it is, the larger distance wins.

A pile slides at its toe, a face drops stones, an edge breaks off, water is deep at the quay; each
has a distance of its own in the rules. Ground that keeps them is a plan in which such shapes are
larger by what their distance exceeds ``clearance_m``, so that all that walks keeps it.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Area, Barrier, GroundPlan

Hazard = Literal["toe", "edge", "water", "no_entry", "haul_road", "rail", ""]
# Words in the kind of a feature by which it is known; without one of them it is an obstacle.
WORDS: tuple[tuple[Hazard, tuple[str, ...]], ...] = (
    ("rail", ("rail", "siding", "railway")),
    ("edge", ("face", "edge", "bench", "crest", "highwall")),
    ("water", ("water", "pond", "lagoon", "basin", "dock", "river", "lake", "sump")),
    ("toe", ("stockpile", "heap", "spoil", "tip", "toe", "pile")),
)
PAST_M = 0.01  # a strip over widened ground reaches a little past it
MITRE = 1.001  # corners cut off a hair outside the distance, as `walk.obstacles.widen` does


def hazard(kind: str) -> Hazard:
    """What a feature is to somebody on foot, by the words of its kind."""
    words = kind.lower().replace("-", " ").split()
    for found, known in WORDS:
        if any(word.rstrip("s") in known or word in known for word in words):
            return found
    return ""


def distance_m(what: Hazard, rules: WorkingRules) -> float:
    """What is kept from such a thing; never less than the clearance from anything."""
    own = getattr(rules, f"{what}_clearance_m") if what else 0.0
    return max(float(own), rules.clearance_m)


def more_m(area: Area | Barrier, rules: WorkingRules) -> float:
    """By how much a feature's distance exceeds the clearance kept from everything."""
    role = area.role if isinstance(area, Area) else "barrier"
    hazards = [hazard(area.kind)]
    hazards += {"no_go": ["no_entry"], "haul_road": ["haul_road"]}.get(role, [])  # type: ignore[arg-type]
    return max(distance_m(each, rules) for each in hazards) - rules.clearance_m


def kept_ground(plan: GroundPlan, rules: WorkingRules) -> GroundPlan:
    """The plan in which all that is kept clear of by more than the clearance is larger by that.

    Ways through it stay open: gates by their width, crossings over the whole of the widened road.
    """
    road_m = max((more_m(road, rules) for road in plan.haul_roads), default=0.0)
    barriers = [(barrier, more_m(barrier, rules)) for barrier in plan.barriers]
    if not road_m and not any(more for _, more in barriers):
        areas = (*plan.obstacles, *plan.no_go)
        if not any(more_m(area, rules) for area in areas):
            return plan
    return replace(
        plan,
        obstacles=(
            *(_wider(area, rules) for area in plan.obstacles),
            *(area for barrier, more in barriers if more for area in _banks(plan, barrier, more)),
        ),
        no_go=tuple(_wider(area, rules) for area in plan.no_go),
        haul_roads=tuple(_wider(road, rules) for road in plan.haul_roads),
        crossings=tuple(_longer(crossing, plan, road_m) for crossing in plan.crossings),
        barriers=tuple(barrier for barrier, _ in barriers),
    )


def _wider(area: Area, rules: WorkingRules) -> Area:
    more = more_m(area, rules)
    return replace(area, polygon=_grown(area.polygon, more)) if more > 0 else area


def _grown(shape: BaseGeometry, more: float) -> Polygon:
    grown = shape.buffer(more, cap_style="square", join_style="mitre", mitre_limit=MITRE)
    return grown if isinstance(grown, Polygon) else grown.convex_hull


def _longer(crossing: Area, plan: GroundPlan, more: float) -> Area:
    """A crossing that reaches over the widened roads it crosses."""
    if more <= 0:
        return crossing
    roads = shapely.union_all([road.polygon for road in plan.haul_roads])
    beside = _grown(crossing.polygon, more + PAST_M).difference(roads)
    longer = shapely.union(crossing.polygon, beside)
    parts = [p for p in shapely.get_parts(longer) if p.intersects(crossing.polygon)]
    whole = max(parts, key=lambda p: float(p.area))
    return replace(crossing, polygon=Polygon(whole.exterior))


def _banks(plan: GroundPlan, barrier: Barrier, more: float) -> Iterator[Area]:
    """Ground beside a barrier that is kept clear of, open at its gates."""
    line = barrier.line_string
    strip = line.buffer(more, cap_style="square", join_style="mitre", mitre_limit=MITRE)
    gates = [g.opening.buffer(more + PAST_M, cap_style="flat") for g in plan.gates
             if g.opening.distance(line) < PAST_M]  # fmt: skip
    for part in shapely.get_parts(strip.difference(shapely.union_all(gates))):
        if isinstance(part, Polygon) and part.area > PAST_M * PAST_M:
            yield Area(barrier.name, "obstacle", part, line=barrier.line, kind=barrier.kind)
