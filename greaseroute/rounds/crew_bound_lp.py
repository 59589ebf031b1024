"""The linear program of the crew's bound: arcs between ways, one closed ring through all starts.

Technician k's start and the finish of the one before are one node, so that the rounds of all make
one ring: a walk that leaves every unit and every such node once. Rows: one arc leaves each
cluster; what enters a node leaves it; sets of units are left as often as they need technicians.
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
UNITS_PER_MS = 1024  # multipliers are rounded to this part of a millisecond
NEVER = np.int64(2**61)  # reduced cost of an arc that is not allowed


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """Costs (N, N) of arcs that are ``allowed``, the cluster of each node; clusters are runs.

    The last ``depots`` clusters, of one node each, are the starts with the finish before them.
    """

    cost: IntArray
    allowed: Bools
    cluster: IntArray
    depots: int

    @property
    def clusters(self) -> int:
        """Number of clusters, starts included."""
        return int(self.cluster[-1]) + 1


@dataclass(frozen=True, slots=True, eq=False)
class Need:
    """A set of nodes that is left at least ``times`` times."""

    inside: Bools
    times: int


@dataclass(frozen=True, slots=True, eq=False)
class Flow:
    """A solution: arcs of the program and their values; multipliers of nodes and needs."""

    tail: IntArray
    head: IntArray
    value: Floats
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
        right = np.concatenate([np.ones(ring.clusters), np.zeros(ring.cluster.size)])
        for value in right:
            self._solver.addRow(value, value, 0, np.zeros(0, np.int32), np.zeros(0))

    def add_arcs(self, tail: IntArray, head: IntArray) -> None:
        """Add arcs as columns, with their places in the rows there are."""
        fixed, n = self.ring.clusters, self.ring.cluster.size
        inside = np.array([need.inside for need in self.needs], dtype=bool).reshape(-1, n)
        infinity = highspy.kHighsInf
        for v, w in zip(tail.tolist(), head.tolist(), strict=True):
            crossed = np.flatnonzero(inside[:, v] & ~inside[:, w])
            rows = np.array(
                [self.ring.cluster[v], fixed + v, fixed + w, *(fixed + n + crossed)], np.int32
            )
            values = np.ones(rows.size)
            values[2] = -1.0
            cost = float(self.ring.cost[v, w])
            self._solver.addCol(cost, 0.0, infinity, rows.size, rows, values)
        self.present[tail, head] = True
        self.tail = np.concatenate([self.tail, tail])
        self.head = np.concatenate([self.head, head])

    def add_needs(self, needs: list[Need]) -> None:
        """Add rows over the arcs there are."""
        for need in needs:
            columns = np.flatnonzero(need.inside[self.tail] & ~need.inside[self.head])
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
        first = self.ring.clusters + self.ring.cluster.size
        self._solver.deleteRows(numbers.size, (first + numbers).astype(np.int32))
        self.needs = [need for k, need in enumerate(self.needs) if k not in gone]

    def solve(self) -> Flow | None:
        """The optimum of the restricted program; None if the solver gives up."""
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = self._solver.getSolution()
        dual = np.array(solution.row_dual)
        fixed, n = self.ring.clusters, self.ring.cluster.size
        value = np.array(solution.col_value)
        return Flow(self.tail, self.head, value, dual[fixed : fixed + n], dual[fixed + n :])


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
    """A proved bound, and the whole numbers (parts of a ms) it is the sum of.

    ``total`` = sum of ``least`` over clusters + sum over needs of ``weight`` times how often.
    """

    total: int
    least: IntArray
    weight: IntArray
    needs: tuple[Need, ...]
    reduced: IntArray

    @property
    def bound_ms(self) -> int:
        """The least whole time that is not excluded."""
        return -(-self.total // UNITS_PER_MS)


def priced(ring: Ring, flow: Flow, needs: list[Need]) -> Price:
    """A proved bound from any multipliers whatever, and reduced costs.

    With u for the nodes and p >= 0 for the needs, every ring costs at least the sum of p times
    how often, plus over the clusters the least reduced cost of an arc that leaves it, since it is
    left by one arc. All of it in whole numbers, over all arcs allowed, in the program or not.
    """
    node = np.rint(flow.node * UNITS_PER_MS).astype(np.int64)
    p = np.maximum(np.rint(flow.need * UNITS_PER_MS), 0).astype(np.int64)
    reduced = ring.cost * UNITS_PER_MS - node[:, None] + node[None, :]
    used = np.flatnonzero(p)
    if used.size:
        inside = np.array([needs[k].inside for k in used])
        weight = p[used].astype(float)  # sums below 2**53: the product is exact
        reduced -= ((inside * weight[:, None]).T @ ~inside).astype(np.int64)
    reduced[~ring.allowed] = NEVER
    first = np.flatnonzero(np.diff(ring.cluster, prepend=-1))
    least = np.minimum.reduceat(reduced.min(axis=1), first)
    total = int(least.sum()) + sum(int(p[k]) * needs[k].times for k in used)
    return Price(total, least, p[used], tuple(needs[k] for k in used), reduced)


def lacking(ring: Ring, reduced: IntArray, present: Bools) -> tuple[IntArray, IntArray]:
    """Arcs cheaper than those the program uses out of their cluster, the worst few per node."""
    first = np.flatnonzero(np.diff(ring.cluster, prepend=-1))
    used = np.where(present, reduced, NEVER)
    level = np.minimum.reduceat(used.min(axis=1), first)[ring.cluster]
    slack = np.where(present, NEVER, reduced) - level[:, None]
    count = min(FIRST_ARCS, slack.shape[0] - 1)
    row = np.arange(slack.shape[0])
    chosen = np.zeros_like(present)
    chosen[row[:, None], np.argpartition(slack, count, axis=1)[:, :count]] = True
    tail, head = np.nonzero(chosen & (slack < -UNITS_PER_MS // 8))
    return tail.astype(np.int64), head.astype(np.int64)
