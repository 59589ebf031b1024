"""Search for a short GTSP tour: simulated annealing over ruin and recreate, compiled.

A tour is kept as three rows over clusters (after, before, node), three times::

    tours[0]   the tour being annealed
    tours[1]   the best tour met
    tours[2]   a work copy, on which an iteration is tried
"""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np

from greaseroute.solvers.arrays import FAR, CostArray, IntArray, WordArray
from greaseroute.solvers.gtsp.kernels import annealing as kernel_anneal
from greaseroute.solvers.gtsp.kernels import ruin_recreate as kernel
from greaseroute.solvers.gtsp.problem import GtspProblem, set_distances
from greaseroute.solvers.stop import StopRule
from greaseroute.solvers.xorshift import start_word

CHUNK = 1000  # iterations between two looks at the clock: a few milliseconds
NEAR_SETS = 7
MOST_NEAR_SETS = 40
REACH = 3  # times the rank that three in four joins of a short tour stay within
RUIN_NEIGHBOURS = 30
NEAR_NODES = 20
COLD, COLD_ITERATIONS = 0.02, 1000
BLOCK_ROWS = 500  # of the matrix sorted at once
NARROW_MAX = 2**30  # entries up to here are kept in 32 bits: half the memory traffic


@dataclass(frozen=True, slots=True)
class SearchTables:
    """What the kernels read.

    Attributes
    ----------
    cost, cost_back : (n, n)
        The matrix and its transpose, in 32 bits where they suffice.
    first, owner : (m + 1,), (n,)
        First node of each cluster; cluster of each node.
    near : (m, k)
        Clusters nearest to each cluster, for ruin.
    near_from, near_to : (m, k)
        Clusters from which, to which a cluster is nearest, for recreate.
    near_out, near_in : (n, k)
        Nodes of other clusters nearest to and from each node, for segments moved.
    """

    cost: CostArray
    cost_back: CostArray
    first: IntArray
    owner: IntArray
    near: IntArray
    near_from: IntArray
    near_to: IntArray
    near_out: IntArray
    near_in: IntArray


@dataclass(slots=True)
class TourState:
    """One worker's tours (3, 3, m) as drawn above, its random state, the cost of the best."""

    tours: IntArray
    word: WordArray
    cost: int

    def tour(self) -> IntArray:
        """(m,) nodes of the best tour in their order, from cluster 0 on."""
        after, _, node = self.tours[1]
        order = [0]
        while (c := int(after[order[-1]])) != 0:
            order.append(c)
        return np.asarray(node[order], dtype=np.int64)


def build_tables(problem: GtspProblem) -> SearchTables:
    """Matrices and neighbour lists; the distance of two clusters is that of their nearest nodes."""
    size = problem.size
    # Half the memory traffic where the costs fit 32 bits; entries inside a cluster are clipped.
    fits = _span(problem) <= NARROW_MAX
    narrow: CostArray = np.ascontiguousarray(
        np.clip(problem.cost, -1, NARROW_MAX).astype(np.int32) if fits else problem.cost
    )
    back = np.ascontiguousarray(narrow.T)
    gap = set_distances(problem)
    wanted = min(NEAR_SETS, size - 1)
    return SearchTables(
        narrow,
        back,
        problem.first,
        problem.cluster_of,
        _nearest(np.minimum(gap, gap.T), min(RUIN_NEIGHBOURS, size - 1)),
        _nearest(np.ascontiguousarray(gap.T), wanted),
        _nearest(gap, wanted),
        _near_nodes(narrow, problem.cluster_of),
        _near_nodes(back, problem.cluster_of),
    )


def with_suited_lists(problem: GtspProblem, tables: SearchTables, state: TourState) -> SearchTables:
    """Tables with longer lists where nearness tells less of what a short tour joins.

    In the plane a tour goes on to one of the nearest few clusters; where clusters are scattered or
    costs follow no rule, it is often the twentieth nearest, and short lists cost many per cent.
    """
    gap = set_distances(problem)
    # The rank of each join of the tour at hand among all joins of its two clusters.
    after, here = state.tours[1, 0], np.arange(problem.size)
    join = gap[here, after]
    rank_out = (gap < join[:, None]).sum(axis=1)
    rank_in = (gap[:, after] < join[None, :]).sum(axis=0)
    # Three in four joins stay within this rank; the lists reach three times as far.
    usual = int(np.quantile(np.minimum(rank_out, rank_in), 0.75, method="higher"))
    wanted = min(max(NEAR_SETS, REACH * usual), MOST_NEAR_SETS, problem.size - 1)
    if wanted <= tables.near_to.shape[1]:
        return tables
    wide_from = _nearest(np.ascontiguousarray(gap.T), wanted)
    return replace(tables, near_from=wide_from, near_to=_nearest(gap, wanted))


def with_reduced_cost_lists(
    problem: GtspProblem, tables: SearchTables, state: TourState, *, reduced: IntArray
) -> SearchTables:
    """Tables with neighbour lists by reduced costs (n, n): a better guess at what a tour joins.

    Reduced costs change all tours by the same, but an arc that every tour must pay for is near.
    """
    # Lists of nodes, for segments moved: always by reduced costs.
    near_out = _near_nodes(reduced, problem.cluster_of)
    near_in = _near_nodes(np.ascontiguousarray(reduced.T), problem.cluster_of)
    lists = replace(tables, near_out=near_out, near_in=near_in)
    if tables.near_to.shape[1] <= NEAR_SETS:
        return lists  # nearness tells enough: ruin and recreate keeps to it
    # Lists of clusters, for ruin and recreate: only where they were long already.
    priced = GtspProblem(reduced, problem.first, problem.nodes)
    gap = set_distances(priced)
    lists = replace(
        lists,
        near=_nearest(np.minimum(gap, gap.T), tables.near.shape[1]),
        near_from=_nearest(np.ascontiguousarray(gap.T), NEAR_SETS),
        near_to=_nearest(gap, NEAR_SETS),
    )
    return with_suited_lists(priced, lists, state)


def _span(problem: GtspProblem) -> int:
    """Largest entry between two clusters; the others mean nothing and may be anything."""
    apart = problem.cluster_of[:, None] != problem.cluster_of[None, :]
    return int(problem.cost.max(initial=0, where=apart))


def _nearest(gap: IntArray, count: int) -> IntArray:
    return np.ascontiguousarray(np.argsort(gap, axis=1, kind="stable")[:, :count].astype(np.int64))


def _near_nodes(cost: CostArray, owner: IntArray) -> IntArray:
    """(n, k) the nodes of other clusters that each node reaches at least cost, nearest first."""
    count = min(NEAR_NODES, len(owner) - int(np.bincount(owner).max()))
    near = np.empty((len(owner), count), np.int64)
    for lo in range(0, len(owner), BLOCK_ROWS):
        # A block of rows: the nearest few, then these in order; equal ones by number.
        own = owner[lo : lo + BLOCK_ROWS, None] == owner[None, :]
        rows = np.where(own, np.iinfo(cost.dtype).max, cost[lo : lo + BLOCK_ROWS])
        # Sorted numbers first: argpartition's own order of equal costs is not fixed.
        part = np.sort(np.argpartition(rows, count - 1, axis=1)[:, :count], axis=1)
        rank = np.argsort(np.take_along_axis(rows, part, 1), axis=1, kind="stable")
        near[lo : lo + BLOCK_ROWS] = np.take_along_axis(part, rank, 1)
    return near


def first_state(
    problem: GtspProblem, tables: SearchTables, *, seed: int, order: IntArray | None = None
) -> TourState:
    """A state over a given cyclic order of clusters, else over the nearest in turn."""
    return state_of(tables, _nearest_in_turn(problem) if order is None else order, seed=seed)


def _nearest_in_turn(problem: GtspProblem) -> IntArray:
    gap = set_distances(problem)
    order = np.zeros(problem.size, np.int64)
    for i in range(1, problem.size):
        gap[:, order[i - 1]] = FAR
        order[i] = np.argmin(gap[order[i - 1]])
    return order


def state_of(tables: SearchTables, order: IntArray, *, seed: int) -> TourState:
    """A state whose three tours follow a cyclic order (m,) of clusters, nodes chosen exactly."""
    cost, node = _best_nodes(tables, order)
    tour = np.zeros((3, len(order)), np.int64)
    tour[0, order], tour[1, order], tour[2] = np.roll(order, -1), np.roll(order, 1), node
    return TourState(np.stack([tour, tour, tour]), start_word(seed), cost)


def _best_nodes(tables: SearchTables, order: IntArray) -> tuple[int, IntArray]:
    """The least cost of a tour in this order of clusters, and the node of each cluster (m,)."""
    node = tables.first[:-1].copy()
    scratch = np.zeros(int(tables.first[-1]), np.int64)
    cost = kernel.choose_nodes(tables.cost, tables.first, order, node, scratch, scratch.copy())
    return int(cost), node


def offer_order(tables: SearchTables, state: TourState, order: IntArray, *, seed: int) -> None:
    """Anneal this order briefly and cold, and take what comes of it if it beats the best tour."""
    other = state_of(tables, order, seed=seed)
    cold = Heat(start=COLD, end=COLD)
    anneal(tables, other, stop=StopRule.after(COLD_ITERATIONS), heat=cold)
    if other.cost < state.cost:
        state.tours[:] = other.tours[1]
        state.cost = other.cost


@dataclass(frozen=True, slots=True)
class Heat:
    """Settings of the annealing.

    Attributes
    ----------
    start, end : float
        Temperatures, in mean legs of the best tour.
    least, most, longest : int
        Clusters taken out in one ruin, and the longest string of them.
    blink : float
        Part of the places for a cluster that are overlooked.
    calm : int
        For every near cluster in the lists beyond so many, an iteration moves one more segment:
        where nearness tells little, ruin and recreate is slow on its long lists and finds little,
        and a segment moved takes a few per cent of its time.
    """

    start: float = 1.2
    end: float = 0.08
    least: int = 2
    most: int = 20
    longest: int = 10
    blink: float = 0.1
    calm: int = 6


def anneal(
    tables: SearchTables,
    state: TourState,
    *,
    stop: StopRule,
    heat: Heat | None = None,
    on_chunk: Callable[[int], None] | None = None,
) -> int:
    """Anneal until it is time to stop; the iterations made.

    ``state`` is changed in place after every chunk, so that an interrupt loses nothing.
    """
    heat = heat or Heat()
    size = state.tours.shape[2]
    # Where the lists of clusters are long, more segments are moved in each iteration.
    moves = max(1, tables.near_to.shape[1] - heat.calm)
    plan = np.array([CHUNK, heat.least, min(heat.most, size // 2), heat.longest, moves])
    made, share = 0, stop.share(0)
    while share < 1.0:
        # The temperature falls by a constant factor, from mean leg to mean leg of the best tour.
        leg = max(1.0, state.cost / size)  # of the best so far: the first may be many times longer
        warm = leg * heat.start * (heat.end / heat.start) ** share
        found = kernel_anneal.anneal(
            tables.cost, tables.cost_back, tables.first, tables.owner, tables.near,
            tables.near_from, tables.near_to, tables.near_out, tables.near_in, state.tours,
            state.word, plan, np.array([warm, heat.blink]),
        )  # fmt: skip
        # The kernel chooses nodes near what changed; here all of the best tour's are chosen.
        if found < state.cost:
            state.cost, state.tours[1, 2] = _best_nodes(tables, tables.owner[state.tour()])
        made += CHUNK
        share = stop.share(made)
        if on_chunk is not None:
            on_chunk(state.cost)
    return made


def anneal_side_by_side(
    tables: SearchTables,
    states: list[TourState],
    *,
    stop: StopRule,
    on_chunk: Callable[[int], None] | None = None,
) -> int:
    """One annealing per state, each in its own thread where there are several; iterations of all.

    Ctrl-C ends all of them.
    """
    if len(states) == 1:
        return anneal(tables, states[0], stop=stop, on_chunk=on_chunk)
    with ThreadPoolExecutor(len(states)) as pool:
        # An interrupt of the main thread must end the others at their next chunk.
        halted = _Halted(stop.iterations, stop.begin_s, stop.end_s)
        jobs = [pool.submit(anneal, tables, state, stop=halted) for state in states]
        try:
            return sum(job.result() for job in jobs)
        finally:
            halted.event.set()


@dataclass(frozen=True, slots=True)
class _Halted(StopRule):
    """A stop that another thread can bring forward."""

    event: threading.Event = field(default_factory=threading.Event)

    def share(self, done: int) -> float:
        return 1.0 if self.event.is_set() else StopRule.share(self, done)
