"""The planned round against the habit it replaces: ``habit.py SITE``.

The habit: whoever is free first takes the nearest machine nobody has taken, comes to it at the
nearest stand, goes all round it clockwise and serves at each stand what is not done yet (posture
moves and turns when one gets to them, a second time round where something had to come first).
Same machines, same stands, same ground, same run as the plan.
"""

import math
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.prepare import Outlook, Prepared, prepare
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.folder import read_site
from greaseroute.site.model import Site
from greaseroute.visits.visit import UnitVisit
from greaseroute.visits.work import outfit_of

Point = tuple[float, float]


@dataclass
class Walker:
    """Where one technician is, after how long, having walked how far."""

    outlook: Outlook
    at: Point
    finish: Point
    time_s: float = 0.0
    walk_m: float = 0.0


def _clockwise(visit: UnitVisit, first: int) -> list[int]:
    unit = visit.work.unit
    bearing = [
        math.atan2(node.foot_m[0] - unit.x_m, node.foot_m[1] - unit.y_m) for node in visit.nodes
    ]
    return sorted(range(len(bearing)), key=lambda k: (bearing[k] - bearing[first]) % (2 * math.pi))


def _all_round(visit: UnitVisit, first: int) -> list[int]:
    """The nodes at which something is done, in the order of the habit."""
    cover, need, forbid = visit.tour.cover, visit.tour.need, visit.tour.forbid
    done = np.zeros(cover.shape[1], bool)
    order, where = [], _clockwise(visit, first)
    while not done.all():
        before = done.sum()
        for k in where:
            fresh = cover[k] & ~done
            if fresh.any() and not (need[k] & ~done).any() and not (forbid[k] & done).any():
                done |= fresh
                order.append(k)
        if done.sum() == before:
            raise RuntimeError(f"{visit.work.unit.unit}: the habit cannot finish this machine")
    return order


def _nearest(prepared: Prepared, walker: Walker, open_units: list[str]) -> tuple[str, int, float]:
    feet = [
        (unit, k, node.foot_m)
        for unit in open_units
        for k, node in enumerate(walker.outlook.visits[unit].nodes)
        if not node.need  # a place on the ground, or where one stands clear first
    ]
    ground = prepared.yard.grounds[0][1]
    speed = walker.outlook.outfit.speed_m_s
    way = ground.travel(
        [walker.at], goals=[foot for *_, foot in feet], speed_m_s=speed, slide=False
    )
    best = int(way.time_s[0].argmin())
    walker.time_s += float(way.time_s[0, best])
    return feet[best][0], feet[best][1], float(way.length_m[0, best])


def _visit(walker: Walker, visit: UnitVisit, first: int) -> None:
    order = _all_round(visit, first)
    way = visit.walks.travel
    legs = list(zip([first, *order], order, strict=False))
    walker.walk_m += sum(float(way.length_m[a, b]) for a, b in legs)
    walker.time_s += sum(float(way.time_s[a, b]) for a, b in legs) + visit.fixed_ms / 1000
    nodes = [visit.nodes[k] for k in order]
    walker.time_s += sum(n.settle_ms + 2 * n.climb_ms for n in nodes) / 1000
    walker.at = nodes[-1].foot_m


def _home(prepared: Prepared, walker: Walker) -> None:
    speed = walker.outlook.outfit.speed_m_s
    way = prepared.yard.grounds[0][1].travel(
        [walker.at], goals=[walker.finish], speed_m_s=speed, slide=False
    )
    walker.time_s += float(way.time_s[0, 0])
    walker.walk_m += float(way.length_m[0, 0])


def habit(site: Site, prepared: Prepared, units: set[str]) -> list[Walker]:
    """Walk the habit over the given units with the site's crew."""
    places = {p.name: (p.point.x, p.point.y) for p in site.ground.places}
    outlooks = {o.outfit: o for o in prepared.outlooks}
    walkers = [
        Walker(outlooks[outfit_of(t, site)], places[t.start], places[t.finish])
        for t in site.technicians
    ]
    left = sorted(units)
    while left:
        # Not everybody has the gun or the skill for every machine.
        able = [w for w in walkers if any(unit in w.outlook.visits for unit in left)]
        walker = min(able, key=lambda w: w.time_s)
        open_units = [unit for unit in left if unit in walker.outlook.visits]
        unit, first, walk_m = _nearest(prepared, walker, open_units)
        walker.walk_m += walk_m
        _visit(walker, walker.outlook.visits[unit], first)
        left.remove(unit)
    for walker in walkers:
        _home(prepared, walker)
    return walkers


def main() -> None:
    """Print both walks and the difference."""
    site = read_site(Path(sys.argv[1]))
    assert site.planned_for is not None
    plan = plan_round(site, RoundRequest(site.planned_for))
    prepared = prepare(site, RoundRequest(site.planned_for), progress=lambda text: None)
    units = {s.unit for t in plan.technicians for s in t.stops if not s.reload}
    walkers = habit(site, prepared, units)
    planned_m = sum(t.walk_m for t in plan.technicians)
    habit_m = sum(w.walk_m for w in walkers)
    print(f"units {len(units)}, technicians {len(walkers)}")
    print(f"habit   {habit_m:8.0f} m")
    print(f"planned {planned_m:8.0f} m")
    print(f"the planned walk is {100 * (1 - planned_m / habit_m):.1f} % shorter")


if __name__ == "__main__":
    main()
