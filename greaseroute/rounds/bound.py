"""A proven lower bound for the one-node-per-cluster tour."""

import time
from dataclasses import dataclass
from typing import Literal

import numpy as np

from greaseroute.rounds.bound_branch import BranchSearch
from greaseroute.rounds.bound_cuts import find_cuts
from greaseroute.rounds.bound_lp import GIVEN_AWAY, ArcProgram, Bools, Point, first_arcs
from greaseroute.rounds.bound_price import ArcPool, Price, price
from greaseroute.rounds.clusters_problem import ClusterProblem, Ints, check_problem

ARCS_PER_NODE = 3
ROUNDS_BETWEEN_PRICES = 4
ROUNDS_TIMES_NODES = 120_000  # without a clock: 375 rounds for 320 nodes, some seconds
MOST_ROUNDS = 10**9
NO_LIMIT_S = 1e9
IDLE_ROUNDS = 6
MOST_BRANCH_ARCS = 60_000
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
    """The cutting-plane loop; may be resumed, and its bound is good at any moment."""

    def __init__(self, problem: ClusterProblem, tour: Ints) -> None:
        self.problem = problem
        self.upper = problem.tour_cost(tour)
        owner = problem.cluster_of
        self._allowed: Bools = (owner[:, None] != owner[None, :]) & (problem.cost <= self.upper)
        self.value = self._cheapest_exits()
        self.finished = False
        self._program: ArcProgram | None = None
        self.tour = tour
        self._tree: BranchSearch | None = None
        self._last: Price | None = None
        self._rounds = 0
        self._primal = False
        self._idle = np.zeros(0, np.int64)

    def improve(self, stop: Stop) -> None:
        """Cut, price and branch until it is time to stop or the bound meets the upper value."""
        if stop.over(self._rounds):
            return
        point = None if self._tree else self._start(stop)
        while point is not None and not self.finished and self.value < self.upper:
            if stop.over(self._rounds):
                return
            self._round(point)
            point = self._solve(stop)
        if self.finished and self.value < self.upper:
            self._branch(stop)

    def _branch(self, stop: Stop) -> None:
        """Close what is left by branching, where few enough arcs are left."""
        assert self._program is not None
        if self._tree is None:
            pool = self._cheap_arcs()
            if pool is None:
                return
            self._tree = BranchSearch(
                self._program, pool, upper=self.upper, tour=self.tour, value=self.value
            )
        self._program.set_time_limit(stop.seconds_left())
        self._tree.run(lambda branches: stop.over(self._rounds + branches))
        self.upper, self.tour, self.value = self._tree.upper, self._tree.tour, self._tree.value

    def _cheap_arcs(self) -> ArcPool | None:
        """The arcs that a better tour can use; None if too many. Others leave the program."""
        assert self._program is not None
        assert self._last is not None
        room = self.upper * self._last.scale - self._last.bound_units
        cheap = self._allowed & (self._last.slack < room)
        if self._program.symmetric:
            cheap = np.triu(cheap | cheap.T)
        if cheap.sum() > MOST_BRANCH_ARCS:
            return None
        self._program.drop_arcs(~cheap[self._program.tail, self._program.head])
        tail, head = np.nonzero(cheap)
        return ArcPool(tail.astype(np.int64), head.astype(np.int64))

    def _cheapest_exits(self) -> int:
        """Every cluster is left once: the sum of cheapest arcs out, or of cheapest in."""
        starts = self.problem.first[:-1]
        far = np.where(self._allowed, self.problem.cost, self.upper)
        leave = np.minimum.reduceat(far.min(axis=1), starts).sum()
        enter = np.minimum.reduceat(far.min(axis=0), starts).sum()
        return min(self.upper, int(max(leave, enter)))

    def _start(self, stop: Stop) -> Point | None:
        if self._program is None:
            self._program = ArcProgram(self.problem, self._allowed, relief=2 * self.upper + 1)
            self._program.add_arcs(*first_arcs(self.problem, self._allowed, self.tour))
        return self._solve(stop)

    def _solve(self, stop: Stop) -> Point | None:
        assert self._program is not None
        self._program.set_time_limit(stop.seconds_left())
        return self._program.solve(primal=self._primal)

    def _round(self, point: Point) -> None:
        assert self._program is not None
        self._rounds += 1
        cuts = find_cuts(self.problem, point)
        new_arcs = False
        if not cuts or self._rounds % ROUNDS_BETWEEN_PRICES == 0:
            new_arcs = self._price(point)
        self._drop_idle(point)
        if cuts:
            self._program.add_cuts(cuts)
            self._idle = np.concatenate([self._idle, np.zeros(len(cuts), np.int64)])
        self.finished = not cuts and not new_arcs
        self._primal = new_arcs and not cuts

    def _drop_idle(self, point: Point) -> None:
        """Take out cuts that have not mattered for some rounds; they are found again if need be."""
        assert self._program is not None
        self._idle = np.where(np.abs(point.cut_dual) > 1e-9, 0, self._idle + 1)
        old = np.flatnonzero(self._idle > IDLE_ROUNDS)
        if len(old) > 20:
            self._program.drop_cuts(old)
            self._idle = np.delete(self._idle, old)

    def _price(self, point: Point) -> bool:
        """Raise the bound; add the arcs that the program lacks; whether there were any."""
        assert self._program is not None
        priced = price(self._program, self._allowed, point=point, upper=self.upper)
        if priced is None:
            return False
        if min(self.upper, priced.bound) >= self.value:
            self.value, self._last = min(self.upper, priced.bound), priced
        tail, head = _lacking(priced, self._program.present, size=self.problem.size)
        self._program.add_arcs(tail, head)
        return len(tail) > 0


def _lacking(priced: Price, present: Bools, *, size: int) -> tuple[Ints, Ints]:
    """The arcs of most negative reduced cost that are not in the program, some per node."""
    slack = priced.reduced / priced.scale
    slack[present] = np.inf
    count = min(ARCS_PER_NODE, len(slack) - 1)
    row = np.arange(len(slack))
    chosen = np.zeros_like(present)
    chosen[row[:, None], np.argpartition(slack, count, axis=1)[:, :count]] = True
    chosen[np.argpartition(slack, count, axis=0)[:count], row[None, :]] = True
    tail, head = np.nonzero(chosen & (slack < -GIVEN_AWAY / size))
    return tail.astype(np.int64), head.astype(np.int64)


def lower_bound(
    cost: Ints,
    clusters: list[list[int]],
    *,
    tour: Ints,
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
        return BoundResult(search.upper, "optimal", "linear program with sub-tour cuts: no gap")
    return BoundResult(search.value, "bounded", "linear program with sub-tour cuts, arcs priced")
