"""Branch and cut on the arcs that reduced costs leave, to close the last of the gap.

A branch forbids arcs ("this node is not visited" forbids its arcs, "this node is visited" those of
the others in its cluster) or forces edges, so the bound of every branch is proved by the same
whole-number tree as at the root, over the arcs left; a forced arc adds what it costs above
that. What is left open limits the bound of all.
"""

import heapq
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.relaxation import GIVEN_AWAY, ArcProgram, Point, Solution
from greaseroute.solvers.gtsp.bound.safe_bound import prove_listed, whole
from greaseroute.solvers.gtsp.bound.subtour_cuts import find_cuts

PATIENCE = 4  # rounds without gain before a branch is split
LEAST_GAIN = 0.01  # of what is missing to the upper value, in one round
WHOLE = 1e-5
WORTHLESS = 1e-9
IDLE_ROUNDS = 2
MOST_IDLE = 50
MOST_NEW_ARCS = 300


@dataclass(frozen=True, slots=True)
class ArcPool:
    """All arcs (edges where costs are symmetric) that a better tour can be made of."""

    tail: IntArray
    head: IntArray


@dataclass(frozen=True, slots=True)
class Branch:
    """Arcs of the pool still open and forced on one branch, and the bound it inherits."""

    bound: int
    opened: BoolArray
    forced: BoolArray


class BranchSearch:
    """Best-first search; ``value`` is proved at any moment, ``tour`` the best known."""

    def __init__(
        self,
        program: ArcProgram,
        pool: ArcPool,
        column: IntArray,
        *,
        upper: int,
        tour: IntArray,
        value: int,
    ) -> None:
        """``column`` tells for each arc of the program its number in the pool."""
        self.program, self.problem, self._pool = program, program.problem, pool
        self._column = column
        self.upper, self.tour, self.value = upper, tour, value
        self._heap: list[tuple[int, int, Branch]] = []
        self._stuck = upper  # the least bound of branches that nothing splits any more
        self._count = 0
        self._idle = np.zeros(0, np.int64)
        every = np.ones(len(pool.tail), bool)
        self._push(Branch(value, every, ~every))

    def run(self, over: Callable[[int], bool]) -> None:
        """Explore the weakest branch, until none is left or ``over(rounds)``."""
        while self._heap and not over(self._count):
            below = self._explore(self._heap[0][2], over)
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

    def _explore(self, branch: Branch, over: Callable[[int], bool]) -> list[Branch]:
        """Cut and price at this branch until it is shut, whole or slow; the branches below it."""
        gains, going, solution = [1.0] * PATIENCE, True, None
        while going and max(gains[-PATIENCE:]) > LEAST_GAIN:
            self._count += 1
            solution = None if over(self._count) else self._solve(branch)
            if solution is None:
                return [branch] if over(self._count) else self._below(branch, None, False)
            before, columns = branch.bound, len(self._column)
            branch, going = self._tighten(branch, solution)
            if branch.bound >= self.upper:
                return []
            # as long as arcs come in, the program tells too high a cost to prove from
            grew = len(self._column) > columns
            gains.append(1.0 if grew else (branch.bound - before) / (self.upper - before))
            self._drop_slack(solution)
        return self._below(branch, solution, going)

    def _solve(self, branch: Branch) -> Solution | None:
        self.program.open_only(branch.opened[self._column], branch.forced[self._column])
        return self.program.solve()

    def _tighten(self, branch: Branch, solution: Solution) -> tuple[Branch, bool]:
        """The bound proved by these duals; whether the program got more cuts or arcs.

        Arcs too dear for a better tour are shut on this branch and all below it.
        """
        branch = self._proved(branch, solution)
        if branch.bound >= self.upper:
            return branch, False
        cuts = [cut.by_members() for cut in find_cuts(self.problem, solution.point)]
        more = self._add_lacking(branch, solution)
        if cuts:
            self.program.add_cuts(cuts)
        elif not more:
            self._take_tour(solution.point)
        return branch, bool(cuts) or more

    def _proved(self, branch: Branch, solution: Solution) -> Branch:
        told = whole(self.problem, self.program.multipliers(solution), upper=self.upper)
        if told is None:
            return branch
        open_arcs = np.flatnonzero(branch.opened)
        arcs = (self._pool.tail[open_arcs], self._pool.head[open_arcs])
        proof, slack = prove_listed(self.problem, told, arcs, upper=self.upper)
        extra = int(slack[branch.forced[open_arcs]].sum())
        room = proof.room(self.upper) - extra
        bound = self.upper if room < 0 else -(-(proof.units + extra) // proof.scale)
        opened = branch.opened.copy()
        opened[open_arcs[(slack > room) & ~branch.forced[open_arcs]]] = False
        return Branch(max(branch.bound, bound), opened, branch.forced)

    def _add_lacking(self, branch: Branch, solution: Solution) -> bool:
        """Add the arcs of most negative reduced cost; whether there were any."""
        reduced = self._reduced(solution)
        reduced[self._column] = 0.0
        reduced[~branch.opened] = 0.0
        number = np.flatnonzero(reduced < -GIVEN_AWAY / self.problem.size)
        number = np.sort(number[np.argsort(reduced[number], kind="stable")[:MOST_NEW_ARCS]])
        self.program.add_arcs(self._pool.tail[number], self._pool.head[number])
        self._column = np.concatenate([self._column, number])
        return len(number) > 0

    def _reduced(self, solution: Solution) -> FloatArray:
        """Reduced costs in the linear program of all arcs of the pool."""
        tail, head = self._pool.tail, self._pool.head
        reduced = self.problem.cost[tail, head].astype(float)
        reduced -= solution.leave_dual[tail] + solution.enter_dual[head]
        member = np.zeros(len(self.problem.nodes), bool)
        for number in np.flatnonzero(solution.cut_dual > 0):
            cut = self.program.cuts[number]
            member[cut.members] = True
            reduced += solution.cut_dual[number] * (member[tail] & member[head])
            member[cut.members] = False
        result: FloatArray = reduced
        return result

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

    def _drop_slack(self, solution: Solution) -> None:
        """Take out cuts that have not mattered for some rounds, where there are many."""
        fresh = len(self.program.cuts) - len(solution.cut_dual)
        idle = np.concatenate([self._idle, np.zeros(len(solution.cut_dual) - len(self._idle), int)])
        idle = np.where(solution.cut_dual > WORTHLESS, 0, idle + 1)
        old = np.flatnonzero(idle > IDLE_ROUNDS)
        if len(old) < MOST_IDLE:
            old = old[:0]
        self.program.drop_cuts(old)
        self._idle = np.concatenate([np.delete(idle, old), np.zeros(fresh, np.int64)])

    def _below(self, branch: Branch, solution: Solution | None, going: bool) -> list[Branch]:
        if branch.bound >= self.upper:
            return []
        pair = None if solution is None else self._split(branch, solution.point)
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
        value: FloatArray = point.value[: len(self.program.tail)] * (1 + self.program.symmetric)
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

    def _with_open(self, branch: Branch, keep: BoolArray) -> Branch:
        return Branch(branch.bound, branch.opened & keep, branch.forced)


def _walk(tail: IntArray, head: IntArray) -> IntArray:
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
