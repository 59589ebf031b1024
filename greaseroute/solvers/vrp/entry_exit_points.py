"""Where the ways of a crew begin and end, one technician type at a time, and the legs between.

Technicians are of one type if they have the same ways, times, walking times and cartridges. A node
is a unit as one type visits it, or a store; its ways lead from points of entry to points of
leaving::

             points of entry        ways            points of leaving
    node 0   in_first[0] .. ---- way_in, way_out ---- out_first[0] ..      legs_ms
    node 1   in_first[1] .. ----      way_ms     ---- out_first[1] ..  ------------>  any entry
    ...
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, IntArray
from greaseroute.solvers.vrp.alike import alike
from greaseroute.solvers.vrp.layout import usable_way_ms, way_windows
from greaseroute.solvers.vrp.problem import CrewProblem


@dataclass(frozen=True, slots=True, eq=False)
class TypePoints:
    """The nodes of one technician type and the legs between their points.

    Attributes
    ----------
    technician : (k,)
        The technicians of the type.
    unit : (n,)
        The nodes' units ascending, then stores as number of units + row of ``store_points``.
    in_first, out_first : (n,)
        First point of entry and of leaving of each node; points are sorted by node.
    in_node, out_node : (I,), (O,)
        Nodes of the points.
    way_id, way_in, way_out, way_ms : (W,)
        Ways, sorted by node: number in the problem (-1: a store), their points, their time.
    legs_ms, from_start_ms, to_finish_ms, idle_ms : (O, I), (k, I), (k, O), (k, k)
        Least walking times, by a store where that is shorter; ``FAR`` where nobody can go.
    """

    technician: IntArray
    unit: IntArray
    in_first: IntArray
    in_node: IntArray
    out_first: IntArray
    out_node: IntArray
    way_id: IntArray
    way_in: IntArray
    way_out: IntArray
    way_ms: IntArray
    legs_ms: IntArray
    from_start_ms: IntArray
    to_finish_ms: IntArray
    idle_ms: IntArray

    @property
    def way_node(self) -> IntArray:
        """The node of each way."""
        node: IntArray = self.in_node[self.way_in]
        return node

    def nearest_ms(self, off: IntArray | int = 0, on: IntArray | int = 0) -> IntArray:
        """(n, n) least leg between two nodes, less ``off`` (O, 1) and plus ``on`` (I,)."""
        # Points are sorted by node: minima over runs of rows, then of columns.
        legs = np.minimum.reduceat(self.legs_ms - off + on, self.out_first, axis=0)
        return np.minimum.reduceat(legs, self.in_first, axis=1)


def technician_types(problem: CrewProblem, who: IntArray, ways: IntArray) -> list[IntArray]:
    """Technicians ``who`` sorted into types, in the order of their first.

    Criteria: times of these ways, walking times in every phase, strokes of a cartridge and
    cartridges in a bag.
    """
    # Starts, finishes and shift ends may differ: they belong to the technician, not the type.
    spent = usable_way_ms(problem)
    criteria = [
        [
            spent[t, ways],
            problem.travel_ms[t],
            *(phase.travel_ms[t] for phase in problem.phases),
            problem.cartridge_strokes[t],
            problem.bag_cartridges[t],
        ]
        for t in who
    ]
    return [who[group] for group in alike(criteria)]


def least_walk(problem: CrewProblem, t: int) -> IntArray:
    """(P, P) least walking time in any phase, by a store where that is shorter, else ``FAR``."""
    phases = [problem.travel_ms[t], *(f.travel_ms[t] for f in problem.phases)]
    least = np.minimum.reduce([np.where(m < 0, FAR, m) for m in phases])
    for store in problem.store_points:
        least = np.minimum(least, least[:, [store]] + least[[store], :])
    return np.asarray(np.minimum(least, FAR), dtype=np.int64)


def soonest(walk: IntArray, start: int) -> IntArray:
    """(P,) least time from a point to every other over any points between (Bellman and Ford)."""
    time = walk[start].copy()
    time[start] = 0
    while True:
        # Until no time falls: walking times need not obey the triangle inequality here.
        better = np.minimum(time, (time[:, None] + walk).min(axis=0))
        if np.array_equal(better, time):
            return np.asarray(np.minimum(time, FAR), dtype=np.int64)
        time = better


def points_of(problem: CrewProblem, crew: IntArray, ways: IntArray, *, stores: bool) -> TypePoints:
    """Lay out points and legs of one technician type.

    Parameters
    ----------
    problem : CrewProblem
    crew : (k,)
        The technicians of the type.
    ways : (W,)
        Ways to be considered, sorted by unit.
    stores : bool
        Whether stores are nodes. Nobody goes from the start to a store with a full bag, nor to the
        finish from one.
    """
    t = int(crew[0])
    walk, spent = least_walk(problem, t), usable_way_ms(problem)[t]
    ways = ways[spent[ways] >= 0]
    # Nodes: units with their ways, then stores, whose way stands at one point.
    extra = problem.store_points if stores else problem.store_points[:0]
    owner = np.concatenate([problem.way_unit[ways], problem.units + np.arange(extra.size)])
    unit, node = np.unique(owner, return_inverse=True)
    enter, at_in = _ends(node, np.concatenate([problem.way_enter[ways], extra]))
    leave, at_out = _ends(node, np.concatenate([problem.way_leave[ways], extra]))
    work = np.concatenate([spent[ways], np.full(extra.size, problem.reload_ms)])
    # Legs that no round walks: within a node, from store to store, too late.
    legs = walk[leave[1][:, None], enter[1][None, :]]
    same = leave[0][:, None] == enter[0][None, :]
    is_store, full = unit >= problem.units, _starts_full(problem, crew)
    both_stores = is_store[leave[0]][:, None] & is_store[enter[0]]
    late = _too_late(problem, walk, crew=crew, ways=ways, ends=(at_in, at_out), legs=legs)
    # Legs from the starts and to the finishes.
    starts, finishes = problem.start_point[crew], problem.finish_point[crew]
    begin, end = walk[starts[:, None], enter[1]], walk[leave[1], finishes[:, None]]
    return TypePoints(
        technician=crew,
        unit=unit.astype(np.int64),
        in_first=np.searchsorted(enter[0], np.arange(unit.size)).astype(np.int64),
        in_node=enter[0],
        out_first=np.searchsorted(leave[0], np.arange(unit.size)).astype(np.int64),
        out_node=leave[0],
        way_id=np.concatenate([ways, np.full(extra.size, -1, dtype=np.int64)]),
        way_in=at_in,
        way_out=at_out,
        way_ms=work.astype(np.int64),
        legs_ms=np.where(same | both_stores | late, FAR, legs),
        from_start_ms=np.where(full[:, None] & is_store[enter[0]], FAR, begin),
        to_finish_ms=np.where(is_store[leave[0]], FAR, end),
        idle_ms=walk[starts[:, None], finishes[None, :]],
    )


def _starts_full(problem: CrewProblem, crew: IntArray) -> BoolArray:
    """Which technicians start with a full bag."""
    if problem.bag_at_start is None:
        return np.ones(crew.size, dtype=bool)
    full: BoolArray = problem.bag_at_start[crew] >= problem.bag_cartridges[crew]
    return full


def _ends(node: IntArray, point: IntArray) -> tuple[tuple[IntArray, IntArray], IntArray]:
    """Pairs (node, point), each once and sorted, and the pair of every way."""
    pairs, at = np.unique(np.stack([node, point], axis=1), axis=0, return_inverse=True)
    return (pairs[:, 0].astype(np.int64), pairs[:, 1].astype(np.int64)), at.reshape(-1)


def _too_late(
    problem: CrewProblem,
    walk: IntArray,
    *,
    crew: IntArray,
    ways: IntArray,
    ends: tuple[IntArray, IntArray],
    legs: IntArray,
) -> BoolArray:
    """(O, I) legs that come too late for any way they lead to, even if all before took no time."""
    window, spent = way_windows(problem)[ways], usable_way_ms(problem)[crew[0], ways]
    # Earliest anyone of the type begins each way, hence earliest each point is left.
    begin = np.full(ways.size, FAR, dtype=np.int64)
    for t in crew:
        there = problem.start_ms[t] + soonest(walk, int(problem.start_point[t]))
        begin = np.minimum(begin, there[problem.way_enter[ways]])
    left = np.full(legs.shape[0], FAR, dtype=np.int64)
    np.minimum.at(left, ends[1][: ways.size], np.maximum(begin, window[:, 0]) + spent)
    left[ends[1][ways.size :]] = int(problem.start_ms[crew].min())
    # Latest each point may be entered.
    latest = np.full(legs.shape[1], -1, dtype=np.int64)
    np.maximum.at(latest, ends[0][: ways.size], window[:, 1] - spent)
    latest[ends[0][ways.size :]] = FAR
    return left[:, None] + legs > latest[None, :]
