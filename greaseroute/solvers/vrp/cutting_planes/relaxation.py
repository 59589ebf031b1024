"""The linear program of the crew's bound: arcs of the ring, the last finish, bags.

The last finish is a variable: as often as a kind has technicians, it is not less than the time
their arcs take together. Rows: that, for each kind; one arc leaves each unit and each start; what
enters a node leaves it; cartridges put in are enough for the strokes and no more than the bags
give; store visits in all; sets of nodes that rounds must leave. Arcs are added as they price out; a
bound never relies on the program having all of them, nor on its numbers.
"""

from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np
from numpy.typing import NDArray

from greaseroute.solvers.arrays import FAR, BoolArray, FloatArray, IntArray
from greaseroute.solvers.lp import INFINITY, QuietSolver, add_columns, add_rows, entries
from greaseroute.solvers.vrp.bag import Bags
from greaseroute.solvers.vrp.cutting_planes.giant_tour import Ring

FIRST_ARCS = 5  # arcs into and out of every node in the first program
FIRST_LEGS = 20  # from every start and to every finish
S_PER_MS = 0.001  # the program counts in seconds: numbers near one
RELIEF = 10.0  # what a round too many costs, in last finishes of the plan at hand


@dataclass(frozen=True, slots=True, eq=False)
class Need:
    """A set of nodes that is left at least ``times`` times, or as often as node ``credit`` is.

    ``credit`` is -1 where ``times`` counts; else it is in the set, and ``times`` is 0. ``assumed``:
    it holds for plans that end before an aim.
    """

    inside: BoolArray
    times: int
    credit: int = -1
    assumed: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """A part of all plans: nodes not visited, ranges of cartridges put in and of store visits.

    ``put_in`` (2, kinds, G), ``visits`` (2, kinds) and, of all kinds together, ``together`` (2,).
    """

    shut: BoolArray
    put_in: IntArray
    visits: IntArray
    together: IntArray


NO_END = 2**40  # of cartridges, of store visits


def every_plan(ring: Ring, bags: Bags | None) -> Branch:
    """The branch that leaves nothing out."""
    kinds = ring.crew.size
    guns = 0 if bags is None else bags.left.shape[1]
    put_in, visits = np.zeros((2, kinds, guns), np.int64), np.zeros((2, kinds), np.int64)
    put_in[1], visits[1] = NO_END, NO_END
    together = np.array([0, NO_END], dtype=np.int64)
    return Branch(np.zeros(ring.cluster.size, dtype=bool), put_in, visits, together)


@dataclass(frozen=True, slots=True, eq=False)
class Flow:
    """A solution: arcs and their values, cartridges put in, and multipliers of all rows.

    Multipliers but those of kinds are in seconds; ``worth`` is the last finish in seconds.
    """

    tail: IntArray
    head: IntArray
    value: FloatArray
    put_in: FloatArray
    worth: float
    kind: FloatArray
    cluster: FloatArray
    node: FloatArray
    strokes: FloatArray
    bag: FloatArray
    visits: FloatArray
    total: float
    need: FloatArray


class RingProgram:
    """The restricted program, warm from one solve to the next."""

    def __init__(self, ring: Ring, bags: Bags | None, *, worth_ms: int) -> None:
        self.ring, self.bags = ring, bags
        self.needs: list[Need] = []
        self.tail = np.zeros(0, dtype=np.int64)
        self.head = np.zeros(0, dtype=np.int64)
        self.present = np.zeros_like(ring.allowed)
        self._solver = QuietSolver()
        kinds, guns = ring.crew.size, 0 if bags is None else bags.left.shape[1]
        sizes = [kinds, ring.clusters, ring.cluster.size]
        sizes += [] if bags is None else [kinds * guns, kinds, kinds, 1]
        self._row = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
        self._add_rows()
        self._add_first_columns(RELIEF * worth_ms * S_PER_MS, kinds * guns)

    def _add_rows(self) -> None:
        ring, bags = self.ring, self.bags
        once = np.ones(ring.clusters)
        once[ring.cluster[ring.store]] = 0.0
        low: list[NDArray[Any]] = [ring.start_ms * S_PER_MS, once, np.zeros(ring.cluster.size)]
        high = [np.full(ring.crew.size, INFINITY), np.where(once > 0, once, INFINITY), low[2]]
        if bags is not None:
            kinds = ring.crew.size
            low += [-bags.left.reshape(-1), -bags.held, np.zeros(kinds + 1)]
            high.append(np.full(bags.left.size + 2 * kinds + 1, INFINITY))
        add_rows(
            self._solver,
            np.concatenate(low).astype(float),
            np.concatenate(high),
            entries=np.zeros((0, 3)),
        )

    def _add_first_columns(self, relief: float, mixes: int) -> None:
        """The last finish; cartridges put in; one round too many, one cartridge too many."""
        ring, row, kinds = self.ring, self._row, self.ring.crew.size
        kind = np.arange(kinds)
        blocks = [entries(0 * kind, kind, ring.crew.astype(float))]
        cost = [1.0] + [0.0] * mixes
        if self.bags is not None:
            cell, guns = np.arange(mixes), self.bags.left.shape[1]
            rate = self.bags.cartridge.reshape(-1).astype(float)
            blocks.append(entries(1 + cell, row[3] + cell, rate))
            blocks.append(entries(1 + cell, row[4] + cell // guns, -1.0))
            blocks.append(entries(1 + mixes + kind, row[4] + kind, 1.0))
            blocks.append(entries(1 + mixes + kinds + cell, row[3] + cell, rate))
            cost += [relief] * (kinds + mixes)
        first = ring.cluster.size - ring.depots
        at = np.cumsum(ring.crew) - ring.crew
        column = len(cost) + kind
        blocks.append(entries(column, row[1] + ring.cluster[first + at], -1.0))
        if ring.depots > 1:
            blocks.append(entries(column, row[2] + first + at, -1.0))
            blocks.append(entries(column, row[2] + first + (at + 1) % ring.depots, 1.0))
        cost += [relief] * kinds
        high = np.full(len(cost), INFINITY)
        add_columns(self._solver, np.array(cost), np.concatenate(blocks), high=high)
        self._first_arc, self._mixes = len(cost), mixes

    def add_arcs(self, tail: IntArray, head: IntArray) -> None:
        """Add arcs as columns, with their places in the rows there are."""
        ring, row, at = self.ring, self._row, np.arange(tail.size)
        kind = ring.kind[tail]
        blocks = [
            entries(at, kind, -S_PER_MS * ring.cost[tail, head].astype(np.float64)),
            entries(at, row[1] + ring.cluster[tail], 1.0),
            entries(at, row[2] + tail, 1.0),
            entries(at, row[2] + head, -1.0),
        ]
        if self.bags is not None:
            blocks += self._bag_entries(at, tail)
        weight = need_weights(self.needs, tail, head)
        need, column = np.nonzero(weight)
        blocks.append(entries(column, row[-1] + need, weight[need, column]))
        high = np.full(tail.size, INFINITY)
        add_columns(self._solver, np.zeros(tail.size), np.concatenate(blocks), high=high)
        self.present[tail, head] = True
        self.tail = np.concatenate([self.tail, tail])
        self.head = np.concatenate([self.head, head])

    def _bag_entries(self, at: IntArray, tail: IntArray) -> list[FloatArray]:
        assert self.bags is not None
        row, kind, guns = self._row, self.ring.kind[tail], self.bags.left.shape[1]
        arc, gun = np.nonzero(self.bags.strokes[tail])
        taken = -self.bags.strokes[tail][arc, gun].astype(float)
        store = np.flatnonzero(self.ring.store[tail])
        full = self.bags.full[kind[store]].astype(float)
        return [
            entries(at[arc], row[3] + kind[arc] * guns + gun, taken),
            entries(at[store], row[4] + kind[store], full),
            entries(at[store], row[5] + kind[store], 1.0),
            entries(at[store], np.full(store.size, row[6]), 1.0),
        ]

    def add_needs(self, needs: list[Need]) -> None:
        """Add rows over the arcs there are."""
        weight = need_weights(needs, self.tail, self.head)
        need, column = np.nonzero(weight)
        block = entries(need, self._first_arc + column, weight[need, column])
        low = np.array([float(need.times) for need in needs])
        add_rows(self._solver, low, np.full(low.size, INFINITY), entries=block)
        self.needs.extend(needs)

    def drop_needs(self, numbers: IntArray) -> None:
        """Take rows out that no longer matter."""
        gone = set(numbers.tolist())
        rows = (self._row[-1] + numbers).astype(np.int32)
        self._solver.deleteRows(rows.size, rows)
        self.needs = [need for k, need in enumerate(self.needs) if k not in gone]

    def keep_to(self, branch: Branch) -> None:
        """Let only the plans of a branch be."""
        shut = branch.shut[self.tail] | branch.shut[self.head]
        low = np.concatenate([branch.put_in[0].reshape(-1), np.zeros(shut.size)]).astype(float)
        most = branch.put_in[1].reshape(-1)
        high = np.concatenate(
            [np.where(most < NO_END, most, INFINITY), np.where(shut, 0.0, INFINITY)]
        )
        mixes = np.arange(1, 1 + self._mixes)
        column = np.concatenate([mixes, self._first_arc + np.arange(shut.size)]).astype(np.int32)
        self._solver.changeColsBounds(column.size, column, low, high)
        if self.bags is not None:
            ranges = np.concatenate([branch.visits, branch.together[:, None]], axis=1)
            for k, (least, last) in enumerate(ranges.T.tolist()):
                top = INFINITY if last >= NO_END else float(last)
                self._solver.changeRowBounds(int(self._row[5]) + k, float(least), top)

    def solve(self) -> Flow | None:
        """The optimum of the restricted program; None if the solver gives up."""
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = self._solver.getSolution()
        dual, value = np.array(solution.row_dual), np.array(solution.col_value)
        part = np.split(dual, self._row[1:])
        empty = np.zeros(0)
        strokes, bag, visits, total = part[3:7] if self.bags is not None else [empty] * 4
        return Flow(
            tail=self.tail,
            head=self.head,
            value=value[self._first_arc :],
            put_in=value[1 : 1 + self._mixes],
            worth=float(value[0]),
            kind=part[0],
            cluster=part[1],
            node=part[2],
            strokes=strokes,
            bag=bag,
            visits=visits,
            total=float(total.sum()),
            need=part[-1],
        )


def need_weights(needs: list[Need], tail: IntArray, head: IntArray) -> FloatArray:
    """(needs, arcs) what each arc counts in each row."""
    if not needs:
        return np.zeros((0, tail.size))
    inside = np.array([need.inside for need in needs])
    weight: FloatArray = (inside[:, tail] & ~inside[:, head]).astype(float)
    credit = np.array([need.credit for need in needs])
    weight -= credit[:, None] == tail[None, :]
    return weight


def first_arcs(ring: Ring, walk: list[int]) -> tuple[IntArray, IntArray]:
    """The cheapest arcs into and out of every node, more at starts and finishes, and a ring."""
    cost = np.where(ring.allowed, ring.cost, FAR)
    row = np.arange(cost.shape[0])
    chosen = np.zeros_like(ring.allowed)
    for some, most in ((row, FIRST_ARCS), (row[row.size - ring.depots :], FIRST_LEGS)):
        count = min(most, row.size - 1)
        out = np.argpartition(cost[some], count, axis=1)[:, :count]
        into = np.argpartition(cost[:, some], count, axis=0)[:count]
        chosen[some[:, None], out] = True
        chosen[into, some[None, :]] = True
    chosen[walk, np.roll(walk, -1)] = True
    chosen &= ring.allowed
    tail, head = np.nonzero(chosen)
    return tail.astype(np.int64), head.astype(np.int64)
