"""The rounds of a crew as one ring of nodes: a way as one kind of technician takes it."""

from dataclasses import dataclass

import numpy as np

from greaseroute.rounds.crew_arrays import FAR_MS, usable_way_ms, way_windows
from greaseroute.rounds.crew_bound_lp import Bools, Ring
from greaseroute.rounds.problem import CrewProblem, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """What the nodes stand for: ``way`` and ``kind`` of each node of a unit, sorted by unit.

    ``technician`` are those who take part, sorted by kind, as the starts come in the ring.
    """

    way: IntArray
    kind: IntArray
    technician: IntArray
    kind_of_technician: IntArray

    def of(self, way: int, place: int) -> int:
        """The node of a way as the technician at ``place`` takes it."""
        match = (self.way == way) & (self.kind == self.kind_of_technician[place])
        return int(np.flatnonzero(match)[0])


def ring_of(problem: CrewProblem, who: IntArray, ways: IntArray) -> tuple[Ring, Nodes]:
    """The ring of technicians ``who`` over ``ways``; legs that no window lets walk are left out."""
    nodes = _nodes(problem, who, ways)
    n, crew = nodes.way.size, nodes.technician.size
    cost = np.full((n + crew, n + crew), FAR_MS, dtype=np.int64)
    for kind in np.unique(nodes.kind_of_technician):
        _legs(problem, nodes, kind=int(kind), cost=cost)
    cost = np.minimum(cost, FAR_MS)
    unit = problem.way_unit[nodes.way]
    _, cluster = np.unique(unit, return_inverse=True)
    cluster = np.concatenate([cluster, cluster.max() + 1 + np.arange(crew)]).astype(np.int64)
    allowed = cost < FAR_MS
    allowed &= (cluster[:, None] != cluster[None, :]) | (np.arange(n + crew) >= n)[:, None]
    allowed[:n, :n] &= _in_time(problem, nodes, cost[:n, :n])
    np.fill_diagonal(allowed, False)
    counts = np.bincount(nodes.kind_of_technician)
    starts = np.bincount(
        nodes.kind_of_technician, weights=problem.start_ms[nodes.technician].astype(float)
    )
    ring = Ring(
        cost=np.where(allowed, cost, 0),
        allowed=allowed,
        cluster=cluster,
        kind=np.concatenate([nodes.kind, nodes.kind_of_technician]),
        crew=counts.astype(np.int64),
        start_ms=starts.astype(np.int64),
    )
    return ring, nodes


def _nodes(problem: CrewProblem, who: IntArray, ways: IntArray) -> Nodes:
    spent = usable_way_ms(problem)
    names: dict[bytes, int] = {}
    kinds = [
        names.setdefault(
            b"".join(
                [spent[t, ways].tobytes(), problem.travel_ms[t].tobytes()]
                + [f.travel_ms[t].tobytes() for f in problem.phases]
            ),
            len(names),
        )
        for t in who
    ]
    place = np.argsort(kinds, kind="stable")
    technician, kind_of = who[place], np.array(kinds, dtype=np.int64)[place]
    heads = [int(technician[np.argmax(kind_of == k)]) for k in range(len(names))]
    pairs = [
        (int(problem.way_unit[way]), k, int(way))
        for k, t in enumerate(heads)
        for way in ways[spent[t, ways] >= 0]
    ]
    pairs.sort()
    return Nodes(
        way=np.array([way for _, _, way in pairs], dtype=np.int64),
        kind=np.array([k for _, k, _ in pairs], dtype=np.int64),
        technician=technician,
        kind_of_technician=kind_of,
    )


def least_walk(problem: CrewProblem, t: int) -> IntArray:
    """Least walking time in any phase, ``FAR_MS`` where there is no path."""
    phases = [problem.travel_ms[t], *(f.travel_ms[t] for f in problem.phases)]
    least = np.minimum.reduce([np.where(m < 0, FAR_MS, m) for m in phases])
    return np.asarray(least, dtype=np.int64)


def _legs(problem: CrewProblem, nodes: Nodes, *, kind: int, cost: IntArray) -> None:
    """Fill in the arcs of one kind: between its nodes, from its starts, to its finishes."""
    n, crew = nodes.way.size, nodes.technician.size
    mine = np.flatnonzero(nodes.kind == kind)
    places = np.flatnonzero(nodes.kind_of_technician == kind)
    t = int(nodes.technician[places[0]])
    walk, ways = least_walk(problem, t), nodes.way[mine]
    work = usable_way_ms(problem)[t, ways]
    enter, leave = problem.way_enter[ways], problem.way_leave[ways]
    cost[np.ix_(mine, mine)] = walk[leave[:, None], enter[None, :]] + work
    for i in places:
        start = problem.start_point[nodes.technician[i]]
        finish = problem.finish_point[nodes.technician[i]]
        cost[n + i, mine] = walk[start, enter] + work
        cost[mine, n + (i + 1) % crew] = walk[leave, finish]
        for j in places:  # an idle one, who finishes where another would have
            end = problem.finish_point[nodes.technician[j]]
            cost[n + i, n + (j + 1) % crew] = walk[start, end]


def _in_time(problem: CrewProblem, nodes: Nodes, cost: IntArray) -> Bools:
    """Which arcs between nodes can be walked if the first of the two comes first of all."""
    window = way_windows(problem)[nodes.way]
    spent = np.zeros(nodes.way.size, dtype=np.int64)
    leaving = np.full(nodes.way.size, FAR_MS, dtype=np.int64)
    for i, t in enumerate(nodes.technician):
        mine = nodes.kind == nodes.kind_of_technician[i]
        ways = nodes.way[mine]
        spent[mine] = usable_way_ms(problem)[t, ways]
        walk = least_walk(problem, int(t))[problem.start_point[t], problem.way_enter[ways]]
        begin = np.maximum(problem.start_ms[t] + walk, window[mine, 0])
        leaving[mine] = np.minimum(leaving[mine], begin + spent[mine])
    in_time: Bools = leaving[:, None] + (cost - spent) <= (window[:, 1] - spent)[None, :]
    return in_time
