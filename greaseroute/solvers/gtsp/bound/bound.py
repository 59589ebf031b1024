"""A proven lower bound for the one-node-per-cluster tour."""

import time
from dataclasses import dataclass
from typing import Literal

import numpy as np

from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.branch_and_cut import ArcPool, BranchSearch
from greaseroute.solvers.gtsp.bound.relaxation import ArcProgram
from greaseroute.solvers.gtsp.bound.safe_bound import (
    Proof,
    Whole,
    arcs_within,
    prove_all,
    prove_listed,
    reduced_matrix,
    whole,
)
from greaseroute.solvers.gtsp.bound.sparse_arcs import (
    cheapest_exits,
    first_arcs,
    joined,
    same_both_ways,
)
from greaseroute.solvers.gtsp.bound.subgradient import ArcList, Ascent
from greaseroute.solvers.gtsp.bound.subtour_cuts import find_cuts
from greaseroute.solvers.gtsp.problem import ClusterProblem, check_problem

FIRST_ROUNDS = 3  # without cuts, while the list of arcs settles; more while the bound moves on
MOST_FIRST_ROUNDS = 16
FIRST_STEPS, STEPS = 200, 100  # of the ascent in one round
ROUNDS_BETWEEN_PROOFS = 8
ARCS_PER_NODE = 6
ROUNDS_TIMES_NODES = 60_000  # without a clock: 187 rounds for 320 nodes, some seconds
MOST_ROUNDS = 10**9
NO_LIMIT_S = 1e9
LEAST_GAIN = 0.05  # of what is missing to the upper value, between two proofs
CLOSE = 0.025  # of the upper value: near enough for a linear program
PATIENCE = {True: 1, False: 12}  # slow proofs before one is tried, near and far
FIRST_GAIN = 0.15  # the same, to go on without cuts
MOST_POOL_ARCS = 40_000
MOST_MATRIX_NODES = 2000  # 32 MB of reduced costs
START_ARCS_PER_NODE = 3  # in the first linear program
BoundStatus = Literal["optimal", "bounded", "interrupted"]


@dataclass(frozen=True, slots=True)
class BoundResult:
    """``value`` is at most the cost of any tour; ``what`` says how it was found."""

    value: int
    status: BoundStatus
    what: str


@dataclass(frozen=True, slots=True)
class Stop:
    """When to stop: at a moment of the process clock (``time.perf_counter``), or after rounds."""

    end: float | None
    rounds: int

    def over(self, rounds: int) -> bool:
        """Whether it is time, that many rounds made."""
        return rounds >= self.rounds or (self.end is not None and time.perf_counter() >= self.end)

    def seconds_left(self) -> float:
        """Wall seconds to the end; without one, more than any solve takes."""
        return NO_LIMIT_S if self.end is None else self.end - time.perf_counter()


def stop_after(problem: ClusterProblem, limit_s: float | None) -> Stop:
    """A stop by wall clock; without a limit, by a number of rounds that suits the size."""
    if limit_s is None:
        return Stop(None, max(20, ROUNDS_TIMES_NODES // len(problem.nodes)))
    return Stop(time.perf_counter() + limit_s, MOST_ROUNDS)


class BoundSearch:
    """Ascent, cuts, and at last a linear program; resumed at will, good at any moment."""

    def __init__(self, problem: ClusterProblem, tour: IntArray) -> None:
        self.problem, self.tour = problem, tour
        self.upper = problem.tour_cost(tour)
        self.value = min(self.upper, cheapest_exits(problem))
        self._symmetric = same_both_ways(problem)
        self._ascent: Ascent | None = None
        self._tree: BranchSearch | None = None
        self._best: tuple[Whole, Proof] | None = None
        self._last: tuple[Whole, Proof] | None = None
        self._rounds = 0
        self._within = MOST_ROUNDS  # arcs that a better tour can use, listed or not
        self._slow = 0  # proofs in a row that gained next to nothing
        self._complete = False
        self._first = True

    def improve(self, stop: Stop) -> None:
        """Raise the bound until it is time to stop or it meets the upper value."""
        while self.value < self.upper and not stop.over(self._rounds):
            if self._tree is not None or self._may_branch():
                self._branch(stop)
                return
            self._round()
        if self._ascent is not None and self._tree is None and self.value < self.upper:
            self._prove(self._ascent)

    def take_tour(self, tour: IntArray) -> None:
        """Judge this tour from now on, if it is shorter than the last."""
        cost = self.problem.tour_cost(tour)
        if cost < self.upper:
            self.upper, self.tour, self._tree = cost, tour, None
            self.value = min(self.value, cost)
            if self._ascent is not None and self._rounds > 0:
                self._list_anew(self._ascent)

    def arcs_told(self) -> tuple[tuple[IntArray, IntArray], FloatArray] | None:
        """One-way arcs and how much the bound speaks for each; None before it began, or for edges.

        Where costs are symmetric the search needs no such help.
        """
        if self._ascent is None or self._symmetric:
            return None
        point = self._ascent.point()
        return (point.tail, point.head), point.value

    def reduced_costs(self) -> IntArray | None:
        """(n, n) what the best proof makes of one-way costs; None without one, or for edges."""
        if self._best is None or self._symmetric or len(self.problem.nodes) > MOST_MATRIX_NODES:
            return None
        return reduced_matrix(self.problem, self._best[0])

    def _round(self) -> None:
        if self._ascent is None:
            arcs = first_arcs(self.problem, self.tour, upper=self.upper, symmetric=self._symmetric)
            self._ascent = Ascent(
                self.problem, ArcList.of(self.problem, *arcs), symmetric=self._symmetric
            )
        self._rounds += 1
        first = self._first
        if not first:
            self._ascent.add_cuts(find_cuts(self.problem, self._ascent.point()))
        told = self._ascent.climb(FIRST_STEPS if first else STEPS, upper=self.upper)
        if not first and self._rounds % ROUNDS_BETWEEN_PROOFS:
            return
        missing, before = max(1, self.upper - self.value), self.value
        self._ascent.drop_idle(upper=self.upper)
        self._list_anew(self._ascent)
        gain = (self.value - before) / missing
        self._slow = 0 if first or gain >= LEAST_GAIN else self._slow + 1
        self._first = first and self._goes_on(told, gain)

    def _goes_on(self, told: float, gain: float) -> bool:
        """Whether the first rounds go on: the list still lacks arcs, or the bound still moves."""
        if self._last is None:
            return True
        proved = self._last[1].bound(self.upper)
        lacking = told - proved > FIRST_GAIN * (self.upper - told) or proved < self.value
        moving = gain > FIRST_GAIN or lacking
        return self._rounds < FIRST_ROUNDS or (moving and self._rounds < MOST_FIRST_ROUNDS)

    def _prove(self, ascent: Ascent) -> None:
        told = whole(self.problem, ascent.multipliers(), upper=self.upper)
        if told is None:
            return
        if self._complete:
            ends = (ascent.arcs.ends[0], ascent.arcs.ends[1])
            proof, _ = prove_listed(self.problem, told, ends, upper=self.upper)
        else:
            proof = prove_all(self.problem, told, upper=self.upper, symmetric=self._symmetric)
        self._last = told, proof
        if self._best is None or proof.bound(self.upper) >= self._best[1].bound(self.upper):
            self._best = told, proof
        self.value = max(self.value, proof.bound(self.upper))

    def _list_anew(self, ascent: Ascent) -> None:
        """Prove, then list the arcs that a better tour can use, or those of least slack."""
        self._prove(ascent)
        if self._last is None or self.value >= self.upper:
            return
        told, proof = self._last  # not the best: the arcs that the ascent lacks now are wanted
        tail, head, self._within = arcs_within(
            self.problem, told, proof,
            upper=self.upper, symmetric=self._symmetric,
            most=ARCS_PER_NODE * len(self.problem.nodes),
        )  # fmt: skip
        self._complete = self._within == len(tail)
        if not self._complete:
            used = ascent.used(everything=self._first)
            here = (self.tour, np.roll(self.tour, -1))
            tail, head = joined(self.problem, (tail, head), used, here, symmetric=self._symmetric)
        ascent.list_anew(ArcList.of(self.problem, tail, head))

    def _may_branch(self) -> bool:
        close = self.upper - self.value <= CLOSE * self.upper
        return self._slow >= PATIENCE[close] and self._within <= MOST_POOL_ARCS

    def _branch(self, stop: Stop) -> None:
        """Close what is left by a linear program and branching, over the arcs left."""
        assert self._ascent is not None
        if self._tree is None:
            self._tree = self._root(self._ascent)
        self._tree.program.set_time_limit(stop.seconds_left())
        before = self._rounds
        self._tree.run(lambda rounds: stop.over(before + rounds))
        self.upper, self.tour, self.value = self._tree.upper, self._tree.tour, self._tree.value

    def _root(self, ascent: Ascent) -> BranchSearch:
        """The linear program with the ascent's cuts and its arcs of least slack."""
        assert self._best is not None
        problem, (told, proof) = self.problem, self._best
        tail, head, _ = arcs_within(
            problem, told, proof,
            upper=self.upper, symmetric=self._symmetric, most=MOST_POOL_ARCS,
        )  # fmt: skip
        tail, head = joined(
            problem, (tail, head), (self.tour, np.roll(self.tour, -1)), symmetric=self._symmetric
        )
        _, slack = prove_listed(problem, told, (tail, head), upper=self.upper)
        few = np.argsort(slack, kind="stable")[: START_ARCS_PER_NODE * len(problem.nodes)]
        program = ArcProgram(problem, symmetric=self._symmetric, relief=2 * self.upper + 1)
        chosen = np.sort(few)
        program.add_arcs(tail[chosen], head[chosen])
        program.add_cuts(ascent.worthy_cuts(upper=self.upper))
        return BranchSearch(
            program, ArcPool(tail, head), chosen, upper=self.upper, tour=self.tour, value=self.value
        )


def lower_bound(
    cost: IntArray,
    clusters: list[list[int]],
    *,
    tour: IntArray,
    limit_s: float | None = None,
) -> BoundResult:
    """Proven lower bound, given a tour (node numbers) that is to be judged.

    Without ``limit_s`` a fixed number of rounds is made and no clock is read.
    """
    problem = check_problem(cost, clusters)
    place = np.empty(len(problem.nodes), np.int64)
    place[problem.nodes] = np.arange(len(problem.nodes))
    search = BoundSearch(problem, place[np.asarray(tour)])
    search.improve(stop_after(problem, limit_s))
    return result_of(search)


def result_of(search: BoundSearch) -> BoundResult:
    """What the search has proved so far."""
    if search.value >= search.upper:
        return BoundResult(search.upper, "optimal", "spanning trees with sub-tour cuts: no gap")
    return BoundResult(search.value, "bounded", "spanning trees with sub-tour cuts, arcs priced")
