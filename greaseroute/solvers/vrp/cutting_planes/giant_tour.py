"""The rounds of a crew as one closed ring: a node is a unit as one kind of technician visits it.

Technician k's start and the finish of the one before are one node, so that the rounds of all make
one ring, a walk that leaves every unit and every such node once. Two nodes are joined by the
nearest of their points, told with potentials: what is added where a unit is entered is taken off
where it is left, so that no round takes less than its arcs say.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, FloatArray, IntArray
from greaseroute.solvers.vrp.cutting_planes.kernels.potentials import settle
from greaseroute.solvers.vrp.entry_exit_points import KindPoints
from greaseroute.solvers.vrp.problem import CrewProblem

GIVE = 0.5  # share of what a point is dearer that potentials leave on the legs to it
SWEEPS = 1  # of a kind's nodes, there and back, with one set of multipliers
NEAR_ZERO = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """Costs (N, N) in ms of arcs that are ``allowed``; clusters are runs of nodes.

    Nodes are those of units (a cluster has one for each kind that can visit it), then stores, then
    one for each technician: the start with the finish before it. ``units`` is the number of
    clusters that are units, ``stores`` of nodes that are stores (each a cluster, left as often as
    wished). ``kind`` (N,) is the kind of the arcs that leave a node; ``crew`` (kinds,) how many
    technicians a kind has, ``start_ms`` (kinds,) the sum of their starts.
    """

    cost: IntArray
    allowed: BoolArray
    cluster: IntArray
    kind: IntArray
    crew: IntArray
    start_ms: IntArray
    units: int
    stores: int

    @property
    def clusters(self) -> int:
        """Number of clusters: units, stores, technicians."""
        return int(self.cluster[-1]) + 1

    @property
    def depots(self) -> int:
        """Number of technicians."""
        return int(self.crew.sum())

    @property
    def first(self) -> IntArray:
        """The first node of each cluster."""
        return np.flatnonzero(np.diff(self.cluster, prepend=-1))

    @property
    def unit_nodes(self) -> int:
        """Number of nodes of units: they come first."""
        return int(self.cluster.size - self.depots - self.stores)

    @property
    def store(self) -> BoolArray:
        """Which nodes are stores."""
        row = np.arange(self.cluster.size)
        return (row >= self.unit_nodes) & (row < self.unit_nodes + self.stores)


@dataclass(frozen=True, slots=True, eq=False)
class Kind:
    """One kind in the ring: its points, its nodes' and technicians' nodes, its potentials in ms."""

    points: KindPoints
    node: IntArray
    depot: IntArray
    on_ms: IntArray
    off_ms: IntArray


def kinds_in_ring(found: Sequence[KindPoints]) -> list[Kind]:
    """Number the nodes: units by number and kind, stores, technicians by kind."""
    pairs = sorted((int(u), k) for k, points in enumerate(found) for u in points.unit)
    row = {pair: i for i, pair in enumerate(pairs)}
    kinds, depot = [], len(pairs)
    for k, points in enumerate(found):
        crew = points.technician.size
        kinds.append(
            Kind(
                points=points,
                node=np.array([row[int(u), k] for u in points.unit], dtype=np.int64),
                depot=depot + np.arange(crew),
                on_ms=np.zeros(points.in_node.size, dtype=np.int64),
                off_ms=np.zeros(points.out_node.size, dtype=np.int64),
            )
        )
        depot += crew
    return kinds


def ring_of(problem: CrewProblem, kinds: Sequence[Kind]) -> Ring:
    """The ring with costs told by the kinds' potentials."""
    crew = np.array([kind.depot.size for kind in kinds], dtype=np.int64)
    n = sum(kind.node.size for kind in kinds)
    size = n + int(crew.sum())
    cost = np.full((size, size), FAR, dtype=np.int64)
    of, owner = np.zeros(size, dtype=np.int64), np.zeros(n, dtype=np.int64)
    for k, kind in enumerate(kinds):
        _arcs(kind, cost, first_depot=n)
        of[kind.node], of[kind.depot] = k, k
        owner[kind.node] = kind.points.unit
    stores = owner >= problem.units
    _, cluster = np.unique(owner[~stores], return_inverse=True)
    units = int(cluster.max()) + 1
    after = units + np.arange(int(stores.sum()) + int(crew.sum()))
    allowed = cost < FAR // 2
    np.fill_diagonal(allowed, False)
    return Ring(
        cost=np.where(allowed, cost, 0),
        allowed=allowed,
        cluster=np.concatenate([cluster, after]).astype(np.int64),
        kind=of,
        crew=crew,
        start_ms=np.array([problem.start_ms[k.points.technician].sum() for k in kinds]),
        units=units,
        stores=int(stores.sum()),
    )


def _arcs(kind: Kind, cost: IntArray, *, first_depot: int) -> None:
    """Fill in the arcs of one kind: between its nodes, from its starts, to its finishes."""
    p, on, off = kind.points, kind.on_ms, kind.off_ms
    crew = cost.shape[0] - first_depot
    work = _work(kind)
    legs = np.minimum.reduceat(p.legs_ms - off[:, None] + on[None, :], p.out_first, axis=0)
    legs = np.minimum.reduceat(legs, p.in_first, axis=1)
    np.fill_diagonal(legs, FAR)
    cost[np.ix_(kind.node, kind.node)] = legs + work
    begin = np.minimum.reduceat(p.from_start_ms + on, p.in_first, axis=1) + work
    end = np.minimum.reduceat(p.to_finish_ms - off, p.out_first, axis=1)
    after = first_depot + (kind.depot - first_depot + 1) % crew
    cost[np.ix_(kind.depot, kind.node)] = begin
    cost[np.ix_(kind.node, after)] = end.T
    cost[np.ix_(kind.depot, after)] = p.idle_ms


def _work(kind: Kind) -> IntArray:
    """Least time at each node, potentials counted."""
    p = kind.points
    way = p.way_ms - kind.on_ms[p.way_in] + kind.off_ms[p.way_out]
    return np.minimum.reduceat(way, np.flatnonzero(np.diff(p.way_node, prepend=-1)))


def first_potentials(kind: Kind, orders: Sequence[Sequence[int]]) -> Kind:
    """Potentials that suit rounds through units in these orders, this kind's ways taken."""
    row = {int(u): i for i, u in enumerate(kind.points.unit)}
    n = kind.node.size
    price = np.full((n, n), float(FAR))
    ends = np.full((2, n), float(FAR))
    for order in orders:
        path = [row[u] for u in order if u in row]
        price[path[:-1], path[1:]] = 0.0
        if path:
            ends[0, path[0]], ends[1, path[-1]] = 0.0, 0.0
    through = [row[u] for order in orders for u in order if u in row]
    return _settled(kind, price, ends, order=np.array(through, dtype=np.int64))


def better_potentials(ring: Ring, kind: Kind, reduced: FloatArray, *, order: Sequence[int]) -> Kind:
    """Potentials that suit the arcs which multipliers make cheap.

    ``reduced`` (N, N) are reduced costs in ms of this kind, infinite where not allowed.
    """
    extra = np.where(ring.allowed, reduced - ring.cost, FAR)
    price: FloatArray = extra[np.ix_(kind.node, kind.node)] + _work(kind)
    first = int(ring.cluster.size - ring.depots)
    after = first + (kind.depot - first + 1) % ring.depots
    begin = extra[np.ix_(kind.depot, kind.node)].min(axis=0) + _work(kind)
    end = extra[np.ix_(kind.node, after)].min(axis=1)
    row = {int(u): i for i, u in enumerate(kind.points.unit)}
    through = [row[u] for u in order if u in row]
    through += sorted(set(row.values()) - set(through))
    for _ in range(SWEEPS):
        ends = np.stack([begin, end])
        kind = _settled(kind, price, ends, order=np.array(through, dtype=np.int64))
    return kind


def _settled(kind: Kind, price: FloatArray, ends: FloatArray, *, order: IntArray) -> Kind:
    """One sweep there and back over a kind's nodes."""
    p = kind.points
    on, off = kind.on_ms.astype(float), kind.off_ms.astype(float)
    bounds = np.append(np.flatnonzero(np.diff(p.way_node, prepend=-1)), p.way_in.size)
    begin = p.from_start_ms.min(axis=0).astype(float) + ends[0][p.in_node]
    end = p.to_finish_ms.min(axis=0).astype(float) + ends[1][p.out_node]
    settle(
        np.where(p.legs_ms >= FAR // 2, FAR, p.legs_ms).astype(float),
        (
            np.append(p.in_first, p.in_node.size),
            p.in_node,
            np.append(p.out_first, p.out_node.size),
            p.out_node,
        ),
        np.ascontiguousarray(np.minimum(price, FAR)),
        (np.minimum(begin, FAR), np.minimum(end, FAR)),
        (np.stack([p.way_in, p.way_out]), p.way_ms.astype(float), bounds),
        on,
        off,
        order,
        GIVE,
    )
    on, off = np.rint(on).astype(np.int64), np.rint(off).astype(np.int64)
    return replace(kind, on_ms=on, off_ms=off)


def nested_sets(ring: Ring, kinds: Sequence[Kind]) -> list[BoolArray]:
    """Units that lie together, near ones first, as sets of nodes: merged along shortest legs."""
    apart = np.full((ring.units, ring.units), FAR, dtype=np.int64)
    for kind in kinds:
        p, mine = kind.points, ring.cluster[kind.node]
        legs = np.minimum.reduceat(p.legs_ms, p.out_first, axis=0)
        legs = np.minimum.reduceat(legs, p.in_first, axis=1)
        real = np.flatnonzero(mine < ring.units)
        at = np.ix_(mine[real], mine[real])
        apart[at] = np.minimum(apart[at], legs[np.ix_(real, real)])
    clusters = np.minimum(ring.cluster, ring.units - 1)
    unit = np.arange(ring.cluster.size) < ring.unit_nodes
    return [group[clusters] & unit for group in nested_groups(apart)[:-1]]


def nested_groups(apart: IntArray) -> list[BoolArray]:
    """Groups of places ``apart`` (n, n), as (n,) masks: joined one by one, near ones first."""
    apart, count = np.minimum(apart, apart.T), apart.shape[0]
    group, found = np.arange(count), []
    a, b = np.triu_indices(count, 1)
    for k in np.argsort(apart[a, b], kind="stable"):
        one, other = group[a[k]], group[b[k]]
        if one != other:
            group[group == other] = one
            found.append(group == one)
    return found
