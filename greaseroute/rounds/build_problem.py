"""From visits to the integers of the solvers: points, ways, walking times, windows, loads."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.rounds.unit_tours import IntArray, Way
from greaseroute.rounds.visits import UnitVisit
from greaseroute.rounds.walker import Point2


@dataclass(frozen=True, slots=True)
class SiteWay:
    """One way of one visit: which visit it is, which points it begins and ends at."""

    visit: int
    way: Way
    enter: int
    leave: int


@dataclass(frozen=True, slots=True, eq=False)
class SiteWays:
    """Every way of every visit over the points of the site.

    ``units`` are the units visited, ``unit_of`` the row in it for each visit.
    """

    visits: tuple[UnitVisit, ...]
    ways: tuple[SiteWay, ...]
    units: tuple[str, ...]
    unit_of: tuple[int, ...]

    @property
    def way_unit(self) -> IntArray:
        """The unit of each way, as a row of ``units``."""
        return np.asarray([self.unit_of[w.visit] for w in self.ways], dtype=np.int64)

    @property
    def way_enter(self) -> IntArray:
        """The point at which each way begins."""
        return np.asarray([w.enter for w in self.ways], dtype=np.int64)

    @property
    def way_leave(self) -> IntArray:
        """The point at which each way ends."""
        return np.asarray([w.leave for w in self.ways], dtype=np.int64)

    @property
    def route_ms(self) -> IntArray:
        """The part of each way's time that the route decides."""
        return np.asarray([self.visits[w.visit].route_ms(w.way) for w in self.ways], dtype=np.int64)

    @property
    def total_ms(self) -> IntArray:
        """Each way's time at the unit, isolation and all."""
        return np.asarray([self.visits[w.visit].total_ms(w.way) for w in self.ways], dtype=np.int64)


def site_ways(visits: Sequence[UnitVisit], row: Mapping[Point2, int]) -> SiteWays:
    """All ways of all visits, each between the points (by ``row``) of its first and last node."""
    units = tuple(dict.fromkeys(v.work.unit.unit for v in visits))
    ways = tuple(
        SiteWay(number, way, row[visit.nodes[way.enter].foot_m], row[visit.nodes[way.leave].foot_m])
        for number, visit in enumerate(visits)
        for way in visit.ways
    )
    rows = tuple(units.index(v.work.unit.unit) for v in visits)
    return SiteWays(tuple(visits), ways, units, rows)


def cluster_cost(
    ways: SiteWays, travel_ms: IntArray, *, start: int, finish: int
) -> tuple[IntArray, list[list[int]]]:
    """Cost of going from one way to the next, and the ways of each unit.

    One more node, the last, stands for finish and start: from it the walk begins at point
    ``start``, into it it ends at point ``finish``. Costs are the route-dependent time alone.
    """
    count = len(ways.ways)
    enter, leave = np.append(ways.way_enter, finish), np.append(ways.way_leave, start)
    cost = travel_ms[np.ix_(leave, enter)] + np.append(ways.route_ms, 0)[None, :]
    cost[count, count] = 0
    groups: list[list[int]] = [[] for _ in ways.units]
    for node, unit in enumerate(ways.way_unit.tolist()):
        groups[unit].append(node)
    return np.ascontiguousarray(cost, dtype=np.int64), [*groups, [count]]


def strokes_of(visit: UnitVisit, guns: Sequence[str]) -> list[int]:
    """Strokes that a visit takes from each gun, in the order of ``guns``."""
    total: Mapping[str, int] = {
        gun: sum(
            f.strokes
            for joint in visit.work.joints
            for f in joint.fittings
            if f.gun == gun and f.key in visit.items
        )
        for gun in guns
    }
    return [total[gun] for gun in guns]
