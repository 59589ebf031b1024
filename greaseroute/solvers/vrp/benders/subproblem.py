"""LP relaxation of one route for a (fractional) assignment; its duals give an optimality cut.

Least time over legs and ways such that a unit is left as often as it is assigned (once, or in part)
and stores at least as often as the bag asks for; what enters a point leaves it, the start is left
and the finish entered once, and a set of nodes is left at least as often as a unit in it::

                 ways   stand-ins         legs
    entry i      -1                       1 if the leg leads to i            = 0
    leaving o     1                       -1 if it leads from o              = 0
    unit u               1                1 if it leaves u                   = part assigned
    stores               1                1 if it leaves a store            >= store visits
    start                1                1 if it leaves the start           = 1
    finish               1                1 if it leads to the finish        = 1
    set                  1 per unit       1 if it leaves the set            >= largest part in it

A stand-in replaces a leg at a high price and keeps every program solvable. The program stays warm
from one assignment to the next.
"""

from collections.abc import Sequence

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, FloatArray, IntArray
from greaseroute.solvers.lp import INFINITY, Optimum, RestrictedMaster, entries
from greaseroute.solvers.min_cut import SEEN, SupportNetwork
from greaseroute.solvers.nested_sets import nested_sets
from greaseroute.solvers.vrp.benders.cut import OptimalityCut, Potentials, cut_of
from greaseroute.solvers.vrp.benders.route_points import RouteLegs

FIRST_LEGS = 3  # the shortest legs of each point that the first program has
MORE_LEGS = 4  # of each point, added in one round
ROUNDS = 6  # of cutting and pricing for one assignment
S_PER_MS = 0.001
STAND_IN_S = 5000.0  # of leaving a unit by no leg at all
LEAST_PART = 0.02  # units assigned less are not looked at for sub-tours
TOLERANCE_S = 1e-4


class NoOptimum(Exception):
    """The linear solver gave up on a program; what was proved before stands."""


class RouteMaster(RestrictedMaster[BoolArray]):
    """The restricted master of one route; a cut is a set of nodes (n + 1,), start not in it."""

    def __init__(self, legs: RouteLegs) -> None:
        self.legs = legs
        sizes = [legs.head.size - 1, legs.tail.size - 1, legs.real, 1, 1, 1]
        # Right sides of units and stores are set for each assignment; start and finish are 1.
        low = np.zeros(sum(sizes))
        low[-2:] = 1.0
        high = low.copy()
        high[-3] = INFINITY
        super().__init__(sizes, low, high)
        self._part = np.zeros(legs.nodes)  # of each node, assigned
        self._present = np.zeros(legs.cost_ms.shape, dtype=bool)
        self._add_ways()
        self.add_arcs(*self._first_legs())
        self.add_cuts(sets_of_units(legs))

    def learn(self, part: FloatArray, store_visits: float, *, units: int) -> OptimalityCut:
        """The cut that is costliest for an assignment.

        Parameters
        ----------
        part : (n,)
            How much of each node is assigned to the technician; stores do not matter.
        store_visits : float
            At least.
        units : int
            Units of the problem.

        Raises
        ------
        NoOptimum
            If the linear solver finds none.
        """
        self._assign(part, store_visits)
        found = self._solved()
        for _ in range(ROUNDS - 1):
            # Both are read off the present optimum, then added.
            tail, head = self._violated_columns(found)
            sets = self._subtours(found)
            if not tail.size and not sets:
                break
            self.add_arcs(tail, head)
            self.add_cuts(sets)
            found = self._solved()
        return cut_of(self.legs, self._potentials(found), units=units)

    def add_arcs(self, tail: IntArray, head: IntArray) -> None:
        """Add legs as columns: rows and columns of ``cost_ms``."""
        super().add_arcs(tail, head)
        self._present[tail, head] = True

    def _add_ways(self) -> None:
        """Ways, then one stand-in for a leg out of each unit, stores, start, finish."""
        legs, row, count = self.legs, self.row, self.legs.way_ms.size
        at, rows = np.arange(count), np.arange(self.row[2], self.row[-1])
        # A way leads from its point of entry to its point of leaving; a stand-in fills one row.
        blocks = [entries(at, legs.way_in, -1.0), entries(at, row[1] + legs.way_out, 1.0)]
        blocks.append(entries(count + np.arange(rows.size), rows, 1.0))
        cost = np.full(count + rows.size, STAND_IN_S)
        cost[:count] = legs.way_ms * S_PER_MS
        self._first_stand_in = count
        self.add_fixed(cost, blocks)

    def _first_legs(self) -> tuple[IntArray, IntArray]:
        """The shortest of each point, and all from the start and to the finish."""
        cost = self.legs.cost_ms
        chosen = _least_of_each(cost.astype(np.float64), FIRST_LEGS)
        chosen[-1], chosen[:, -1] = True, True
        tail, head = np.nonzero(chosen & (cost < FAR // 2))
        return tail.astype(np.int64), head.astype(np.int64)

    def _assign(self, part: FloatArray, store_visits: float) -> None:
        """Set the right sides."""
        # Units exactly their parts, stores at least the visits, sets at least their largest part.
        row, real = self.row, self.legs.real
        self._part = np.where(np.arange(part.size) < real, part, 0.0)
        sets = self._cut_sides(self.cuts)
        rows = np.concatenate([np.arange(row[2], row[4]), row[-1] + np.arange(sets.size)])
        low = np.concatenate([part[:real], [store_visits], sets])
        high = np.concatenate([part[:real], np.full(1 + sets.size, INFINITY)])
        for k, least, most in zip(rows.tolist(), low.tolist(), high.tolist(), strict=True):
            self.bound_row(k, least, most)

    def _solved(self) -> Optimum:
        found = self.optimum()
        if found is None:
            self.forget_basis()
            found = self.optimum()
        if found is None:
            raise NoOptimum
        return found

    def _potentials(self, found: Optimum) -> Potentials:
        """The duals in whole ms."""
        entry, leave, _, _, _, finish, sets = (
            np.rint(block / S_PER_MS).astype(np.int64) for block in found.dual
        )
        # Sets without a dual would only make the cut longer.
        weight = np.maximum(sets, 0)
        n, used = self.legs.nodes, np.flatnonzero(weight)
        inside = np.array([self.cuts[k][:n] for k in used], dtype=bool).reshape(-1, n)
        return Potentials(
            entry=-np.append(entry, finish),
            leave=np.append(-leave, 0),
            sets=inside,
            weight=weight[used],
        )

    def _violated_columns(self, found: Optimum) -> tuple[IntArray, IntArray]:
        """Legs that would shorten the route, the best few of each point."""
        legs, (entry, leave, unit, store, start, finish, sets) = self.legs, found.dual
        # Reduced cost: leg, less the duals of its ends, of its node and of the sets it leaves.
        of_node = np.concatenate([unit, np.full(legs.nodes - legs.real, store[0]), start])
        out = np.append(-leave, 0.0) + of_node[legs.tail]
        worth = np.maximum(sets, 0.0)
        inside = np.array(self.cuts, dtype=bool).reshape(-1, legs.nodes + 1)[worth > 0]
        leaving = (inside.T * worth[worth > 0]) @ ~inside
        reduced = legs.cost_ms * S_PER_MS - np.append(entry, finish)[None, :] - out[:, None]
        reduced -= leaving[legs.tail[:, None], legs.head[None, :]]
        reduced[self._present] = 0.0
        tail, head = np.nonzero(_least_of_each(reduced, MORE_LEGS) & (reduced < -TOLERANCE_S))
        return tail.astype(np.int64), head.astype(np.int64)

    def _subtours(self, found: Optimum) -> list[BoolArray]:
        """Sets without start and finish that are left less often than one of their units."""
        legs, used = self.legs, found.arc > SEEN
        vertex = 1 + np.arange(legs.nodes + 1)
        vertex[-1] = 0
        network = SupportNetwork(
            vertex,
            tail=legs.tail[self.tail[used]],
            head=legs.head[self.head[used]],
            value=found.arc[used],
        )
        # A set is known if it has a row, violated or not: rounding may show it again.
        known = {inside.tobytes() for inside in self.cuts}
        sets: dict[bytes, BoolArray] = {}
        for _, far in network.subtours(np.append(self._part, 0.0), least=LEAST_PART):
            if far.tobytes() not in known:
                sets.setdefault(far.tobytes(), far)
        return list(sets.values())

    def _arc_costs(self, tail: IntArray, head: IntArray) -> FloatArray:
        cost_s: FloatArray = S_PER_MS * self.legs.cost_ms[tail, head].astype(np.float64)
        return cost_s

    def _arc_entries(self, tail: IntArray, head: IntArray) -> list[FloatArray]:
        legs, row, at = self.legs, self.row, np.arange(tail.size)
        # Which legs lead to the finish, come from the start, leave a unit or a store.
        node, ends, starts = legs.tail[tail], head == legs.head.size - 1, tail == legs.tail.size - 1
        unit, store = node < legs.real, (node >= legs.real) & ~starts
        return [
            entries(at[~ends], head[~ends], 1.0),
            entries(at[~starts], row[1] + tail[~starts], -1.0),
            entries(at[unit], row[2] + node[unit], 1.0),
            entries(at[store], np.full(int(store.sum()), row[3]), 1.0),
            entries(at[starts], np.full(int(starts.sum()), row[4]), 1.0),
            entries(at[ends], np.full(int(ends.sum()), row[5]), 1.0),
        ]

    def _cut_entries(
        self, cuts: Sequence[BoolArray], tail: IntArray, head: IntArray
    ) -> tuple[IntArray, IntArray, FloatArray]:
        """A leg out of the set counts 1."""
        inside = np.array(cuts, dtype=bool).reshape(-1, self.legs.nodes + 1)
        number, arc = np.nonzero(inside[:, self.legs.tail[tail]] & ~inside[:, self.legs.head[head]])
        return number, arc, np.ones(arc.size)

    def _cut_entries_of_fixed(self, cuts: Sequence[BoolArray]) -> list[FloatArray]:
        """A unit left by a stand-in leaves the set as well."""
        of, unit = np.nonzero(np.array(cuts)[:, : self.legs.real])
        return [entries(of, self._first_stand_in + unit, 1.0)]

    def _cut_sides(self, cuts: Sequence[BoolArray]) -> FloatArray:
        """A set is left as often as the unit in it with the largest part."""
        inside = np.array(cuts, dtype=bool).reshape(-1, self.legs.nodes + 1)
        least: FloatArray = np.where(inside[:, :-1], self._part, 0.0).max(axis=1, initial=0.0)
        return least


def _least_of_each(cost: FloatArray, count: int) -> BoolArray:
    """The least few of each row and of each column."""
    chosen = np.zeros(cost.shape, dtype=bool)
    for axis in (0, 1):
        few = min(count, cost.shape[axis] - 1)
        least = np.argpartition(cost, few, axis=axis)
        np.put_along_axis(chosen, least.take(range(few), axis=axis), values=True, axis=axis)
    return chosen


def sets_of_units(legs: RouteLegs) -> list[BoolArray]:
    """Units that lie together, near ones first, as sets of nodes (n + 1,)."""
    apart = legs.least_between(legs.cost_ms)[: legs.real, : legs.real]
    others = np.zeros(legs.nodes + 1 - legs.real, dtype=bool)
    return [np.append(group, others) for group in nested_sets(apart)]
