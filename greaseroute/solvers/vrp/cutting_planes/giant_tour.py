"""The rounds of a crew as one giant tour: a node is a unit as one technician type visits it.

Technician k's start and the finish of the one before are one node (a depot), so that the rounds of
all make one closed walk that leaves every unit and every depot once::

    depot 0 -> units ... -> depot 1 -> units ... -> depot 2 -> units ... -> depot 0
    start of 0              finish of 0             finish of 1             finish of 2
                            start of 1              start of 2

    nodes     | units, one node for each type that can visit them | stores | depots |
    cluster   | 0 0 1 1 1 2 ...                                   | one each        |

Two nodes are joined by the nearest of their points. Potentials make up for that: what is added
where a unit is entered is taken off where it is left, so that the nearest points are those that a
short round uses, and no round takes less than the arcs of the giant tour say.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, FloatArray, IntArray
from greaseroute.solvers.nested_sets import nested_sets
from greaseroute.solvers.vrp.cutting_planes.kernels.potentials import balance
from greaseroute.solvers.vrp.entry_exit_points import TypePoints
from greaseroute.solvers.vrp.problem import CrewProblem

LEFT_ON_LEGS = 0.5  # part of what a point is costlier that potentials leave on the legs to it
SWEEPS = 1  # over a type's nodes, there and back, with one set of duals


@dataclass(frozen=True, slots=True, eq=False)
class GiantTour:
    """Costs of the arcs between nodes.

    Attributes
    ----------
    cost : (N, N)
        Time in ms: leg and work at the head; 0 where the arc is not allowed.
    allowed : (N, N) bool
        Arcs that a round can use.
    cluster : (N,)
        Units, then stores, then depots; nodes of a cluster lie side by side. A unit or a depot is
        left once, a store any number of times.
    type_of : (N,)
        The technician type whose arcs leave a node.
    crew, start_ms : (types,)
        Technicians of each type, and the sum of their starts.
    units, stores : int
        Number of clusters that are units, of nodes that are stores.
    """

    cost: IntArray
    allowed: BoolArray
    cluster: IntArray
    type_of: IntArray
    crew: IntArray
    start_ms: IntArray
    units: int
    stores: int

    @property
    def clusters(self) -> int:
        """Number of clusters: units, stores, depots."""
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
class TechnicianType:
    """One type in the giant tour.

    Attributes
    ----------
    points : TypePoints
        Its nodes and legs.
    node, depot : (n,), (k,)
        Numbers of its nodes and of its technicians' depots in the giant tour.
    on_ms, off_ms : (I,), (O,)
        Potentials of points of entry (added to legs) and of leaving (taken off).
    """

    points: TypePoints
    node: IntArray
    depot: IntArray
    on_ms: IntArray
    off_ms: IntArray


def types_in_tour(found: Sequence[TypePoints]) -> list[TechnicianType]:
    """Number the nodes: units by number and type, stores, depots by type."""
    # Units in order, and for each unit one node for each type that can visit it.
    pairs = sorted((int(u), k) for k, points in enumerate(found) for u in points.unit)
    row = {pair: i for i, pair in enumerate(pairs)}
    types, depot = [], len(pairs)
    for k, points in enumerate(found):
        crew = points.technician.size
        types.append(
            TechnicianType(
                points=points,
                node=np.array([row[int(u), k] for u in points.unit], dtype=np.int64),
                depot=depot + np.arange(crew),
                on_ms=np.zeros(points.in_node.size, dtype=np.int64),
                off_ms=np.zeros(points.out_node.size, dtype=np.int64),
            )
        )
        depot += crew
    return types


def giant_tour_of(problem: CrewProblem, types: Sequence[TechnicianType]) -> GiantTour:
    """The giant tour with costs under the types' potentials."""
    crew = np.array([one.depot.size for one in types], dtype=np.int64)
    n = sum(one.node.size for one in types)
    size = n + int(crew.sum())
    cost = np.full((size, size), FAR, dtype=np.int64)
    type_of, owner = np.zeros(size, dtype=np.int64), np.zeros(n, dtype=np.int64)
    for k, one in enumerate(types):
        # Arcs of different types do not exist: a round stays with its technician.
        _fill_arcs(one, cost, first_depot=n)
        type_of[one.node], type_of[one.depot] = k, k
        owner[one.node] = one.points.unit
    stores = owner >= problem.units
    # Clusters: nodes of one unit together, then each store and each depot alone.
    _, cluster = np.unique(owner[~stores], return_inverse=True)
    units = int(cluster.max()) + 1
    after = units + np.arange(int(stores.sum()) + int(crew.sum()))
    # Half of FAR: potentials have moved the entries a little.
    allowed = cost < FAR // 2
    np.fill_diagonal(allowed, False)
    return GiantTour(
        cost=np.where(allowed, cost, 0),
        allowed=allowed,
        cluster=np.concatenate([cluster, after]).astype(np.int64),
        type_of=type_of,
        crew=crew,
        start_ms=np.array([problem.start_ms[one.points.technician].sum() for one in types]),
        units=units,
        stores=int(stores.sum()),
    )


def _fill_arcs(one: TechnicianType, cost: IntArray, *, first_depot: int) -> None:
    """Fill in the arcs of one type: between its nodes, from its starts, to its finishes."""
    p, on, off = one.points, one.on_ms, one.off_ms
    # Nearest points of each two nodes, and the work at the head.
    work = _work_ms(one)
    legs = p.nearest_ms(off[:, None], on)
    np.fill_diagonal(legs, FAR)
    cost[np.ix_(one.node, one.node)] = legs + work
    # From the starts, to the finishes, and past all units.
    begin = np.minimum.reduceat(p.from_start_ms + on, p.in_first, axis=1) + work
    end = np.minimum.reduceat(p.to_finish_ms - off, p.out_first, axis=1)
    after = _next_depots(one, first_depot, cost.shape[0] - first_depot)
    cost[np.ix_(one.depot, one.node)] = begin
    cost[np.ix_(one.node, after)] = end.T
    cost[np.ix_(one.depot, after)] = p.idle_ms


def _next_depots(one: TechnicianType, first_depot: int, depots: int) -> IntArray:
    """The depots in which the type's rounds end."""
    return first_depot + (one.depot - first_depot + 1) % depots


def _work_ms(one: TechnicianType) -> IntArray:
    """(n,) least time at each node, potentials counted."""
    p = one.points
    way = p.way_ms - one.on_ms[p.way_in] + one.off_ms[p.way_out]
    return np.minimum.reduceat(way, np.flatnonzero(np.diff(p.way_node, prepend=-1)))


def first_potentials(one: TechnicianType, orders: Sequence[Sequence[int]]) -> TechnicianType:
    """Potentials that suit rounds through units in these orders, this type's ways taken."""
    row = {int(u): i for i, u in enumerate(one.points.unit)}
    n = one.node.size
    # Only the legs of these rounds count: all others are priced out.
    price = np.full((n, n), float(FAR))
    ends = np.full((2, n), float(FAR))
    for order in orders:
        path = [row[u] for u in order if u in row]
        price[path[:-1], path[1:]] = 0.0
        if path:
            ends[0, path[0]], ends[1, path[-1]] = 0.0, 0.0
    through = [row[u] for order in orders for u in order if u in row]
    return _balanced(one, price, ends, order=np.array(through, dtype=np.int64))


def better_potentials(
    tour: GiantTour, one: TechnicianType, reduced: FloatArray, *, order: Sequence[int]
) -> TechnicianType:
    """Potentials that suit the arcs which duals make cheap.

    ``reduced`` (N, N) are reduced costs in ms of this type, infinite where not allowed.
    """
    # What each arc costs above its time, by the duals.
    extra = np.where(tour.allowed, reduced - tour.cost, float(FAR))
    price: FloatArray = extra[np.ix_(one.node, one.node)] + _work_ms(one)
    after = _next_depots(one, tour.cluster.size - tour.depots, tour.depots)
    begin = extra[np.ix_(one.depot, one.node)].min(axis=0) + _work_ms(one)
    end = extra[np.ix_(one.node, after)].min(axis=1)
    row = {int(u): i for i, u in enumerate(one.points.unit)}
    through = [row[u] for u in order if u in row]
    # Units of the plan in its order; the type's other units after them.
    through += sorted(set(row.values()) - set(through))
    for _ in range(SWEEPS):
        ends = np.stack([begin, end])
        one = _balanced(one, price, ends, order=np.array(through, dtype=np.int64))
    return one


def _balanced(
    one: TechnicianType, price: FloatArray, ends: FloatArray, *, order: IntArray
) -> TechnicianType:
    """One sweep there and back over a type's nodes; ``price`` is added to the legs."""
    p, far = one.points, float(FAR)
    on, off = one.on_ms.astype(float), one.off_ms.astype(float)
    # The kernel wants the end of each run as well: one number past all.
    first_way = np.append(np.flatnonzero(np.diff(p.way_node, prepend=-1)), p.way_in.size)
    begin = p.from_start_ms.min(axis=0).astype(float) + ends[0][p.in_node]
    end = p.to_finish_ms.min(axis=0).astype(float) + ends[1][p.out_node]
    in_first, out_first = (
        np.append(p.in_first, p.in_node.size),
        np.append(p.out_first, p.out_node.size),
    )
    balance(
        np.where(p.legs_ms >= FAR // 2, far, p.legs_ms).astype(float),
        (in_first, p.in_node, out_first, p.out_node),
        np.ascontiguousarray(np.minimum(price, far)),
        (np.minimum(begin, far), np.minimum(end, far)),
        (np.stack([p.way_in, p.way_out]), p.way_ms.astype(float), first_way),
        on,
        off,
        order,
        LEFT_ON_LEGS,
    )
    on, off = np.rint(on).astype(np.int64), np.rint(off).astype(np.int64)
    return replace(one, on_ms=on, off_ms=off)


def sets_of_units(tour: GiantTour, types: Sequence[TechnicianType]) -> list[BoolArray]:
    """Units that lie together, near ones first, as sets of nodes (N,); not the set of all."""
    # Least leg between two units, whoever walks it.
    apart = np.full((tour.units, tour.units), FAR, dtype=np.int64)
    for one in types:
        mine = tour.cluster[one.node]
        real = np.flatnonzero(mine < tour.units)
        at = np.ix_(mine[real], mine[real])
        apart[at] = np.minimum(apart[at], one.points.nearest_ms()[np.ix_(real, real)])
    clusters = np.minimum(tour.cluster, tour.units - 1)
    unit = np.arange(tour.cluster.size) < tour.unit_nodes
    return [group[clusters] & unit for group in nested_sets(apart)[:-1]]
