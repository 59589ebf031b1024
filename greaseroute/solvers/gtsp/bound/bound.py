"""A proved lower bound for the GTSP: subgradient, then cuts, at last branch and cut.

    subgradient -> find cuts -> ... -> prove -> list arcs anew -> ... -> branch and cut
    (float)        (mean of trees)    (integers)  (slack)              (few arcs left)

The arcs looked at are few at first; after every proof those that a better tour can use are listed
anew. Once they are few enough and the subgradient gains no more, a linear program over them and
branching close the gap.
"""

import numpy as np

from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.branch_and_cut import ArcPool, BranchAndCut
from greaseroute.solvers.gtsp.bound.relaxation import TourMaster
from greaseroute.solvers.gtsp.bound.safe_bound import (
    IntegerDuals,
    SafeBound,
    arcs_within,
    integer_duals,
    reduced_matrix,
    safe_bound_all,
    safe_bound_listed,
)
from greaseroute.solvers.gtsp.bound.sparse_arcs import (
    cheapest_exits,
    first_arcs,
    joined,
    same_both_ways,
)
from greaseroute.solvers.gtsp.bound.subgradient import ArcList, Subgradient
from greaseroute.solvers.gtsp.bound.subtour_cuts import find_cuts
from greaseroute.solvers.gtsp.problem import GtspProblem
from greaseroute.solvers.result import Result
from greaseroute.solvers.stop import StopRule

FIRST_ROUNDS = 3  # without cuts, while the list of arcs settles; more while the bound moves on
MOST_FIRST_ROUNDS = 16
FIRST_STEPS, STEPS = 200, 100  # of the subgradient in one round
ROUNDS_BETWEEN_PROOFS = 8
ARCS_PER_NODE = 6
ROUNDS_TIMES_NODES = 60_000  # without a clock: 187 rounds for 320 nodes, some seconds
MANY_ARCS = 10**9  # of which only some are listed yet
LEAST_GAIN = 0.05  # of what is missing to the upper value, between two proofs
CLOSE = 0.025  # of the upper value: near enough for a linear program
PATIENCE = {True: 1, False: 12}  # slow proofs before one is tried, near and far
FIRST_GAIN = 0.15  # the same, to go on without cuts
MOST_POOL_ARCS = 40_000
MOST_MATRIX_NODES = 2000  # 32 MB of reduced costs
START_ARCS_PER_NODE = 3  # in the first linear program


def stop_for(problem: GtspProblem, limit_s: float | None) -> StopRule:
    """A stop by wall clock; without a limit, by a number of rounds that suits the size."""
    if limit_s is None:
        return StopRule.after(max(20, ROUNDS_TIMES_NODES // len(problem.nodes)))
    return StopRule.after(limit_s=limit_s)


class BoundSearch:
    """A lower bound beside a tour; resumed at will, good at any moment.

    Attributes
    ----------
    upper, tour
        Cost and nodes of the best tour known; the bound never exceeds it.
    value : int
        Proved: no tour costs less.
    """

    def __init__(self, problem: GtspProblem, tour: IntArray) -> None:
        self.problem, self.tour = problem, tour
        self.upper = problem.tour_cost(tour)
        self.value = min(self.upper, cheapest_exits(problem))
        self._symmetric = same_both_ways(problem)
        # Made when they are first needed: most small problems end at the first tree.
        self._subgradient: Subgradient | None = None
        self._branches: BranchAndCut | None = None
        # The best proof judges tours; the last one tells which arcs are missing.
        self._best: tuple[IntegerDuals, SafeBound] | None = None
        self._last: tuple[IntegerDuals, SafeBound] | None = None
        self._rounds = 0
        self._within = MANY_ARCS  # arcs that a better tour can use, listed or not
        self._slow = 0  # proofs in a row that gained next to nothing
        self._complete = False  # whether all of them are listed
        self._first = True  # whether these are the rounds without cuts

    def improve(self, stop: StopRule) -> None:
        """Raise the bound until it is time to stop or it meets the upper value."""
        while self.value < self.upper and not stop.over(self._rounds):
            if self._branches is not None or self._may_branch():
                self._branch(stop)
                return
            self._round()
        if self._subgradient is not None and self._branches is None and self.value < self.upper:
            self._prove(self._subgradient)

    def take_tour(self, tour: IntArray) -> None:
        """Judge this tour from now on, if it is shorter than the last."""
        cost = self.problem.tour_cost(tour)
        if cost < self.upper:
            self.upper, self.tour, self._branches = cost, tour, None
            self.value = min(self.value, cost)
            if self._subgradient is not None and self._rounds > 0:
                self._list_anew(self._subgradient)

    def support_arcs(self) -> tuple[tuple[IntArray, IntArray], FloatArray] | None:
        """One-way arcs of the mean of the trees with their values; None before there is one.

        None as well where costs are symmetric: the search needs no such help there.
        """
        if self._subgradient is None or self._symmetric:
            return None
        point = self._subgradient.point()
        return (point.tail, point.head), point.value

    def reduced_costs(self) -> IntArray | None:
        """(n, n) reduced costs under the best duals; None before there are any or if symmetric."""
        if self._best is None or self._symmetric or len(self.problem.nodes) > MOST_MATRIX_NODES:
            return None
        return reduced_matrix(self.problem, self._best[0])

    def result(self) -> Result:
        """The bound so far."""
        what = "spanning trees with sub-tour cuts"
        if self.value >= self.upper:
            return Result(self.upper, self.upper, "optimal", f"{what}: no gap", self._rounds)
        return Result(self.upper, self.value, "bounded", f"{what}, arcs priced", self._rounds)

    def _round(self) -> None:
        """Cuts, subgradient steps, and now and then a proof with the arcs listed anew."""
        if self._subgradient is None:
            arcs = first_arcs(self.problem, self.tour, upper=self.upper, symmetric=self._symmetric)
            self._subgradient = Subgradient(
                self.problem, ArcList.of(self.problem, *arcs), symmetric=self._symmetric
            )
        # Without cuts at first, until the list of arcs has settled.
        self._rounds += 1
        first = self._first
        if not first:
            self._subgradient.add_cuts(find_cuts(self.problem, self._subgradient.point()))
        claimed = self._subgradient.climb(FIRST_STEPS if first else STEPS, upper=self.upper)
        # Proofs are costly: one in eight rounds, and after each of the first ones.
        if not first and self._rounds % ROUNDS_BETWEEN_PROOFS:
            return
        # Prove, list the arcs anew, and see how much of the gap that closed.
        missing, before = max(1, self.upper - self.value), self.value
        self._subgradient.drop_idle_cuts(upper=self.upper)
        self._list_anew(self._subgradient)
        gain = (self.value - before) / missing
        self._slow = 0 if first or gain >= LEAST_GAIN else self._slow + 1
        self._first = first and self._goes_on_without_cuts(claimed, gain)

    def _goes_on_without_cuts(self, claimed: float, gain: float) -> bool:
        """Whether the list lacks arcs (proved well below what was claimed), or gains go on."""
        if self._last is None:
            return True
        proved = self._last[1].bound(self.upper)
        # The list lacks arcs where the proof over all arcs falls well below what it claimed.
        lacking = claimed - proved > FIRST_GAIN * (self.upper - claimed) or proved < self.value
        moving = gain > FIRST_GAIN or lacking
        return self._rounds < FIRST_ROUNDS or (moving and self._rounds < MOST_FIRST_ROUNDS)

    def _prove(self, subgradient: Subgradient) -> None:
        """Prove what the duals are worth: over the listed arcs where they are all that count."""
        duals = integer_duals(self.problem, subgradient.duals(), upper=self.upper)
        if duals is None:
            return
        # Over the listed arcs alone where no others can be in a better tour: far fewer.
        if self._complete:
            ends = (subgradient.arcs.ends[0], subgradient.arcs.ends[1])
            proof, _ = safe_bound_listed(self.problem, duals, ends, upper=self.upper)
        else:
            proof = safe_bound_all(self.problem, duals, upper=self.upper, symmetric=self._symmetric)
        self._last = duals, proof
        if self._best is None or proof.bound(self.upper) >= self._best[1].bound(self.upper):
            self._best = duals, proof
        self.value = max(self.value, proof.bound(self.upper))

    def _list_anew(self, subgradient: Subgradient) -> None:
        """Prove, then list the arcs that a better tour can use, or those of least slack."""
        self._prove(subgradient)
        if self._last is None or self.value >= self.upper:
            return
        duals, proof = self._last  # not the best: the arcs that are missing now are wanted
        tail, head, self._within = arcs_within(
            self.problem, duals, proof,
            upper=self.upper, symmetric=self._symmetric,
            most=ARCS_PER_NODE * len(self.problem.nodes),
        )  # fmt: skip
        self._complete = self._within == len(tail)
        if not self._complete:
            # Arcs the duals rely on stay, and the tour's own: it must remain possible.
            used = subgradient.used(everything=self._first)
            here = (self.tour, np.roll(self.tour, -1))
            tail, head = joined(self.problem, (tail, head), used, here, symmetric=self._symmetric)
        subgradient.list_anew(ArcList.of(self.problem, tail, head))

    def _may_branch(self) -> bool:
        """Whether the subgradient has gained nothing for some proofs, and few arcs are left."""
        close = self.upper - self.value <= CLOSE * self.upper
        return self._slow >= PATIENCE[close] and self._within <= MOST_POOL_ARCS

    def _branch(self, stop: StopRule) -> None:
        """Close the gap by a linear program and branching, over the arcs left."""
        assert self._subgradient is not None
        if self._branches is None:
            self._branches = self._root(self._subgradient)
        # A single linear program may take long: the clock stops it, not only the loop.
        self._branches.program.limit_time(stop.seconds_left())
        # Rounds of the tree count on from those of the subgradient.
        before = self._rounds
        self._branches.run(lambda rounds: stop.over(before + rounds))
        self.upper, self.tour = self._branches.upper, self._branches.tour
        self.value = self._branches.value

    def _root(self, subgradient: Subgradient) -> BranchAndCut:
        """The linear program with the cuts so far and the arcs of least slack."""
        assert self._best is not None
        problem, (duals, proof) = self.problem, self._best
        # The pool: every arc that a better tour can use.
        tail, head, _ = arcs_within(
            problem, duals, proof,
            upper=self.upper, symmetric=self._symmetric, most=MOST_POOL_ARCS,
        )  # fmt: skip
        tail, head = joined(
            problem, (tail, head), (self.tour, np.roll(self.tour, -1)), symmetric=self._symmetric
        )
        # The program begins with those of least slack; branch and cut prices the others in.
        _, above = safe_bound_listed(problem, duals, (tail, head), upper=self.upper)
        few = np.argsort(above, kind="stable")[: START_ARCS_PER_NODE * len(problem.nodes)]
        program = TourMaster(problem, symmetric=self._symmetric, relief=2 * self.upper + 1)
        chosen = np.sort(few)
        program.add_arcs(tail[chosen], head[chosen])
        program.add_cuts(subgradient.worthy_cuts(upper=self.upper))
        return BranchAndCut(
            program, ArcPool(tail, head), chosen, upper=self.upper, tour=self.tour, value=self.value
        )
