"""The linear program of one technician's round for given shares of the units.

Least time over legs and ways such that a unit is left as often as its share says (once, or in part)
and stores at least as often as the bag asks for; what enters a point leaves it, the start is left
and the finish entered once, and a set of nodes is left at least as often as a unit in it
(sub-tours, found by least cuts). It stays warm from one set of shares to the next. Its multipliers,
rounded, give a ``Tariff``; nothing else of it is relied on.
"""

import highspy
import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, FloatArray, IntArray
from greaseroute.solvers.lp import INFINITY, QuietSolver, add_columns, add_rows, entries
from greaseroute.solvers.min_cut import near_side
from greaseroute.solvers.vrp.benders.cut import Potentials, Tariff, tariff_of
from greaseroute.solvers.vrp.benders.route_points import RoundLegs
from greaseroute.solvers.vrp.cutting_planes.giant_tour import nested_groups

FIRST_LEGS = 3  # the shortest legs of each point that the first program has
MORE_LEGS = 4  # of each point, added in one round
ROUNDS = 6  # of cutting and pricing for one set of shares
S_PER_MS = 0.001
DEAR_S = 5000.0  # of leaving a unit by no leg at all: keeps every program solvable
FLOW_UNIT = 1_000_000  # capacities are whole millionths of a leg
BREACH = 0.01  # a set left less often by this much is worth a row
LEAST_SHARE = 0.02  # units with less are not looked at for sub-tours
TOLERANCE_S = 1e-4


class NoOptimum(Exception):
    """The linear solver gave up on a program; what was proved before stands."""


class RoundProgram:
    """Shares in, multipliers out."""

    def __init__(self, legs: RoundLegs) -> None:
        self.legs = legs
        self._solver = QuietSolver()
        n_in, n_out = legs.head.size - 1, legs.tail.size - 1
        # rows: points of entry, of leaving, units, stores together, start, finish, sub-tours
        self._row = np.cumsum([0, n_in, n_out, legs.real, 1, 1, 1]).tolist()
        self._sets: list[BoolArray] = []
        self._share = np.zeros(legs.nodes)
        low = np.zeros(self._row[-1])
        low[self._row[4] :] = 1.0
        high = low.copy()
        high[self._row[3]] = INFINITY
        add_rows(self._solver, low, high, entries=np.zeros((0, 3)))
        self._add_ways()
        self._tail, self._head = np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        self._present = np.zeros(legs.cost_ms.shape, dtype=bool)
        self._add_legs(*self._first_legs())
        self._dual, self._flow = np.zeros(self._row[-1]), np.zeros(0)
        self._add_sets(nested_sets(legs))

    def _add_ways(self) -> None:
        """Ways, then one column that stands in for a leg out of each unit, store, start, finish."""
        legs, count = self.legs, self.legs.way_ms.size
        at = np.arange(count)
        blocks = [entries(at, legs.way_in, -1.0), entries(at, self._row[1] + legs.way_out, 1.0)]
        rows = np.arange(self._row[2], self._row[-1])
        blocks.append(entries(count + np.arange(rows.size), rows, 1.0))
        cost = np.full(count + rows.size, DEAR_S)
        cost[:count] = legs.way_ms * S_PER_MS
        high = np.full(cost.size, INFINITY)
        add_columns(self._solver, cost, np.concatenate(blocks), high=high)
        self._stand_in, self._first_leg = count, cost.size

    def _first_legs(self) -> tuple[IntArray, IntArray]:
        cost = self.legs.cost_ms
        chosen = _least_of_each(cost.astype(np.float64), FIRST_LEGS)
        chosen[-1], chosen[:, -1] = True, True
        tail, head = np.nonzero(chosen & (cost < FAR // 2))
        return tail.astype(np.int64), head.astype(np.int64)

    def _add_legs(self, tail: IntArray, head: IntArray) -> None:
        legs, row, at = self.legs, self._row, np.arange(tail.size)
        node, ends, starts = legs.tail[tail], head == legs.head.size - 1, tail == legs.tail.size - 1
        unit, store = node < legs.real, (node >= legs.real) & ~starts
        blocks = [
            entries(at[~ends], head[~ends], 1.0),
            entries(at[~starts], row[1] + tail[~starts], -1.0),
            entries(at[unit], row[2] + node[unit], 1.0),
            entries(at[store], np.full(int(store.sum()), row[3]), 1.0),
            entries(at[starts], np.full(int(starts.sum()), row[4]), 1.0),
            entries(at[ends], np.full(int(ends.sum()), row[5]), 1.0),
        ]
        cut, column = np.nonzero(self._leaving(self._sets, tail, head))
        blocks.append(entries(column, row[6] + cut, 1.0))
        high = np.full(tail.size, INFINITY)
        cost_s: FloatArray = S_PER_MS * legs.cost_ms[tail, head].astype(np.float64)
        add_columns(self._solver, cost_s, np.concatenate(blocks), high=high)
        self._present[tail, head] = True
        self._tail = np.concatenate([self._tail, tail])
        self._head = np.concatenate([self._head, head])

    def _leaving(self, sets: list[BoolArray], tail: IntArray, head: IntArray) -> BoolArray:
        """(sets, legs) which legs leave which sets."""
        inside = np.array(sets, dtype=bool).reshape(-1, self.legs.nodes + 1)
        left: BoolArray = inside[:, self.legs.tail[tail]] & ~inside[:, self.legs.head[head]]
        return left

    def _add_sets(self, sets: list[BoolArray]) -> None:
        """Add rows over the legs there are; a unit left by no leg leaves them as well."""
        if not sets:
            return
        cut, column = np.nonzero(self._leaving(sets, self._tail, self._head))
        of, unit = np.nonzero(np.array(sets)[:, : self.legs.real])
        block = [entries(cut, self._first_leg + column, 1.0)]
        block.append(entries(of, self._stand_in + unit, 1.0))
        low = self._least_left(sets)
        add_rows(self._solver, low, np.full(low.size, INFINITY), entries=np.concatenate(block))
        self._sets.extend(sets)

    def _least_left(self, sets: list[BoolArray]) -> FloatArray:
        """(sets,) a set is left as often as the unit in it with the largest share."""
        inside = np.array(sets, dtype=bool).reshape(-1, self.legs.nodes + 1)
        least: FloatArray = np.where(inside[:, :-1], self._share, 0.0).max(axis=1, initial=0.0)
        return least

    def learn(self, share: FloatArray, store_visits: float, *, units: int) -> Tariff:
        """The tariff of ``units`` numbers that is dearest for these shares (n,) of the nodes.

        Raises
        ------
        NoOptimum
            If the linear solver finds none.
        """
        self._set(share, store_visits)
        self._solve()
        for _ in range(ROUNDS - 1):
            tail, head = self._lacking()
            found = self._find_sub_tours()
            if not tail.size and not found:
                break
            self._add_legs(tail, head)
            self._add_sets(found)
            self._solve()
        return tariff_of(self.legs, self._potentials(), units=units)

    def _set(self, share: FloatArray, store_visits: float) -> None:
        """``share`` (n,) of nodes; those of stores do not matter."""
        row, real = self._row, self.legs.real
        self._share = np.where(np.arange(share.size) < real, share, 0.0)
        rows = np.concatenate([np.arange(row[2], row[4]), row[6] + np.arange(len(self._sets))])
        low = np.concatenate([share[:real], [store_visits], self._least_left(self._sets)])
        high = np.concatenate([share[:real], np.full(1 + len(self._sets), INFINITY)])
        for k, least, most in zip(rows.tolist(), low.tolist(), high.tolist(), strict=True):
            self._solver.changeRowBounds(k, least, most)

    def _solve(self) -> None:
        for afresh in (False, True):
            if afresh:
                self._solver.clearSolver()
            self._solver.run()
            if self._solver.getModelStatus() == highspy.HighsModelStatus.kOptimal:
                break
        else:
            raise NoOptimum
        solution = self._solver.getSolution()
        self._dual = np.array(solution.row_dual)
        self._flow = np.array(solution.col_value)[self._first_leg :]

    def _potentials(self) -> Potentials:
        """The multipliers in whole ms."""
        row, dual = self._row, np.rint(self._dual / S_PER_MS).astype(np.int64)
        weight = np.maximum(dual[row[6] :], 0)
        n, used = self.legs.nodes, np.flatnonzero(weight)
        sets = np.array([self._sets[k][:n] for k in used], dtype=bool).reshape(-1, n)
        return Potentials(
            entry=-np.append(dual[: row[1]], dual[row[5]]),
            leave=np.append(-dual[row[1] : row[2]], 0),
            sets=sets,
            weight=weight[used],
        )

    def _lacking(self) -> tuple[IntArray, IntArray]:
        """Legs that would shorten the round, the best few of each point."""
        row, dual, legs = self._row, self._dual, self.legs
        of_node = np.append(dual[row[2] : row[3]], np.full(legs.nodes - legs.real, dual[row[3]]))
        of_node = np.append(of_node, dual[row[4]])
        into = np.append(dual[: row[1]], dual[row[5]])
        out = np.append(-dual[row[1] : row[2]], 0.0) + of_node[legs.tail]
        worth = np.maximum(dual[row[6] :], 0.0)
        inside = np.array(self._sets, dtype=bool).reshape(-1, legs.nodes + 1)[worth > 0]
        leaving = (inside.T * worth[worth > 0]) @ ~inside
        reduced = legs.cost_ms * S_PER_MS - into[None, :] - out[:, None]
        reduced -= leaving[legs.tail[:, None], legs.head[None, :]]
        reduced[self._present] = 0.0
        tail, head = np.nonzero(_least_of_each(reduced, MORE_LEGS) & (reduced < -TOLERANCE_S))
        return tail.astype(np.int64), head.astype(np.int64)

    def _find_sub_tours(self) -> list[BoolArray]:
        """Sets without start and finish that are left less often than one of their units."""
        network, share = _Network(self), self._share
        known = {inside.tobytes() for inside in self._sets}
        found: dict[bytes, BoolArray] = {}
        for unit in np.argsort(-share, kind="stable"):
            if share[unit] < LEAST_SHARE:
                break
            far = network.far_side(int(unit), float(share[unit]))
            if far is not None and far.tobytes() not in known:
                found.setdefault(far.tobytes(), far)
        return list(found.values())

    def flows(self) -> FloatArray:
        """(n + 1, n + 1) how often one goes from node to node, either way."""
        used = self._flow > TOLERANCE_S * S_PER_MS
        between = np.zeros((self.legs.nodes + 1, self.legs.nodes + 1))
        ends = self.legs.tail[self._tail[used]], self.legs.head[self._head[used]]
        np.add.at(between, ends, self._flow[used])
        np.fill_diagonal(between, 0.0)
        both: FloatArray = between + between.T
        return both


class _Network:
    """The flow as an undirected network; vertex 0 is start and finish, node v is v + 1."""

    def __init__(self, program: RoundProgram) -> None:
        both = np.roll(program.flows(), (1, 1), axis=(0, 1))
        self._count = both.shape[0]
        row, head = np.nonzero(both)
        key = row * self._count + head
        self._start = np.searchsorted(row, np.arange(self._count + 1)).astype(np.int64)
        self._head = head.astype(np.int64)
        self._twin = np.searchsorted(key, head * self._count + row).astype(np.int64)
        self._room = np.rint(both[row, head] * FLOW_UNIT).astype(np.int64)

    def far_side(self, node: int, share: float) -> BoolArray | None:
        """The nodes beyond a least cut before ``node``, where less flows than its share."""
        sink, near = np.zeros(self._count, dtype=bool), np.zeros(self._count, dtype=bool)
        sink[node + 1] = True
        need = round(2 * FLOW_UNIT * (share - BREACH))
        room = self._room.copy()
        if not near_side(self._start, self._head, self._twin, room, sink, need, near):
            return None
        return np.append(~near[1:], False)


def _least_of_each(cost: FloatArray, count: int) -> BoolArray:
    """The least few of each row and of each column."""
    chosen = np.zeros(cost.shape, dtype=bool)
    for axis in (0, 1):
        few = min(count, cost.shape[axis] - 1)
        least = np.argpartition(cost, few, axis=axis)
        np.put_along_axis(chosen, least.take(range(few), axis=axis), values=True, axis=axis)
    return chosen


def nested_sets(legs: RoundLegs) -> list[BoolArray]:
    """Units that lie together, near ones first, as sets of nodes: merged along shortest legs."""
    first = [np.flatnonzero(np.diff(node, prepend=-1)) for node in (legs.tail, legs.head)]
    apart = np.minimum.reduceat(legs.cost_ms, first[0], axis=0)
    apart = np.minimum.reduceat(apart, first[1], axis=1)[: legs.real, : legs.real]
    beside = np.zeros(legs.nodes + 1 - legs.real, dtype=bool)
    return [np.append(group, beside) for group in nested_groups(apart)]
