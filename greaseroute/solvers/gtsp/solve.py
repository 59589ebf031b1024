"""The generalised travelling-salesman problem: a short closed tour, and a proven lower bound.

One node of each cluster is visited. A first short search gives a tour, the bound is sought beside
it, and the long search runs where a gap is left, on neighbour lists by reduced costs. Where the
bound is tight, its own arcs often show the best order: it is offered to the search.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.gtsp import search
from greaseroute.solvers.gtsp.bound.bound import BoundSearch, stop_for
from greaseroute.solvers.gtsp.dominance import without_dominated
from greaseroute.solvers.gtsp.patching import order_from_arcs
from greaseroute.solvers.gtsp.problem import GtspProblem, check_problem
from greaseroute.solvers.result import Result, Status
from greaseroute.solvers.stop import StopRule

WARM_ITERATIONS = 4000  # a first search that finds the optimum of most small sites in 20 ms
WARM_PER_CLUSTER = 150  # or so many: the bound excludes the more, the better its tour
SMALL, LARGE = 60, 250  # clusters
# The bound's part of the time limit, and how much of that comes before the long search: small
# problems are often closed by it; in large ones its first steps alone take seconds.
PARTS = {"small": (0.5, 0.9), "middle": (0.3, 0.5), "large": (0.4, 0.8)}

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class GtspTour(Result):
    """A closed tour through one node of each cluster, with a proved bound.

    Attributes
    ----------
    order : list of int
        Node numbers in the order visited; the tour goes back to the first.
    """

    order: list[int]

    @property
    def cost(self) -> int:
        """Sum of the costs along the tour."""
        return self.value


@dataclass(frozen=True, slots=True)
class _Budget:
    """How long to search and to prove: by clock, or by counts where ``iterations`` is given."""

    end_s: float
    iterations: int | None
    bound_s: float
    early_part: float

    @classmethod
    def of(cls, limit_s: float, iterations: int | None, *, size: int) -> "_Budget":
        """The budget for so many clusters, from now on."""
        part, early = PARTS["small" if size <= SMALL else "large" if size > LARGE else "middle"]
        return cls(time.perf_counter() + limit_s, iterations, part * limit_s, early)

    def search(self) -> StopRule:
        """The long search: all the time but what the bound's second part takes."""
        if self.iterations is not None:
            return StopRule.after(self.iterations)
        late = self.bound_s * (1.0 - self.early_part)
        return StopRule.after(limit_s=self.end_s - late - time.perf_counter())

    def early(self, problem: GtspProblem) -> StopRule:
        """The first part of the bound."""
        if self.bound_s <= 0:
            return StopRule.after(0)
        if self.iterations is not None:
            whole = stop_for(problem, None).iterations or 0
            return StopRule.after(round(self.early_part * whole))
        left = self.end_s - time.perf_counter()
        return stop_for(problem, min(self.early_part * self.bound_s, left))

    def late(self, problem: GtspProblem) -> StopRule:
        """The rest of it, with the best tour in hand."""
        if self.bound_s <= 0:
            return StopRule.after(0)
        left = None if self.iterations is not None else self.end_s - time.perf_counter()
        return stop_for(problem, left)


def solve_clusters(  # noqa: PLR0917 - programs outside rely on this call
    cost: object,
    clusters: Sequence[Sequence[int]],
    limit_s: float = 10.0,
    seed: int = 1,
    workers: int = 1,
    *,
    iterations: int | None = None,
    bound_s: float | None = None,
    start: Sequence[int] | None = None,
    on_progress: Progress | None = None,
) -> GtspTour:
    """Find a short closed tour through exactly one node of each cluster, and what none can beat.

    Parameters
    ----------
    cost : (n, n) int array
        Cost from row to column; may be asymmetric.
    clusters : list of list of int
        Node numbers; every node in exactly one cluster.
    limit_s : float
        Wall seconds for search and bound together; it may end sooner, when the tour is proved best.
    seed, workers : int
        Random seed; how many searches run side by side.
    iterations : int, optional
        Iterations of the search instead of a time limit: the same input and seed then give the same
        result.
    bound_s : float, optional
        How much of ``limit_s`` the bound may take: by default half for up to 60 clusters, 0.3 up
        to 250, else 0.4; 0 for a quick bound only. With ``iterations``, a fixed number of rounds
        instead. Where it closes early the time is not used up.
    start : list of int, optional
        A tour to begin with, one node of each cluster.
    on_progress : callable, optional
        Called with the best cost and the bound so far.

    Returns
    -------
    GtspTour
        Status "interrupted" where Ctrl-C ended the search: the best tour so far.

    Raises
    ------
    UnfitProblem
        Ragged, not integer, negative, too large; clusters empty, overlapping, leaving nodes out; a
        start that is no tour of this problem.
    """
    begin_s = time.perf_counter()
    whole = check_problem(cost, clusters)
    # Nodes that another of their cluster replaces at no cost are left out from here on.
    known = _start_order(whole, start)
    problem = without_dominated(whole)
    if problem.size == 1:
        return GtspTour(0, 0, "optimal", "a single node", 0, [int(problem.nodes[0])])
    if problem.size == 2:  # there is one order, and its best nodes are found exactly
        state = search.first_state(problem, search.build_tables(problem), seed=seed)
        order = problem.nodes[state.tour()].tolist()
        return GtspTour(state.cost, state.cost, "optimal", "one order, every node", 0, order)
    limit_s -= time.perf_counter() - begin_s
    budget = _Budget.of(limit_s, iterations, size=problem.size)
    if bound_s is not None:
        budget = replace(budget, bound_s=bound_s)
    run = _Run(problem, seed=seed, workers=max(1, workers), start=known)
    return run.solved(budget, on_progress)


class _Run:
    """One run: tours of all workers, and the bound once there is a tour to judge."""

    def __init__(
        self, problem: GtspProblem, *, seed: int, workers: int, start: IntArray | None
    ) -> None:
        self._problem, self._seed = problem, seed
        self._tables = search.build_tables(problem)
        # Each worker begins from the same order with random numbers of its own.
        self._states = [
            search.first_state(problem, self._tables, seed=seed + k, order=start)
            for k in range(workers)
        ]
        self._bound: BoundSearch | None = None
        self._iterations = 0

    def solved(self, budget: _Budget, report: Progress | None) -> GtspTour:
        """Search and prove; the best tour so far where Ctrl-C comes in between."""
        try:
            self._search_and_prove(budget, report)
        except KeyboardInterrupt:
            return self._result(interrupted=True)
        return self._result(interrupted=False)

    def _search_and_prove(self, budget: _Budget, report: Progress | None) -> None:
        """A first short search, the bound for its tour, the long search where a gap is left."""
        problem, states = self._problem, self._states
        # A good tour first: the bound excludes more arcs, the better it is.
        warm = StopRule.after(max(WARM_ITERATIONS, WARM_PER_CLUSTER * problem.size))
        self._iterations += search.anneal(self._tables, states[0], stop=warm)
        self._tables = search.with_suited_lists(problem, self._tables, states[0])
        # The bound: small problems are often closed here.
        bound = self._bound = BoundSearch(problem, states[0].tour())
        bound.improve(budget.early(problem))
        if bound.value < bound.upper:
            self._offer_bound_tour(bound)
            # The long search, on lists that know what a tour can hardly avoid.
            reduced = bound.reduced_costs()
            if reduced is not None:
                self._tables = search.with_reduced_cost_lists(
                    problem, self._tables, states[0], reduced=reduced
                )
            self._iterations += search.anneal_side_by_side(
                self._tables, states, stop=budget.search(), on_chunk=_reporter(report, bound)
            )
            # The rest of the bound, beside the best tour.
            bound.take_tour(self._best().tour())
            bound.improve(budget.late(problem))
            if bound.value < bound.upper:
                self._offer_bound_tour(bound)

    def _offer_bound_tour(self, bound: BoundSearch) -> None:
        """Offer the first worker the order in which the bound's arcs join the clusters."""
        support = bound.support_arcs()
        if support is not None:
            order = order_from_arcs(self._problem, *support)
            search.offer_order(self._tables, self._states[0], order, seed=self._seed)

    def _best(self) -> search.TourState:
        return min(self._states, key=lambda state: state.cost)

    def _result(self, *, interrupted: bool) -> GtspTour:
        tour, bound, what = self._best().tour(), 0, "none yet"
        # Branch and cut may have found a shorter tour than the search.
        if self._bound is not None:
            if self._bound.upper < self._best().cost:
                tour = self._bound.tour
            proved = self._bound.result()
            bound, what = proved.lower_bound, proved.what
        cost = self._problem.tour_cost(tour)
        bound = min(cost, bound)
        status: Status = "interrupted" if interrupted else "bounded"
        order = [int(v) for v in self._problem.nodes[tour]]
        return GtspTour(
            cost, bound, "optimal" if bound == cost else status, what, self._iterations, order
        )


def _reporter(report: Progress | None, bound: BoundSearch) -> Callable[[int], None] | None:
    if report is None:
        return None
    return lambda cost: report(cost, min(cost, bound.value))


def _start_order(problem: GtspProblem, start: Sequence[int] | None) -> IntArray | None:
    """The clusters in the order of the caller's tour, checked."""
    if start is None:
        return None
    # The caller's numbers, as numbers of the problem; strangers are named in the refusal.
    place = {int(node): i for i, node in enumerate(problem.nodes)}
    strange = [v for v in start if v not in place]
    tour = np.array([place[v] for v in start if v in place], dtype=np.int64)
    met = np.bincount(problem.cluster_of[tour], minlength=problem.size)
    if strange or len(tour) != problem.size or met.max(initial=0) > 1:
        found = f"node {strange[0]}" if strange else f"{len(tour)} nodes in {(met > 0).sum()}"
        raise UnfitProblem(
            "start tour",
            found,
            limit=f"one node of each of {problem.size} clusters",
            next_step="hand over a tour of this problem or none",
        )
    return problem.cluster_of[tour]
