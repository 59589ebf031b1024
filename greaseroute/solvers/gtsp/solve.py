"""The shortest closed tour through one node of each cluster, with a proven lower bound."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.gtsp import search
from greaseroute.solvers.gtsp.bound.bound import (
    BoundResult,
    BoundSearch,
    Stop,
    result_of,
    stop_after,
)
from greaseroute.solvers.gtsp.dominance import without_dominated
from greaseroute.solvers.gtsp.exact import exact_tour, fits_exact
from greaseroute.solvers.gtsp.patching import order_from_arcs
from greaseroute.solvers.gtsp.problem import ClusterProblem, check_problem

WARM_PASSES = 4000  # a first search that finds the optimum of most small sites in 20 ms
WARM_PASSES_PER_CLUSTER = 150  # or so many: the bound cuts off the more, the better its tour
SMALL, LARGE = 60, 250  # clusters
# The bound's share of the time limit, and how much of that comes before the long search: small
# problems are often closed by it; in large ones its first steps alone take seconds.
SHARES = {"small": (0.5, 0.9), "middle": (0.3, 0.5), "large": (0.4, 0.8)}

Status = Literal["optimal", "bounded", "interrupted"]
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ClusterTour:
    """A closed tour through one node of each cluster.

    Attributes
    ----------
    order : list of int
        Node numbers in the order visited; the tour goes back to the first.
    cost : int
        Sum of the costs along it.
    lower_bound : int
        No tour costs less.
    status : str
        ``optimal`` (cost equals the bound), ``bounded`` or ``interrupted``.
    what : str
        How the bound was proved.
    passes : int
        Passes the search made.
    """

    order: list[int]
    cost: int
    lower_bound: int
    status: Status
    what: str
    passes: int = 0


@dataclass(frozen=True, slots=True)
class _Budget:
    """How long to search and to prove: by clock, or by counts where ``iterations`` is given."""

    end: float
    iterations: int | None
    bound_s: float
    early_share: float

    def search(self) -> Callable[[int], float]:
        """The long search: all the time but what the bound's second part takes."""
        if self.iterations is not None:
            return search.after_passes(self.iterations)
        late = self.bound_s * (1.0 - self.early_share)
        return search.until(self.end - late - time.perf_counter())

    def early(self, problem: ClusterProblem) -> Stop:
        """The first part of the bound."""
        if self.bound_s <= 0:
            return Stop(None, 0)
        if self.iterations is not None:
            return Stop(None, round(self.early_share * stop_after(problem, None).rounds))
        left = self.end - time.perf_counter()
        return stop_after(problem, min(self.early_share * self.bound_s, left))

    def late(self, problem: ClusterProblem) -> Stop:
        """The rest of it, with the best tour in hand."""
        if self.bound_s <= 0 or self.iterations is not None:
            return Stop(None, 0 if self.bound_s <= 0 else stop_after(problem, None).rounds)
        return stop_after(problem, self.end - time.perf_counter())


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
) -> ClusterTour:
    """Short closed tour through exactly one node of each cluster, and what no tour can beat.

    Parameters
    ----------
    cost : (n, n) int array
        Cost from row to column; may be asymmetric.
    clusters : list of list of int
        Node numbers; every node in exactly one cluster.
    limit_s : float
        Wall time for search and bound together; it may end sooner, when the tour is proved best.
    seed, workers : int
        Random seed; how many searches run side by side.
    iterations : int, optional
        Search passes instead of a time limit: the same input and seed then give the same result.
    bound_s : float, optional
        How much of ``limit_s`` the bound may take: by default half for up to 60 clusters, 0.3 up
        to 250, else 0.4; 0 for a quick bound only. With ``iterations``, a fixed number of rounds
        instead. Where it closes early the time is not used up.
    start : list of int, optional
        A tour to begin with, one node of each cluster.
    on_progress : callable, optional
        Called with the best cost and the bound so far.

    Raises
    ------
    UnfitProblem
        Ragged, not integer, negative, too large; clusters empty, overlapping, leaving nodes out.
    """
    end = time.perf_counter() + limit_s
    whole = check_problem(cost, clusters)
    known = _start_order(whole, start)
    problem = without_dominated(whole)
    if fits_exact(problem):
        tour = exact_tour(problem)
        proof = BoundResult(problem.tour_cost(tour), "optimal", "dynamic programme over subsets")
        return _result(problem, tour, proof, passes=0)
    kind = "small" if problem.size <= SMALL else "large" if problem.size > LARGE else "middle"
    share, early = SHARES[kind]
    budget = _Budget(end, iterations, share * limit_s if bound_s is None else bound_s, early)
    return _search_and_prove(
        problem, budget, seeds=range(seed, seed + max(1, workers)), start=known, report=on_progress
    )


def _search_and_prove(
    problem: ClusterProblem,
    budget: _Budget,
    *,
    seeds: range,
    start: IntArray | None,
    report: Progress | None,
) -> ClusterTour:
    """A first short search, the bound for its tour, and the long search where a gap is left."""
    tables = search.build_tables(problem)
    teams = [search.start_rings(problem, tables, seed=seed, order=start) for seed in seeds]
    proof, passes, whole = None, 0, True
    try:
        warm = max(WARM_PASSES, WARM_PASSES_PER_CLUSTER * problem.size)
        passes += search.anneal(tables, teams[0], done=search.after_passes(warm))
        tables = search.suited_tables(problem, tables, teams[0])
        proof = BoundSearch(problem, search.ring_nodes(teams[0].best))
        proof.improve(budget.early(problem))
        if proof.value < proof.upper:
            _heed(problem, tables, teams[0], proof=proof, seed=seeds[0])
            reduced = proof.reduced_costs()
            if reduced is not None:
                tables = search.told_tables(problem, tables, teams[0], reduced=reduced)
            passes += search.anneal_side_by_side(
                tables, teams, done=budget.search(), on_chunk=_reporter(report, proof)
            )
            proof.take_tour(search.ring_nodes(min(teams, key=lambda team: team.cost).best))
            proof.improve(budget.late(problem))
            if proof.value < proof.upper:
                _heed(problem, tables, teams[0], proof=proof, seed=seeds[0])
    except KeyboardInterrupt:
        whole = False
    best = min(teams, key=lambda team: team.cost)
    tour = search.ring_nodes(best.best)
    if proof is not None and proof.upper < best.cost:
        tour = proof.tour
    proved = result_of(proof) if proof is not None else BoundResult(0, "bounded", "none yet")
    return _result(problem, tour, proved, passes=passes, whole=whole)


def _heed(
    problem: ClusterProblem,
    tables: search.Tables,
    rings: search.Rings,
    *,
    proof: BoundSearch,
    seed: int,
) -> None:
    """Offer the search the order that the bound's arcs tell: often best where it is tight."""
    told = proof.arcs_told()
    if told is not None:
        search.offer_order(tables, rings, order_from_arcs(problem, *told), seed=seed)


def _reporter(report: Progress | None, proof: BoundSearch) -> Callable[[int], None] | None:
    if report is None:
        return None
    return lambda cost: report(cost, min(cost, proof.value))


def _result(
    problem: ClusterProblem, tour: IntArray, proof: BoundResult, *, passes: int, whole: bool = True
) -> ClusterTour:
    cost = problem.tour_cost(tour)
    bound = min(cost, proof.value)
    status: Status = "optimal" if bound == cost else "bounded" if whole else "interrupted"
    order = [int(v) for v in problem.nodes[tour]]
    return ClusterTour(order, cost, bound, status, proof.what, passes)


def _start_order(problem: ClusterProblem, start: Sequence[int] | None) -> IntArray | None:
    """The clusters in the order of the caller's tour, checked."""
    if start is None:
        return None
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
