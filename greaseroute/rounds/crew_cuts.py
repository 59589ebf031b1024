"""Sets of units that a flow leaves too seldom: sub-tours, and loads too large for so few."""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow

from greaseroute.rounds.crew_bound_lp import (
    NEVER,
    Bools,
    Floats,
    Flow,
    Need,
    Price,
    Ring,
)
from greaseroute.rounds.problem import IntArray

FLOW_UNIT = 1_000_000  # capacities are whole millionths of an arc
BREACH = 0.02  # a set left less often by this much is worth a row
PRICES = 14  # prices of load tried per round, each twice the one before
MOST_CUTS = 60
ENOUGH = 12  # cuts seen at once that make a search for more needless in this round
GROWN_FROM_EACH = 60  # units up to which a heavy set is grown from every single one


class Loads:
    """How many technicians a set of units needs if the plan at hand is to be beaten.

    ``room_ms`` is the time each technician has in a better plan. One who visits all of a set S
    spends at least the cheapest arcs into its units; and, by any priced multipliers, the least
    reduced costs of S and of one start, and the multiplier of every set that meets S, since a
    round through S leaves such a set (the same sum that proves the bound for all units, taken
    over S alone; units beside S cannot lower it below that), in time weighted by kind.
    """

    def __init__(self, ring: Ring, room_ms: IntArray) -> None:
        self._first = ring.first
        self._units = ring.clusters - ring.depots
        self._kind_of_start, self._room_ms = ring.kind[-ring.depots :], room_ms
        into = np.where(ring.allowed, ring.cost, NEVER).min(axis=0)
        self.load = np.minimum.reduceat(into, self._first)[: self._units]
        starts = np.zeros(ring.depots, dtype=np.int64)
        no_sets = np.zeros((0, self._units), dtype=bool), np.zeros(0, dtype=np.int64)
        room = np.cumsum(np.sort(room_ms)[::-1])
        self._sums = [_Sum(self.load, starts, *no_sets, room)]

    def learn(self, price: Price) -> None:
        """Use one more set of multipliers."""
        masks = [self.whole(need.inside) for need in price.needs]
        sets = np.array(masks, dtype=bool).reshape(-1, self._units)
        starts = np.cumsum(np.sort(price.least[self._units :]))
        room = np.cumsum(np.sort(price.kind[self._kind_of_start] * self._room_ms)[::-1])
        self._sums.append(_Sum(price.least[: self._units], starts, sets, price.weight, room))

    def whole(self, nodes: Bools) -> Bools:
        """The units all of whose ways are in a set of nodes: they are met inside it for sure."""
        inside: Bools = np.logical_and.reduceat(nodes, self._first)[: self._units]
        return inside

    def needs(self, units: Bools) -> int:
        """Technicians needed for a set of units (mask), one at least."""
        most = 1
        for one in self._sums:
            enough = one.of(units) + one.starts <= one.room
            most = max(most, 1 + int(enough.argmax()) if enough.any() else enough.size + 1)
        return most


@dataclass(frozen=True, slots=True, eq=False)
class _Sum:
    """Least reduced costs of units, of the first starts together; sets and their multipliers.

    ``room`` is what the first technicians have together, weighted like the costs, most first.
    """

    least: IntArray
    starts: IntArray
    sets: Bools
    weight: IntArray
    room: IntArray

    def of(self, units: Bools) -> int:
        """Time at least for a set of units, starts left out."""
        load = int(self.least[units].sum()) + int(np.minimum(self.least[~units], 0).sum())
        return load + int(self.weight[(self.sets & units).any(axis=1)].sum())


def find_needs(ring: Ring, flow: Flow, loads: Loads) -> list[Need]:
    """Sets that are left too seldom, worst first; empty where none is found."""
    needs = _broken(ring, flow, loads, sets=[*_pairs(ring, flow), *_apart(ring, flow)])
    if len(needs) >= ENOUGH:
        return needs  # what is seen at once is worth more rounds than what has to be sought
    sets = _subtours(ring, flow)
    if ring.depots > 1:
        depots = np.zeros(ring.depots, dtype=bool)
        heavy = _heavy(_between(ring, flow), ring.clusters - ring.depots, loads)
        sets += [np.concatenate([chosen, depots])[ring.cluster] for chosen in heavy]
    return needs + _broken(ring, flow, loads, sets=sets)


def _broken(ring: Ring, flow: Flow, loads: Loads, *, sets: list[Bools]) -> list[Need]:
    """Those of the sets that are left too seldom, worst first."""
    found: dict[bytes, tuple[float, Need]] = {}
    for inside in sets:
        times = loads.needs(loads.whole(inside))
        out = float(flow.value[inside[flow.tail] & ~inside[flow.head]].sum())
        if out < times - BREACH:
            found.setdefault(inside.tobytes(), (out - times, Need(inside, times)))
    worst = sorted(found.items(), key=lambda item: (item[1][0], item[0]))[:MOST_CUTS]
    return [need for _, (_, need) in worst]


def _apart(ring: Ring, flow: Flow) -> list[Bools]:
    """Units whose ways hang together by any flow at all, and not with a start."""
    used = flow.value > 1.0 / FLOW_UNIT
    ends = ring.cluster[flow.tail[used]], ring.cluster[flow.head[used]]
    graph = csr_array((np.ones(ends[0].size), ends), shape=(ring.clusters, ring.clusters))
    count, part = connected_components(graph, directed=False)
    home = set(part[ring.clusters - ring.depots :].tolist())
    return [(part == k)[ring.cluster] for k in range(count) if k not in home]


def _between(ring: Ring, flow: Flow) -> Floats:
    """Flow between clusters."""
    between = np.zeros((ring.clusters, ring.clusters))
    np.add.at(between, (ring.cluster[flow.tail], ring.cluster[flow.head]), flow.value)
    return between


def _pairs(ring: Ring, flow: Flow) -> list[Bools]:
    """A way and a whole unit beside it, where more flows to and fro than passes the way."""
    size = ring.cluster.size
    both = np.zeros((size, ring.clusters))
    np.add.at(both, (flow.tail, ring.cluster[flow.head]), flow.value)
    np.add.at(both, (flow.head, ring.cluster[flow.tail]), flow.value)
    passes = np.zeros(size)
    np.add.at(passes, flow.tail, flow.value)
    breach = both - passes[:, None]
    breach[:, ring.clusters - ring.depots :] = 0.0
    breach[size - ring.depots :] = 0.0
    node, unit = np.nonzero(breach > BREACH)
    order = np.argsort(-breach[node, unit], kind="stable")[:MOST_CUTS]
    sets = [ring.cluster == unit[k] for k in order]
    for inside, k in zip(sets, order, strict=True):
        inside[node[k]] = True
    return sets


def _subtours(ring: Ring, flow: Flow) -> list[Bools]:
    """For every unit the set of nodes around all its ways that least flow leaves."""
    size, units = ring.cluster.size, ring.clusters - ring.depots
    vertex = np.where(ring.cluster < units, np.arange(size), size)
    done, found = np.zeros(units, dtype=bool), []
    for u in range(units):
        if done[u]:
            continue
        source = int(np.argmax(ring.cluster == u))
        merged = np.where(ring.cluster == u, source, vertex)
        tail, head = merged[flow.tail], merged[flow.head]
        value = np.rint(flow.value * FLOW_UNIT).astype(np.int32)
        real = (tail != head) & (value > 0)
        shape = (size + 1, size + 1)
        graph = csr_array((value[real], (tail[real], head[real])), shape=shape, dtype=np.int32)
        graph.sum_duplicates()
        inside = _source_side(graph, source, size)[:size]
        inside |= ring.cluster == u
        if not inside[ring.cluster < units].all():
            done |= np.logical_and.reduceat(inside, ring.first)[:units]
            found.append(inside)
    return found


def _source_side(graph: csr_array, source: int, sink: int) -> Bools:
    """Vertices on the source's side of a least cut."""
    flow = maximum_flow(graph, source, sink).flow
    left = csr_array(graph - flow)
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    side = np.zeros(graph.shape[0], dtype=bool)
    side[breadth_first_order(left, source, return_predecessors=False)] = True
    return side


def _heavy(between: Floats, units: int, loads: Loads) -> list[Bools]:
    """Sets too heavy for one technician that little flow leaves, each made better unit by unit."""
    found: dict[bytes, Bools] = {}
    singles = list(np.eye(units, dtype=bool)) if units <= GROWN_FROM_EACH else []
    for chosen in [*_rewarded(between, units, loads), *_without_a_walk(between, units), *singles]:
        grown = _grown(chosen, between, loads)
        if grown is not None:
            better = _polished(grown, between, loads)
            found.setdefault(better.tobytes(), better)
    return list(found.values())


def _rewarded(between: Floats, units: int, loads: Loads) -> list[Bools]:
    """Least cuts with load rewarded, at a row of prices."""
    whole = np.rint(between * FLOW_UNIT).astype(np.int64)
    share = np.maximum(loads.load, 0) / max(1, int(loads.load.sum()))
    found = []
    for k in range(PRICES):
        reward = np.rint(share * FLOW_UNIT * 0.05 * 1.7**k).astype(np.int64)
        graph = np.zeros((units + 2, units + 2), dtype=np.int32)
        graph[:units, :units] = whole[:units, :units]
        graph[:units, units + 1] = whole[:units, units:].sum(axis=1)
        graph[units, :units] = np.minimum(reward, 2**30)
        found.append(_source_side(csr_array(graph), units, units + 1)[:units])
    return found


def _without_a_walk(between: Floats, units: int) -> list[Bools]:
    """All units but those first reached from the starts, along the strongest flow, step by step."""
    both = between + between.T
    home = both[:units, units:].sum(axis=1)
    found = []
    for first in np.flatnonzero(home > BREACH):
        taken = np.zeros(units, dtype=bool)
        taken[first] = True
        while not taken.all():
            found.append(~taken)
            pull = both[:units, :units][:, taken].sum(axis=1) + home
            pull[taken] = -1.0
            taken = taken.copy()
            taken[int(pull.argmax())] = True
    return found


def _grown(chosen: Bools, between: Floats, loads: Loads) -> Bools | None:
    """The set with the units most bound to it, until one technician is not enough."""
    units, chosen = chosen.size, chosen.copy()
    both = between[:units, :units] + between[:units, :units].T
    while loads.needs(chosen) < 2:
        if chosen.all() or not chosen.any():
            return None
        pull = both[:, chosen].sum(axis=1)
        pull[chosen] = -1.0
        chosen[int(pull.argmax())] = True
    return chosen


def _polished(chosen: Bools, between: Floats, loads: Loads) -> Bools:
    """Move one unit in or out while less flow leaves and the need stays."""
    units, chosen = chosen.size, chosen.copy()
    both = between[:units, :units] + between[:units, :units].T
    total = between[:units].sum(axis=1)  # what leaves a unit
    for _ in range(2 * units):
        inner = both[:, chosen].sum(axis=1)
        change = np.where(chosen, inner - total, total - inner)
        for u in np.argsort(change, kind="stable")[:6]:
            if change[u] > -1e-6:
                return chosen
            moved = chosen.copy()
            moved[u] = not moved[u]
            if loads.needs(moved) >= 2:
                chosen = moved
                break
        else:
            return chosen
    return chosen
