"""Branch and cut on the arcs that reduced costs leave, to close the last of the gap.

A branch forbids arcs ("this node is not visited" forbids its arcs, "this node is visited" those of
the others in its cluster) or forces edges, so the bound of every branch is proved by the same
whole-number sum as at the root, over the arcs left. What is left open limits the bound of all.
"""

import heapq
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from greaseroute.rounds.bound_cuts import find_cuts
from greaseroute.rounds.bound_lp import GIVEN_AWAY, ArcProgram, Bools, Floats, Point
from greaseroute.rounds.bound_price import ArcPool, pool_price
from greaseroute.rounds.clusters_problem import Ints

CUT_ROUNDS = 30  # at one branch, as long as its bound still moves
LEAST_GAIN = 0.03  # of what is missing to the upper value, over one round
WHOLE = 1e-5
IDLE_CUTS = 400
MOST_NEW_ARCS = 300


@dataclass(frozen=True, slots=True)
class Branch:
    """Arcs of the pool still open and forced on one branch, and the bound it inherits."""

    bound: int
    opened: Bools
    forced: Bools


class BranchSearch:
    """Best-first search; ``value`` is proved at any moment, ``tour`` the best known."""

    def __init__(
        self, program: ArcProgram, pool: ArcPool, *, upper: int, tour: Ints, value: int
    ) -> None:
        self.program, self.problem, self._pool = program, program.problem, pool
        count = len(program.problem.nodes)
        self._column = np.searchsorted(
            pool.tail * count + pool.head, program.tail * count + program.head
        )
        self.upper, self.tour, self.value = upper, tour, value
        self._heap: list[tuple[int, int, Branch]] = []
        self._stuck = upper  # the least bound of branches that nothing splits any more
        self._count = 0
        every = np.ones(len(pool.tail), bool)
        self._push(Branch(value, every, ~every))

    def run(self, over: Callable[[int], bool]) -> None:
        """Explore the weakest branch, until none is left or ``over(branches)``."""
        while self._heap and not over(self._count):
            below = self._explore(self._heap[0][2])
            heapq.heappop(self._heap)
            for child in below:
                self._push(child)
            self._heap = [entry for entry in self._heap if entry[0] < self.upper]
            heapq.heapify(self._heap)
            least = self._heap[0][0] if self._heap else self.upper
            self.value = min(self.upper, max(self.value, min(least, self._stuck)))

    def _push(self, branch: Branch) -> None:
        self._count += 1
        heapq.heappush(self._heap, (branch.bound, self._count, branch))

    def _explore(self, branch: Branch) -> list[Branch]:
        """Cut and price at this branch until it is shut, whole or slow; the branches below it."""
        start, going = branch.bound, True
        for _ in range(CUT_ROUNDS):
            point = self._solve(branch)
            before = branch.bound
            branch, going = self._tighten(branch, point) if point is not None else (branch, False)
            if branch.bound >= self.upper:
                return []
            gain = branch.bound - before
            slow = branch.bound > start and gain < LEAST_GAIN * (self.upper - branch.bound)
            if slow or not going:
                break
        self._drop_slack(point)
        return self._below(branch, point, going)

    def _solve(self, branch: Branch) -> Point | None:
        self.program.open_only(branch.opened[self._column], branch.forced[self._column])
        return self.program.solve()

    def _tighten(self, branch: Branch, point: Point) -> tuple[Branch, bool]:
        """The bound proved by this point's duals; whether the program got more cuts or arcs.

        Arcs too dear for a better tour are shut on this branch and all below it.
        """
        priced = pool_price(
            self.program, self._pool,
            point=point, opened=branch.opened, forced=branch.forced, upper=self.upper,
        )  # fmt: skip
        if priced is None:
            return branch, False
        if priced.bound > branch.bound:
            dear = ~(np.ceil(priced.bound - 1 + priced.slack) < self.upper) & ~branch.forced
            branch = Branch(priced.bound, branch.opened & ~dear, branch.forced)
        cuts = find_cuts(self.problem, point)
        more = self._add_lacking(priced.reduced)
        if cuts:
            self.program.add_cuts(cuts)
        elif not more:
            self._take_tour(point)
        return branch, bool(cuts) or more

    def _add_lacking(self, reduced: Floats) -> bool:
        """Add the arcs of most negative reduced cost; whether there were any."""
        lacking = reduced < -GIVEN_AWAY / self.problem.size
        lacking[self._column] = False
        number = np.flatnonzero(lacking)
        number = np.sort(number[np.argsort(reduced[number], kind="stable")[:MOST_NEW_ARCS]])
        self.program.add_arcs(self._pool.tail[number], self._pool.head[number])
        self._column = np.concatenate([self._column, number])
        return len(number) > 0

    def _take_tour(self, point: Point) -> None:
        """Keep the tour that a whole-number point is, if it is shorter."""
        used = point.value > WHOLE
        whole = 0.5 if self.program.symmetric else 1.0
        if np.abs(point.value[used] - whole).max(initial=0.0) > WHOLE:
            return
        tour = _walk(point.tail[used], point.head[used])
        owner = self.problem.cluster_of[tour]
        if len(tour) == self.problem.size == len(set(owner.tolist())):
            cost = self.problem.tour_cost(tour)
            if cost < self.upper:
                self.upper, self.tour = cost, tour
                self._stuck = min(self._stuck, cost)

    def _drop_slack(self, point: Point | None) -> None:
        if point is not None and len(self.program.cuts) > IDLE_CUTS:
            idle = np.flatnonzero(np.abs(point.cut_dual) < 1e-9)
            self.program.drop_cuts(idle)

    def _below(self, branch: Branch, point: Point | None, going: bool) -> list[Branch]:
        if branch.bound >= self.upper:
            return []
        pair = None if point is None else self._split(branch, point)
        if pair is not None:
            return list(pair)
        if going:  # whole, yet not a tour: what was added shuts it out
            return [branch]
        self._stuck = min(self._stuck, branch.bound)
        return []

    def _split(self, branch: Branch, point: Point) -> tuple[Branch, Branch] | None:
        """On the node that is most nearly half visited, else on the arc most nearly half used."""
        visit = np.zeros(len(self.problem.nodes))
        np.add.at(visit, point.tail, point.value)
        node = int(np.abs(visit - 0.5).argmin())
        if WHOLE < visit[node] < 1 - WHOLE:
            return self._split_node(branch, node)
        value: Floats = point.value[: len(self.program.tail)] * (1 + self.program.symmetric)
        column = int(np.abs(value - 0.5).argmin())
        if WHOLE < value[column] < 1 - WHOLE:
            return self._split_arc(branch, int(self._column[column]))
        return None

    def _split_node(self, branch: Branch, node: int) -> tuple[Branch, Branch]:
        owner = self.problem.cluster_of
        tail, head = self._pool.tail, self._pool.head
        touches = (tail == node) | (head == node)
        there = (owner[tail] == owner[node]) | (owner[head] == owner[node])
        return self._with_open(branch, ~there | touches), self._with_open(branch, ~touches)

    def _split_arc(self, branch: Branch, arc: int) -> tuple[Branch, Branch]:
        one = np.arange(len(self._pool.tail)) == arc
        without = self._with_open(branch, ~one)
        if self.program.symmetric:
            return Branch(branch.bound, branch.opened, branch.forced | one), without
        owner, tail, head = self.problem.cluster_of, self._pool.tail, self._pool.head
        rivals = (owner[tail] == owner[tail[arc]]) | (owner[head] == owner[head[arc]])
        return self._with_open(branch, ~rivals | one), without

    def _with_open(self, branch: Branch, keep: Bools) -> Branch:
        return Branch(branch.bound, branch.opened & keep, branch.forced)


def _walk(tail: Ints, head: Ints) -> Ints:
    """The nodes met when the arcs are followed from the first tail; each edge is walked once."""
    ways: dict[int, list[int]] = {}
    for a, b in zip(tail.tolist(), head.tolist(), strict=True):
        ways.setdefault(a, []).append(b)
    tour, seen = [int(tail[0])], {int(tail[0])}
    while True:
        onward = [b for b in ways.get(tour[-1], []) if b not in seen]
        if not onward:
            return np.array(tour, dtype=np.int64)
        tour.append(onward[0])
        seen.add(onward[0])
