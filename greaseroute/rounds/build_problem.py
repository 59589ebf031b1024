"""From visits to the integers of the solvers: points, ways, walking times, windows, loads."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from greaseroute.rounds.unit_tours import IntArray, Way
from greaseroute.rounds.visits import UnitVisit

Array = NDArray[np.float64]


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

    ``points`` (P, 2): first the fixed ones handed in (starts, finishes, stores), then each node
    at which some way begins or ends. ``units`` are the units visited, ``unit_of`` the row in it
    for each visit.
    """

    points: Array
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


def site_ways(fixed: Array, visits: Sequence[UnitVisit]) -> SiteWays:
    """All ways of all visits, with the points they need behind the ``fixed`` ones."""
    points = [(float(x), float(y)) for x, y in fixed]
    units = tuple(dict.fromkeys(v.work.unit.unit for v in visits))
    row: dict[tuple[float, float], int] = {}
    ways = []
    for number, visit in enumerate(visits):
        for way in visit.ways:
            enter, leave = (visit.nodes[node].foot_m for node in (way.enter, way.leave))
            for foot in (enter, leave):
                if foot not in row:
                    row[foot] = len(points)
                    points.append(foot)
            ways.append(SiteWay(number, way, row[enter], row[leave]))
    rows = tuple(units.index(v.work.unit.unit) for v in visits)
    return SiteWays(np.asarray(points).reshape(-1, 2), tuple(visits), tuple(ways), units, rows)


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
