"""One technician's round as a bound sees it: legs between points, ways that matter, his bag."""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.vrp.bag import at_start
from greaseroute.solvers.vrp.entry_exit_points import points_of
from greaseroute.solvers.vrp.layout import usable_way_ms
from greaseroute.solvers.vrp.problem import CrewProblem

CUT_OFF = 2**56  # a leg that nobody can walk, in comparisons


@dataclass(frozen=True, slots=True, eq=False)
class RoundLegs:
    """Nodes (units ascending, then stores), their ways, and the legs between their points.

    ``unit`` (n,) as in ``KindPoints``; ``real`` of them are units. ``cost_ms`` (O + 1, I + 1) are
    the legs from points of leaving (the last row: the start) to points of entry (the last column:
    the finish); ``tail``, ``head`` their nodes, n for start and finish. Ways join ``way_in`` with
    ``way_out``, sorted by ``way_node``.
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


def round_legs(problem: CrewProblem, t: int, ways: IntArray, *, stores: bool) -> RoundLegs:
    """Legs of technician t; ``ways`` sorted by unit; ways that others can always replace left out.

    A way is needless if, from wherever one comes and wherever one goes, another of the same unit
    takes no longer, legs included. Nothing is lost by it.
    """
    p = points_of(problem, np.array([t], dtype=np.int64), ways, stores=stores)
    cost = np.full((p.out_node.size + 1, p.in_node.size + 1), FAR, dtype=np.int64)
    cost[:-1, :-1], cost[-1, :-1] = p.legs_ms, p.from_start_ms[0]
    cost[:-1, -1], cost[-1, -1] = p.to_finish_ms[0], p.idle_ms[0, 0]
    kept = np.concatenate(
        [
            _needed(cost, (p.way_in[rows], p.way_out[rows]), p.way_ms[rows]) + rows[0]
            for rows in np.split(np.arange(p.way_in.size), _firsts(p.way_node)[1:])
        ]
    )
    into, way_in = np.unique(p.way_in[kept], return_inverse=True)
    out, way_out = np.unique(p.way_out[kept], return_inverse=True)
    n, row = p.unit.size, np.append(out, p.out_node.size)
    return RoundLegs(
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


def _firsts(sorted_numbers: IntArray) -> IntArray:
    return np.flatnonzero(np.diff(sorted_numbers, prepend=-1))


def _needed(cost: IntArray, ends: tuple[IntArray, IntArray], way_ms: IntArray) -> IntArray:
    """Numbers of those of one node's ways that no other always replaces; of two alike the first."""
    dearer_in, dearer_out = _dearer(cost[:, ends[0]]), _dearer(cost[ends[1]].T)
    gain = way_ms[None, :] - way_ms[:, None] - dearer_in - dearer_out
    replaces = gain >= 0  # the first may stand for the second
    earlier = np.triu(np.ones(replaces.shape, dtype=bool), 1)
    replaced = replaces & (~replaces.T | earlier)
    np.fill_diagonal(replaced, False)
    return np.flatnonzero(~replaced.any(axis=0))


def _dearer(legs: IntArray) -> IntArray:
    """(a, b): by how much legs to a are dearer at most than legs to b, wherever from."""
    open_legs = np.where(legs >= FAR // 2, CUT_OFF, legs)
    more = open_legs[:, :, None] - open_legs[:, None, :]
    shut = (open_legs == CUT_OFF)[:, None, :] & np.ones(more.shape, dtype=bool)
    most: IntArray = np.where(shut, -CUT_OFF, more).max(axis=0)
    return most


@dataclass(frozen=True, slots=True, eq=False)
class Bag:
    """What a technician's bag means: strokes (units, G) at the fewest, strokes of a cartridge and
    left in the guns (G,), cartridges held at the start and in a full bag."""

    strokes: IntArray
    cartridge: IntArray
    left: IntArray
    held: int
    full: int

    def store_visits(self, units: IntArray) -> int:
        """Store visits at least for these units."""
        need = np.maximum(0, self.strokes[units].sum(axis=0) - self.left)
        short = int((-(-need // self.cartridge)).sum()) - self.held
        return max(0, -(-short // self.full)) if self.full > 0 else 0


def bag_of(problem: CrewProblem, t: int, ways: IntArray) -> Bag:
    """The bag of technician t; ``ways`` sorted by unit."""
    ways = ways[usable_way_ms(problem)[t, ways] >= 0]
    strokes = np.zeros((problem.units, problem.way_strokes.shape[1]), dtype=np.int64)
    first = _firsts(problem.way_unit[ways])
    strokes[problem.way_unit[ways][first]] = np.minimum.reduceat(problem.way_strokes[ways], first)
    held, left = at_start(problem)
    full = int(problem.bag_cartridges[t])
    return Bag(strokes, problem.cartridge_strokes[t], left[t], int(held[t]), full)
