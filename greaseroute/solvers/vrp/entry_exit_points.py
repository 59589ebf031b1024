"""Where the ways of a crew begin and end, kind by kind: the walking between these points.

Technicians who are alike (same ways, times, walking times and cartridges) are of one kind. A node
is a unit as one kind visits it, or a store; its ways lead from points of entry to points of
leaving.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, IntArray
from greaseroute.solvers.vrp.layout import usable_way_ms, way_windows
from greaseroute.solvers.vrp.problem import CrewProblem


@dataclass(frozen=True, slots=True, eq=False)
class KindPoints:
    """The nodes of one kind and the legs between their points.

    ``unit`` (n,) are the nodes' units ascending, then stores as number of units + row of
    ``store_points``. Points of entry and of leaving are sorted by node: ``in_first``,
    ``out_first`` (n,) are where each node's begin, ``in_node``, ``out_node`` their nodes. Ways
    join a point of entry with one of leaving (``way_in``, ``way_out``) in ``way_ms``.
    ``legs_ms`` (leaving, entry), ``from_start_ms`` (technicians of the kind, entry),
    ``to_finish_ms`` (technicians, leaving) and ``idle_ms`` (technicians, technicians) are least
    walking times, by a store where that is shorter; ``FAR`` where nobody can go.
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


def kinds_of(problem: CrewProblem, who: IntArray, ways: IntArray) -> list[IntArray]:
    """Technicians ``who`` sorted into kinds, in order of their first."""
    spent = usable_way_ms(problem)
    found: dict[bytes, list[int]] = {}
    for t in who:
        same = [spent[t, ways], problem.travel_ms[t], *(f.travel_ms[t] for f in problem.phases)]
        same += [problem.cartridge_strokes[t], problem.bag_cartridges[t]]
        found.setdefault(b"".join(array.tobytes() for array in same), []).append(int(t))
    return [np.array(group, dtype=np.int64) for group in found.values()]


def least_walk(problem: CrewProblem, t: int) -> IntArray:
    """Least walking time in any phase, by a store where that is shorter, else ``FAR``."""
    phases = [problem.travel_ms[t], *(f.travel_ms[t] for f in problem.phases)]
    least = np.minimum.reduce([np.where(m < 0, FAR, m) for m in phases])
    for store in problem.store_points:
        least = np.minimum(least, least[:, [store]] + least[[store], :])
    return np.asarray(np.minimum(least, FAR), dtype=np.int64)


def soonest(walk: IntArray, start: int) -> IntArray:
    """Least time from a point to every other over any points between."""
    time = walk[start].copy()
    time[start] = 0
    while True:
        better = np.minimum(time, (time[:, None] + walk).min(axis=0))
        if np.array_equal(better, time):
            return np.asarray(np.minimum(time, FAR), dtype=np.int64)
        time = better


def points_of(problem: CrewProblem, kind: IntArray, ways: IntArray, *, stores: bool) -> KindPoints:
    """Points and legs of a kind; ``ways`` sorted by unit; with nodes for stores if asked for.

    Nobody goes from the start to a store with a full bag, nor to the finish from one.
    """
    t = int(kind[0])
    walk, spent = least_walk(problem, t), usable_way_ms(problem)[t]
    ways = ways[spent[ways] >= 0]
    extra = problem.store_points if stores else problem.store_points[:0]
    owner = np.concatenate([problem.way_unit[ways], problem.units + np.arange(extra.size)])
    unit, node = np.unique(owner, return_inverse=True)
    enter, at_in = _ends(node, np.concatenate([problem.way_enter[ways], extra]))
    leave, at_out = _ends(node, np.concatenate([problem.way_leave[ways], extra]))
    work = np.concatenate([spent[ways], np.full(extra.size, problem.reload_ms)])
    legs = walk[leave[1][:, None], enter[1][None, :]]
    same = leave[0][:, None] == enter[0][None, :]
    is_store, full = unit >= problem.units, _starts_full(problem, kind)
    both_stores = is_store[leave[0]][:, None] & is_store[enter[0]]
    late = _too_late(problem, walk, kind=kind, ways=ways, ends=(at_in, at_out), legs=legs)
    starts, finishes = problem.start_point[kind], problem.finish_point[kind]
    begin, end = walk[starts[:, None], enter[1]], walk[leave[1], finishes[:, None]]
    return KindPoints(
        technician=kind,
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


def _starts_full(problem: CrewProblem, kind: IntArray) -> BoolArray:
    """Which technicians start with a full bag."""
    if problem.bag_at_start is None:
        return np.ones(kind.size, dtype=bool)
    full: BoolArray = problem.bag_at_start[kind] >= problem.bag_cartridges[kind]
    return full


def _ends(node: IntArray, point: IntArray) -> tuple[tuple[IntArray, IntArray], IntArray]:
    """Pairs (node, point), each once and sorted, and the pair of every way."""
    pairs, at = np.unique(np.stack([node, point], axis=1), axis=0, return_inverse=True)
    return (pairs[:, 0].astype(np.int64), pairs[:, 1].astype(np.int64)), at.reshape(-1)


def _too_late(
    problem: CrewProblem,
    walk: IntArray,
    *,
    kind: IntArray,
    ways: IntArray,
    ends: tuple[IntArray, IntArray],
    legs: IntArray,
) -> BoolArray:
    """Legs that come too late for any way they lead to, even if all before took no time."""
    window, spent = way_windows(problem)[ways], usable_way_ms(problem)[kind[0], ways]
    begin = np.full(ways.size, FAR, dtype=np.int64)
    for t in kind:
        there = problem.start_ms[t] + soonest(walk, int(problem.start_point[t]))
        begin = np.minimum(begin, there[problem.way_enter[ways]])
    left = np.full(legs.shape[0], FAR, dtype=np.int64)
    np.minimum.at(left, ends[1][: ways.size], np.maximum(begin, window[:, 0]) + spent)
    left[ends[1][ways.size :]] = int(problem.start_ms[kind].min())
    latest = np.full(legs.shape[1], -1, dtype=np.int64)
    np.maximum.at(latest, ends[0][: ways.size], window[:, 1] - spent)
    latest[ends[0][ways.size :]] = FAR
    return left[:, None] + legs > latest[None, :]
