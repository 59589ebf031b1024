"""The linear program of the crew's bound: arcs between ways, one closed ring through all starts.

Technicians who are alike (same ways, times and walking times) are of one kind. A node is a way as
one kind takes it; arcs join nodes of one kind. Technician k's start and the finish of the one
before are one node, so that the rounds of all make one ring, a walk that leaves every unit and
every such node once. The last finish is a variable: as often as a kind has technicians, it is not
less than the time their arcs take together. Rows: that, for each kind; one arc leaves each
cluster; what enters a node leaves it; sets of nodes are left as often as they need technicians.
Arcs are added as they price out; a bound never relies on the program having all of them.
"""

from dataclasses import dataclass

import highspy
import numpy as np
from numpy.typing import NDArray

from greaseroute.rounds.problem import IntArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FIRST_ARCS = 5  # arcs into and out of every node in the first program
UNIT = 2**16  # multipliers are rounded to this part of one, and of a millisecond
NEVER = np.int64(2**61)  # reduced cost of an arc that is not allowed
S_PER_MS = 0.001  # the program counts in seconds: numbers near one


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """Costs (N, N) in ms of arcs that are ``allowed``; clusters are runs of nodes.

    The last nodes, one for each technician, are the starts with the finish before them, each a
    cluster of its own. ``kind`` (N,) is the kind of the arcs that leave a node; ``crew`` (kinds,)
    how many technicians a kind has, ``start_ms`` (kinds,) the sum of their starts.
    """

    cost: IntArray
    allowed: Bools
    cluster: IntArray
    kind: IntArray
    crew: IntArray
    start_ms: IntArray

    @property
    def clusters(self) -> int:
        """Number of clusters, starts included."""
        return int(self.cluster[-1]) + 1

    @property
    def depots(self) -> int:
        """Number of technicians."""
        return int(self.crew.sum())

    @property
    def first(self) -> IntArray:
        """The first node of each cluster."""
        return np.flatnonzero(np.diff(self.cluster, prepend=-1))


@dataclass(frozen=True, slots=True, eq=False)
class Need:
    """A set of nodes that is left at least ``times`` times."""

    inside: Bools
    times: int


@dataclass(frozen=True, slots=True, eq=False)
class Flow:
    """A solution: arcs of the program and their values; multipliers of kinds, nodes and needs.

    Those of nodes and needs are in seconds.
    """

    tail: IntArray
    head: IntArray
    value: Floats
    kind: Floats
    node: Floats
    need: Floats


class _QuietSolver(highspy.Highs):
    """The solver without its callbacks: setting them up prints a banner to the terminal."""

    def enableCallbacks(self) -> None:  # noqa: N802 - the library's name
        """Leave the callbacks off; nothing here uses them."""


class RingProgram:
    """The restricted program, warm from one solve to the next."""

    def __init__(self, ring: Ring) -> None:
        self.ring = ring
        self.needs: list[Need] = []
        self.tail = np.zeros(0, dtype=np.int64)
        self.head = np.zeros(0, dtype=np.int64)
        self.present = np.zeros_like(ring.allowed)
        self._solver = _QuietSolver()  # type: ignore[no-untyped-call]
        self._solver.setOptionValue("output_flag", False)
        self._solver.setOptionValue("threads", 1)
        self._add_rows()

    def _add_rows(self) -> None:
        """The last finish as the first column; rows of kinds, clusters and nodes."""
        ring, none = self.ring, (0, np.zeros(0, np.int32), np.zeros(0))
        infinity = highspy.kHighsInf
        for start in ring.start_ms * S_PER_MS:
            self._solver.addRow(float(start), infinity, *none)
        for value in [1.0] * ring.clusters + [0.0] * ring.cluster.size:
            self._solver.addRow(value, value, *none)
        kinds = np.arange(ring.crew.size, dtype=np.int32)
        self._solver.addCol(1.0, 0.0, infinity, kinds.size, kinds, ring.crew.astype(float))
        self._node_row = ring.crew.size + ring.clusters
        self._need_row = self._node_row + ring.cluster.size

    def add_arcs(self, tail: IntArray, head: IntArray) -> None:
        """Add arcs as columns, with their places in the rows there are."""
        ring, n = self.ring, self.ring.cluster.size
        inside = np.array([need.inside for need in self.needs], dtype=bool).reshape(-1, n)
        for v, w in zip(tail.tolist(), head.tolist(), strict=True):
            crossed = self._need_row + np.flatnonzero(inside[:, v] & ~inside[:, w])
            cluster = ring.crew.size + ring.cluster[v]
            rows = [ring.kind[v], cluster, self._node_row + v, self._node_row + w, *crossed]
            values = np.ones(len(rows))
            values[0], values[3] = -S_PER_MS * float(ring.cost[v, w]), -1.0
            row_array = np.array(rows, dtype=np.int32)
            self._solver.addCol(0.0, 0.0, highspy.kHighsInf, len(rows), row_array, values)
        self.present[tail, head] = True
        self.tail = np.concatenate([self.tail, tail])
        self.head = np.concatenate([self.head, head])

    def add_needs(self, needs: list[Need]) -> None:
        """Add rows over the arcs there are."""
        for need in needs:
            columns = 1 + np.flatnonzero(need.inside[self.tail] & ~need.inside[self.head])
            self._solver.addRow(
                float(need.times),
                highspy.kHighsInf,
                columns.size,
                columns.astype(np.int32),
                np.ones(columns.size),
            )
        self.needs.extend(needs)

    def drop_needs(self, numbers: IntArray) -> None:
        """Take rows out that no longer matter."""
        gone = set(numbers.tolist())
        rows = (self._need_row + numbers).astype(np.int32)
        self._solver.deleteRows(rows.size, rows)
        self.needs = [need for k, need in enumerate(self.needs) if k not in gone]

    def solve(self) -> Flow | None:
        """The optimum of the restricted program; None if the solver gives up."""
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = self._solver.getSolution()
        dual = np.array(solution.row_dual)
        value = np.array(solution.col_value)[1:]
        kind, node = dual[: self.ring.crew.size], dual[self._node_row : self._need_row]
        return Flow(self.tail, self.head, value, kind, node, dual[self._need_row :])


def first_arcs(ring: Ring, walk: list[int]) -> tuple[IntArray, IntArray]:
    """The cheapest arcs into and out of every node, and the ring ``walk`` itself."""
    cost = np.where(ring.allowed, ring.cost, 2**60)
    count = min(FIRST_ARCS, cost.shape[0] - 1)
    row = np.arange(cost.shape[0])
    chosen = np.zeros_like(ring.allowed)
    chosen[row[:, None], np.argpartition(cost, count, axis=1)[:, :count]] = True
    chosen[np.argpartition(cost, count, axis=0)[:count], row[None, :]] = True
    chosen &= ring.allowed
    chosen[walk, np.roll(walk, -1)] = True
    tail, head = np.nonzero(chosen)
    return tail.astype(np.int64), head.astype(np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Price:
    """A proved bound, and the whole numbers it is the sum of.

    ``kind`` are the multipliers of kinds; ``total`` = sum of ``least`` over clusters + sum over
    needs of ``weight`` times how often, is not above the sum over kinds of its multiplier times
    the time of its arcs.
    """

    kind: IntArray
    total: int
    least: IntArray
    weight: IntArray
    needs: tuple[Need, ...]
    reduced: IntArray

    def last_finish_ms(self, ring: Ring) -> int:
        """No last finish is below this: the mean of the kinds' times, weighted."""
        weight = int((self.kind * ring.crew).sum())
        together = self.total + int((self.kind * ring.start_ms).sum())
        return -(-together // weight) if weight > 0 else 0


def priced(ring: Ring, flow: Flow, needs: list[Need]) -> Price:
    """A proved bound from any multipliers whatever, and reduced costs.

    With m >= 0 for the kinds, u for the nodes and p >= 0 for the needs, every ring has a weighted
    time of at least the sum of p times how often, plus over the clusters the least reduced cost
    of an arc that leaves it, since it is left by one arc. All of it in whole numbers, over all
    arcs allowed, in the program or not.
    """
    kind = np.maximum(np.rint(flow.kind * UNIT), 0).astype(np.int64)
    node = np.rint(flow.node * UNIT / S_PER_MS).astype(np.int64)
    p = np.maximum(np.rint(flow.need * UNIT / S_PER_MS), 0).astype(np.int64)
    reduced = ring.cost * kind[ring.kind][:, None] - node[:, None] + node[None, :]
    used = np.flatnonzero(p)
    if used.size:
        inside = np.array([needs[k].inside for k in used])
        weight = p[used].astype(float)  # sums below 2**53: the product is exact
        reduced -= ((inside * weight[:, None]).T @ ~inside).astype(np.int64)
    reduced[~ring.allowed] = NEVER
    least = np.minimum.reduceat(reduced.min(axis=1), ring.first)
    total = int(least.sum()) + sum(int(p[k]) * needs[k].times for k in used)
    return Price(kind, total, least, p[used], tuple(needs[k] for k in used), reduced)


def lacking(ring: Ring, reduced: IntArray, present: Bools) -> tuple[IntArray, IntArray]:
    """Arcs cheaper than those the program uses out of their cluster, the worst few per node."""
    used = np.where(present, reduced, NEVER)
    level = np.minimum.reduceat(used.min(axis=1), ring.first)[ring.cluster]
    slack = np.where(present, NEVER, reduced) - level[:, None]
    count = min(FIRST_ARCS, slack.shape[0] - 1)
    row = np.arange(slack.shape[0])
    chosen = np.zeros_like(present)
    chosen[row[:, None], np.argpartition(slack, count, axis=1)[:, :count]] = True
    tail, head = np.nonzero(chosen & (slack < -UNIT // 8))
    return tail.astype(np.int64), head.astype(np.int64)
