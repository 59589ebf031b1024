"""Branch and cut on the arcs that reduced costs leave, to close the last of the gap.

A branch forbids arcs ("this node is not visited" forbids its arcs, "this node is visited" those of
the others in its cluster) or forces edges. So the bound of every branch is proved by the same tree
in whole numbers as at the root, over the arcs left; a forced arc adds its slack to that.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray
from greaseroute.solvers.best_first import BestFirst
from greaseroute.solvers.gtsp.bound.relaxation import GIVEN_AWAY, Point, RelaxedTour, TourMaster
from greaseroute.solvers.gtsp.bound.safe_bound import integer_duals, safe_bound_listed
from greaseroute.solvers.gtsp.bound.subtour_cuts import find_cuts

PATIENCE = 4  # rounds without gain before a branch is split
LEAST_GAIN = 0.01  # of what is missing to the upper value, in one round
WHOLE = 1e-5  # a value this close to a whole number is taken for one
WORTHLESS = 1e-9  # a dual up to this does not count
IDLE_ROUNDS = 2  # a cut without a dual for more rounds is idle
MOST_IDLE = 50  # idle cuts are dropped together, when there are so many
MOST_NEW_ARCS = 300


@dataclass(frozen=True, slots=True)
class ArcPool:
    """All arcs (edges where costs are symmetric) that a better tour can be made of."""

    tail: IntArray
    head: IntArray


@dataclass(frozen=True, slots=True)
class ArcBranch:
    """Which arcs of the pool (P,) are still open and which are forced on a branch."""

    opened: BoolArray
    forced: BoolArray

    def only(self, keep: BoolArray) -> "ArcBranch":
        """The branch with all other arcs shut."""
        return ArcBranch(self.opened & keep, self.forced)


Bounded = tuple[int, ArcBranch]  # a branch with its proved bound


class BranchAndCut:
    """Best-first search over branches; value and tour are good at any moment.

    Parameters
    ----------
    program : TourMaster
        With the arcs of the pool that ``column`` (E,) numbers.
    pool : ArcPool
        Arcs outside it are in no tour cheaper than ``upper``.
    upper, tour
        Cost and nodes of the best tour known.
    value : int
        A proved bound to begin with.
    """

    def __init__(
        self,
        program: TourMaster,
        pool: ArcPool,
        column: IntArray,
        *,
        upper: int,
        tour: IntArray,
        value: int,
    ) -> None:
        self.program, self.problem, self._pool = program, program.problem, pool
        self._column, self.tour = column, tour
        # The root: every arc of the pool open, none forced.
        every = np.ones(len(pool.tail), bool)
        self._branches = BestFirst(ArcBranch(every, ~every), value=value, upper=upper)
        self._rounds = 0
        self._idle = np.zeros(0, np.int64)

    @property
    def upper(self) -> int:
        """Cost of the best tour known."""
        return self._branches.upper

    @property
    def value(self) -> int:
        """The proved bound."""
        return self._branches.value

    def run(self, over: Callable[[int], bool]) -> None:
        """Explore the weakest branch, until none is left or ``over(rounds)``."""
        self._branches.run(
            lambda bound, branch: self._explore(bound, branch, over), lambda: over(self._rounds)
        )

    def _explore(self, bound: int, branch: ArcBranch, over: Callable[[int], bool]) -> list[Bounded]:
        """Cut and price at a branch until it is closed, integral or slow; the branches below."""
        gains, going, found = [1.0] * PATIENCE, True, None
        while going and max(gains[-PATIENCE:]) > LEAST_GAIN:
            self._rounds += 1
            found = None if over(self._rounds) else self._solve(branch)
            if found is None:
                out_of_time = over(self._rounds)
                return (
                    [(bound, branch)]
                    if out_of_time
                    else self._below(bound, branch, None, going=False)
                )
            # Prove, cut and price; then judge by how much of the gap the round closed.
            before, columns = bound, len(self._column)
            bound, branch, going = self._tighten(bound, branch, found)
            if bound >= self.upper:
                return []
            # As long as arcs come in, the program's value is too high for its duals to prove it.
            grew = len(self._column) > columns
            gains.append(1.0 if grew else (bound - before) / (self.upper - before))
            self._drop_idle_cuts(found)
        return self._below(bound, branch, found, going=going)

    def _solve(self, branch: ArcBranch) -> RelaxedTour | None:
        self.program.open_only(branch.opened[self._column], branch.forced[self._column])
        return self.program.solve()

    def _tighten(
        self, bound: int, branch: ArcBranch, found: RelaxedTour
    ) -> tuple[int, ArcBranch, bool]:
        """The bound proved by these duals, and whether the program got more cuts or arcs.

        Arcs too costly for a better tour are shut on this branch and all below it.
        """
        bound, branch = self._proved(bound, branch, found)
        if bound >= self.upper:
            return bound, branch, False
        # Cuts first: an integral point without any is a tour.
        cuts = [cut.by_members() for cut in find_cuts(self.problem, found.point)]
        more = self._add_violated_columns(branch, found)
        if cuts:
            self.program.add_cuts(cuts)
        elif not more:
            self._take_tour(found.point)
        return bound, branch, bool(cuts) or more

    def _proved(self, bound: int, branch: ArcBranch, found: RelaxedTour) -> Bounded:
        """The safe bound over the arcs open on a branch; arcs above its slack are shut."""
        duals = integer_duals(self.problem, self.program.duals(found), upper=self.upper)
        if duals is None:
            return bound, branch
        # Forced arcs lie above the tree by what they cost more: it is added to the bound.
        number = np.flatnonzero(branch.opened)
        arcs = (self._pool.tail[number], self._pool.head[number])
        proof, above = safe_bound_listed(self.problem, duals, arcs, upper=self.upper)
        extra = int(above[branch.forced[number]].sum())
        slack = proof.slack(self.upper) - extra
        least = self.upper if slack < 0 else -(-(proof.units + extra) // proof.scale)
        opened = branch.opened.copy()
        opened[number[(above > slack) & ~branch.forced[number]]] = False
        return max(bound, least), ArcBranch(opened, branch.forced)

    def _add_violated_columns(self, branch: ArcBranch, found: RelaxedTour) -> bool:
        """Add the arcs of most negative reduced cost; whether there were any."""
        # Arcs in the program and arcs shut on this branch are not missing.
        reduced = self._reduced_costs(found)
        reduced[self._column] = 0.0
        reduced[~branch.opened] = 0.0
        number = np.flatnonzero(reduced < -GIVEN_AWAY / self.problem.size)
        number = np.sort(number[np.argsort(reduced[number], kind="stable")[:MOST_NEW_ARCS]])
        self.program.add_arcs(self._pool.tail[number], self._pool.head[number])
        self._column = np.concatenate([self._column, number])
        return len(number) > 0

    def _reduced_costs(self, found: RelaxedTour) -> FloatArray:
        """Reduced costs in the linear program of all arcs of the pool."""
        tail, head = self._pool.tail, self._pool.head
        reduced: FloatArray = self.problem.cost[tail, head].astype(float)
        reduced -= found.leave_dual[tail] + found.enter_dual[head]
        # Cuts count on arcs with both ends inside, at minus one.
        member = np.zeros(len(self.problem.nodes), bool)
        for number in np.flatnonzero(found.cut_dual > 0):
            cut = self.program.cuts[number]
            member[cut.members] = True
            reduced += found.cut_dual[number] * (member[tail] & member[head])
            member[cut.members] = False
        return reduced

    def _take_tour(self, point: Point) -> None:
        """Keep the tour that an integral point is, if it is shorter."""
        used = point.value > WHOLE
        # Integral: every arc used in full; a tour if it meets every cluster once.
        whole = 0.5 if self.program.symmetric else 1.0
        if np.abs(point.value[used] - whole).max(initial=0.0) > WHOLE:
            return
        tour = _walk(point.tail[used], point.head[used])
        owner = self.problem.cluster_of[tour]
        if len(tour) == self.problem.size == len(set(owner.tolist())):
            cost = self.problem.tour_cost(tour)
            if cost < self.upper:
                self._branches.upper, self.tour = cost, tour

    def _drop_idle_cuts(self, found: RelaxedTour) -> None:
        """Take out cuts whose dual has been zero for some rounds, where there are many."""
        # Idle rounds of each cut; those added this round have none yet.
        fresh = len(self.program.cuts) - len(found.cut_dual)
        idle = np.concatenate([self._idle, np.zeros(len(found.cut_dual) - len(self._idle), int)])
        idle = np.where(found.cut_dual > WORTHLESS, 0, idle + 1)
        old = np.flatnonzero(idle > IDLE_ROUNDS)
        if len(old) < MOST_IDLE:
            old = old[:0]
        self.program.drop_cuts(old)
        self._idle = np.concatenate([np.delete(idle, old), np.zeros(fresh, np.int64)])

    def _below(
        self, bound: int, branch: ArcBranch, found: RelaxedTour | None, *, going: bool
    ) -> list[Bounded]:
        """The two halves of a branch; itself once more where only cuts or arcs were missing."""
        if bound >= self.upper:
            return []
        # Split where a value is fractional; without one, there is nothing to split on.
        pair = None if found is None else self._split(branch, found.point)
        if pair is not None:
            return [(bound, part) for part in pair]
        if going:  # integral, yet no tour: what was added cuts it off
            return [(bound, branch)]
        self._branches.abandon(bound)
        return []

    def _split(self, branch: ArcBranch, point: Point) -> tuple[ArcBranch, ArcBranch] | None:
        """On the node that is most nearly half visited, else on the arc most nearly half used."""
        # Nodes first: which node of a cluster is visited decides more than one arc.
        visits = np.bincount(point.tail, weights=point.value, minlength=len(self.problem.nodes))
        node = int(np.abs(visits - 0.5).argmin())
        if WHOLE < visits[node] < 1 - WHOLE:
            return self._split_on_node(branch, node)
        value: FloatArray = point.value[: len(self.program.tail)] * (1 + self.program.symmetric)
        column = int(np.abs(value - 0.5).argmin())
        if WHOLE < value[column] < 1 - WHOLE:
            return self._split_on_arc(branch, int(self._column[column]))
        return None

    def _split_on_node(self, branch: ArcBranch, node: int) -> tuple[ArcBranch, ArcBranch]:
        """The node visited (no other of its cluster is), or not."""
        owner = self.problem.cluster_of
        tail, head = self._pool.tail, self._pool.head
        touches = (tail == node) | (head == node)
        of_cluster = (owner[tail] == owner[node]) | (owner[head] == owner[node])
        return branch.only(~of_cluster | touches), branch.only(~touches)

    def _split_on_arc(self, branch: ArcBranch, arc: int) -> tuple[ArcBranch, ArcBranch]:
        """The arc used (its clusters are left, entered by no other), or not."""
        one = np.arange(len(self._pool.tail)) == arc
        without = branch.only(~one)
        if self.program.symmetric:
            return ArcBranch(branch.opened, branch.forced | one), without
        owner, tail, head = self.problem.cluster_of, self._pool.tail, self._pool.head
        rivals = (owner[tail] == owner[tail[arc]]) | (owner[head] == owner[head[arc]])
        return branch.only(~rivals | one), without


def _walk(tail: IntArray, head: IntArray) -> IntArray:
    """The nodes met when the arcs are followed from the first tail; each edge is walked once."""
    # Edges stand both ways, so a node already met is not gone back to.
    onward: dict[int, list[int]] = {}
    for a, b in zip(tail.tolist(), head.tolist(), strict=True):
        onward.setdefault(a, []).append(b)
    tour, seen = [int(tail[0])], {int(tail[0])}
    while True:
        fresh = [b for b in onward.get(tour[-1], []) if b not in seen]
        if not fresh:
            return np.array(tour, dtype=np.int64)
        tour.append(fresh[0])
        seen.add(fresh[0])
