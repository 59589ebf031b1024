"""One technician's route as a bound sees it: legs between points, and the ways that matter."""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.excess import most_excess
from greaseroute.solvers.vrp.entry_exit_points import points_of
from greaseroute.solvers.vrp.problem import CrewProblem


@dataclass(frozen=True, slots=True, eq=False)
class RouteLegs:
    """Nodes (units ascending, then stores), their ways, and the legs between their points.

    Attributes
    ----------
    unit : (n,)
        As in ``TypePoints``.
    real : int
        Nodes that are units.
    cost_ms : (O + 1, I + 1)
        Legs from points of leaving (the last row: the start) to points of entry (the last column:
        the finish); ``FAR`` where there is none.
    tail, head : (O + 1,), (I + 1,)
        Nodes of the points, n for start and finish.
    way_node, way_in, way_out, way_ms : (W,)
        Ways, sorted by node: from which point of entry to which of leaving, in what time.
    """

    unit: IntArray
    real: int
    cost_ms: IntArray
    tail: IntArray
    head: IntArray
    way_node: IntArray
    way_in: IntArray
    way_out: IntArray
    way_ms: IntArray

    @property
    def nodes(self) -> int:
        """Number of units and stores."""
        return int(self.unit.size)

    @property
    def arrays(self) -> list[IntArray]:
        """All that tells one technician's route from another's."""
        return [
            self.unit, self.cost_ms, self.way_node, self.way_in, self.way_out, self.way_ms
        ]  # fmt: skip

    def least_between(self, reduced_ms: IntArray) -> IntArray:
        """(n + 1, n + 1) least entry of a matrix over points (O + 1, I + 1) between two nodes."""
        first = [np.flatnonzero(np.diff(node, prepend=-1)) for node in (self.tail, self.head)]
        least = np.minimum.reduceat(reduced_ms, first[0], axis=0)
        return np.minimum.reduceat(least, first[1], axis=1)


def route_legs(problem: CrewProblem, t: int, ways: IntArray, *, stores: bool) -> RouteLegs:
    """Lay out the legs of technician t; ``ways`` sorted by unit.

    A way is left out if, from wherever one comes and wherever one goes, another of the same unit
    takes no longer, legs included. Nothing is lost by it.
    """
    # One matrix: points of leaving and the start against points of entry and the finish.
    p = points_of(problem, np.array([t], dtype=np.int64), ways, stores=stores)
    cost = np.full((p.out_node.size + 1, p.in_node.size + 1), FAR, dtype=np.int64)
    cost[:-1, :-1], cost[-1, :-1] = p.legs_ms, p.from_start_ms[0]
    cost[:-1, -1], cost[-1, -1] = p.to_finish_ms[0], p.idle_ms[0, 0]
    first = np.flatnonzero(np.diff(p.way_node, prepend=-1))
    # Ways that matter, unit by unit; then points without a way go.
    kept = np.concatenate(
        [
            _needed(cost, (p.way_in[rows], p.way_out[rows]), p.way_ms[rows]) + rows[0]
            for rows in np.split(np.arange(p.way_in.size), first[1:])
        ]
    )
    into, way_in = np.unique(p.way_in[kept], return_inverse=True)
    out, way_out = np.unique(p.way_out[kept], return_inverse=True)
    n, row = p.unit.size, np.append(out, p.out_node.size)
    return RouteLegs(
        unit=p.unit,
        real=int((p.unit < problem.units).sum()),
        cost_ms=np.ascontiguousarray(cost[row][:, np.append(into, p.in_node.size)]),
        tail=np.append(p.out_node[out], n).astype(np.int64),
        head=np.append(p.in_node[into], n).astype(np.int64),
        way_node=p.way_node[kept],
        way_in=way_in.astype(np.int64),
        way_out=way_out.astype(np.int64),
        way_ms=p.way_ms[kept],
    )


def _needed(cost: IntArray, ends: tuple[IntArray, IntArray], way_ms: IntArray) -> IntArray:
    """Numbers of those of one node's ways that no other always replaces; of two alike the first."""
    # Most that the first way can cost more: on the way in, on the way out, in itself.
    excess = most_excess(cost[:, ends[0]]) + most_excess(cost[ends[1]].T)
    replaces = way_ms[None, :] - way_ms[:, None] - excess >= 0  # the first may replace the second
    earlier = np.triu(np.ones(replaces.shape, dtype=bool), 1)
    replaced = replaces & (~replaces.T | earlier)
    np.fill_diagonal(replaced, False)
    return np.flatnonzero(~replaced.any(axis=0))
