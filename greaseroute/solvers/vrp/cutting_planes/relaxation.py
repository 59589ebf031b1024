"""The linear program of the crew's bound: arcs of the giant tour, the last finish, bags.

The last finish is a column z. Rows, with s for the sum of starts of a type and k for its number of
technicians::

                last   cartridges   round   arcs (i, j) of type t
                finish put in (t,g) too many
    type t       k                           - time of the arc              >= s
    cluster c                        -1      1 if i is in c                  = 1 (store: >= 0)
    node v                          -1, 1    1 if i = v, -1 if j = v         = 0
    strokes t,g         cartridge            - strokes at i                 >= - left in the guns
    bag t               -1                   full bag if i is a store       >= - held at the start
    visits t                                 1 if i is a store              in a range
    all visits                               1 if i is a store              in a range
    cut q                                    1 out of the set, ...          >= times

The blocks of bags are there only where a bag may run out. One round too many (and one bag, one
cartridge) at a high price keeps every program solvable. Arcs are added as they price out; a bound
never relies on the program having all of them, nor on its numbers.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, FloatArray, IntArray
from greaseroute.solvers.lp import INFINITY, RestrictedMaster, entries
from greaseroute.solvers.vrp.cutting_planes.bags import Bags
from greaseroute.solvers.vrp.cutting_planes.giant_tour import GiantTour

FIRST_ARCS = 5  # arcs into and out of every node in the first program
FIRST_LEGS = 20  # from every start and to every finish
S_PER_MS = 0.001  # the program counts in seconds: numbers near one
RELIEF = 10.0  # what a round too many costs, in last finishes of the plan at hand
NO_END = 2**40  # of cartridges, of store visits: no upper end of a range


@dataclass(frozen=True, slots=True, eq=False)
class SetCut:
    """A set of nodes that is left at least ``times`` times, or as often as ``visited_node`` is.

    Attributes
    ----------
    inside : (N,) bool
        The set.
    times : int
        0 where ``visited_node`` counts.
    visited_node : int
        A node of the set, or -1 where ``times`` counts.
    assumed : bool
        Whether it holds only for plans that end before an aim.
    """

    inside: BoolArray
    times: int
    visited_node: int = -1
    assumed: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class PlanBranch:
    """A part of all plans.

    Attributes
    ----------
    shut : (N,) bool
        Nodes not visited.
    put_in, visits, total : (2, types, G), (2, types), (2,)
        Ranges of cartridges put in, of store visits of a type, and of all types together.
    """

    shut: BoolArray
    put_in: IntArray
    visits: IntArray
    total: IntArray


def every_plan(tour: GiantTour, bags: Bags | None) -> PlanBranch:
    """The branch that leaves nothing out."""
    types = tour.crew.size
    guns = 0 if bags is None else bags.left.shape[1]
    put_in, visits = np.zeros((2, types, guns), np.int64), np.zeros((2, types), np.int64)
    put_in[1], visits[1] = NO_END, NO_END
    total = np.array([0, NO_END], dtype=np.int64)
    return PlanBranch(np.zeros(tour.cluster.size, dtype=bool), put_in, visits, total)


@dataclass(frozen=True, slots=True, eq=False)
class Flow:
    """An optimum: arcs and their values, cartridges put in, and the duals of all rows.

    Duals are in seconds but those of types, which are weights of their times.
    """

    tail: IntArray
    head: IntArray
    value: FloatArray
    put_in: FloatArray
    of_type: FloatArray
    cluster: FloatArray
    node: FloatArray
    strokes: FloatArray
    bag: FloatArray
    visits: FloatArray
    total: float
    cut: FloatArray

    def visits_of(self, nodes: int) -> FloatArray:
        """(nodes,) how often each node is left."""
        visits = np.zeros(nodes)
        np.add.at(visits, self.tail, self.value)
        return visits


class CrewMaster(RestrictedMaster[SetCut]):
    """The restricted master of a crew."""

    def __init__(self, tour: GiantTour, bags: Bags | None, *, upper_ms: int) -> None:
        self.tour, self.bags = tour, bags
        self.present = np.zeros_like(tour.allowed)
        types, guns = tour.crew.size, 0 if bags is None else bags.left.shape[1]
        self._mixes = types * guns
        # Bounds of the rows, block by block as drawn; stores are left any number of times.
        once = np.ones(tour.clusters)
        once[tour.cluster[tour.store]] = 0.0
        low = [tour.start_ms * S_PER_MS, once, np.zeros(tour.cluster.size)]
        high = [np.full(types, INFINITY), np.where(once > 0, once, INFINITY), low[2]]
        if bags is not None:
            low += [-bags.left.reshape(-1).astype(float), -bags.held.astype(float)]
            low += [np.zeros(types), np.zeros(1)]
            high += [np.full(rows.size, INFINITY) for rows in low[3:]]
        super().__init__([rows.size for rows in low], np.concatenate(low), np.concatenate(high))
        self._add_fixed_columns(RELIEF * upper_ms * S_PER_MS)

    def _add_fixed_columns(self, relief: float) -> None:
        """The last finish; cartridges put in; one bag, one cartridge, one round too many."""
        tour, row, types, mixes = self.tour, self.row, self.tour.crew.size, self._mixes
        kind = np.arange(types)
        blocks, cost = [entries(0 * kind, kind, tour.crew.astype(float))], [1.0] + [0.0] * mixes
        if self.bags is not None:
            # A cartridge put in gives strokes and leaves the bag; so do those too many, at a price.
            cell, guns = np.arange(mixes), self.bags.left.shape[1]
            rate = self.bags.cartridge.reshape(-1).astype(float)
            blocks.append(entries(1 + cell, row[3] + cell, rate))
            blocks.append(entries(1 + cell, row[4] + cell // guns, -1.0))
            blocks.append(entries(1 + mixes + kind, row[4] + kind, 1.0))
            blocks.append(entries(1 + mixes + types + cell, row[3] + cell, rate))
            cost += [relief] * (types + mixes)
        # A round too many enters a type's first depot once more and leaves the next.
        depot = tour.cluster.size - tour.depots + np.cumsum(tour.crew) - tour.crew
        column = len(cost) + kind
        blocks.append(entries(column, row[1] + tour.cluster[depot], -1.0))
        if tour.depots > 1:
            first = tour.cluster.size - tour.depots
            after = first + (depot - first + 1) % tour.depots
            blocks += [entries(column, row[2] + depot, -1.0), entries(column, row[2] + after, 1.0)]
        self.add_fixed(np.array(cost + [relief] * types), blocks)

    def add_arcs(self, tail: IntArray, head: IntArray) -> None:
        """Add arcs as columns, with their entries in all rows and cuts there are."""
        super().add_arcs(tail, head)
        self.present[tail, head] = True

    def keep_to(self, branch: PlanBranch) -> None:
        """Let only the plans of a branch be."""
        # Arcs at nodes shut are closed; cartridges put in keep to their ranges.
        shut = branch.shut[self.tail] | branch.shut[self.head]
        most = branch.put_in[1].reshape(-1)
        low = np.concatenate([branch.put_in[0].reshape(-1), np.zeros(shut.size)]).astype(float)
        high = np.concatenate(
            [np.where(most < NO_END, most, INFINITY), np.where(shut, 0.0, INFINITY)]
        )
        cells, arcs = 1 + np.arange(self._mixes), self.first_arc + np.arange(shut.size)
        self.bound_columns(np.concatenate([cells, arcs]), low, high)
        if self.bags is not None:
            # Store visits are rows: of each type, and of all.
            ranges = np.concatenate([branch.visits, branch.total[:, None]], axis=1)
            for k, (least, last) in enumerate(ranges.T.tolist()):
                top = INFINITY if last >= NO_END else float(last)
                self.bound_row(self.row[5] + k, float(least), top)

    def solve(self) -> Flow | None:
        """The optimum of the restricted program; None if the solver gives up."""
        found = self.optimum()
        if found is None:
            return None
        empty = np.zeros(0)
        # Blocks of bags only where there are any.
        strokes, bag, visits, total = found.dual[3:7] if self.bags is not None else [empty] * 4
        return Flow(
            tail=self.tail,
            head=self.head,
            value=found.arc,
            put_in=found.fixed[1 : 1 + self._mixes],
            of_type=found.dual[0],
            cluster=found.dual[1],
            node=found.dual[2],
            strokes=strokes,
            bag=bag,
            visits=visits,
            total=float(total.sum()),
            cut=found.dual[-1],
        )

    def _arc_costs(self, tail: IntArray, head: IntArray) -> FloatArray:
        return np.zeros(tail.size)  # time is in the row of the type

    def _arc_entries(self, tail: IntArray, head: IntArray) -> list[FloatArray]:
        # Time in the row of the type; left once, out of one node and into the other.
        tour, row, at = self.tour, self.row, np.arange(tail.size)
        time_s = S_PER_MS * tour.cost[tail, head].astype(np.float64)
        blocks = [
            entries(at, tour.type_of[tail], -time_s),
            entries(at, row[1] + tour.cluster[tail], 1.0),
            entries(at, row[2] + tail, 1.0),
            entries(at, row[2] + head, -1.0),
        ]
        return blocks if self.bags is None else blocks + self._bag_entries(self.bags, at, tail)

    def _bag_entries(self, bags: Bags, at: IntArray, tail: IntArray) -> list[FloatArray]:
        row, kind, guns = self.row, self.tour.type_of[tail], bags.left.shape[1]
        # Strokes at the tail are taken from the guns; a store fills the bag.
        arc, gun = np.nonzero(bags.strokes[tail])
        taken = -bags.strokes[tail][arc, gun].astype(float)
        store = np.flatnonzero(self.tour.store[tail])
        full = bags.full[kind[store]].astype(float)
        return [
            entries(at[arc], row[3] + kind[arc] * guns + gun, taken),
            entries(at[store], row[4] + kind[store], full),
            entries(at[store], row[5] + kind[store], 1.0),
            entries(at[store], np.full(store.size, row[6]), 1.0),
        ]

    def _cut_entries(
        self, cuts: Sequence[SetCut], tail: IntArray, head: IntArray
    ) -> tuple[IntArray, IntArray, FloatArray]:
        """An arc out of the set counts 1, one out of the visited node -1."""
        # Dense, and only then by entries: cuts and new arcs are few at a time.
        inside = np.zeros((len(cuts), self.tour.cluster.size), dtype=bool)
        for k, cut in enumerate(cuts):
            inside[k] = cut.inside
        weight: FloatArray = (inside[:, tail] & ~inside[:, head]).astype(float)
        visited = np.array([cut.visited_node for cut in cuts], dtype=np.int64)
        weight -= visited[:, None] == tail[None, :]
        number, arc = np.nonzero(weight)
        return number, arc, weight[number, arc]

    def _cut_sides(self, cuts: Sequence[SetCut]) -> FloatArray:
        return np.array([float(cut.times) for cut in cuts])


def first_arcs(tour: GiantTour, walk: list[int]) -> tuple[IntArray, IntArray]:
    """The cheapest arcs into and out of every node, more at depots, and those of a walk."""
    cost = np.where(tour.allowed, tour.cost, FAR)
    row = np.arange(cost.shape[0])
    chosen = np.zeros_like(tour.allowed)
    for some, most in ((row, FIRST_ARCS), (row[row.size - tour.depots :], FIRST_LEGS)):
        count = min(most, row.size - 1)
        # The cheapest out of each, and into each.
        out = np.argpartition(cost[some], count, axis=1)[:, :count]
        into = np.argpartition(cost[:, some], count, axis=0)[:count]
        chosen[some[:, None], out] = True
        chosen[into, some[None, :]] = True
    chosen[walk, np.roll(walk, -1)] = True
    chosen &= tour.allowed
    tail, head = np.nonzero(chosen)
    return tail.astype(np.int64), head.astype(np.int64)
