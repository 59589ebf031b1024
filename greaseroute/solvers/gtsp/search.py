"""Search for a short one-node-per-cluster tour: annealed, compiled."""

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.solvers.arrays import FAR, CostArray, IntArray, WordArray
from greaseroute.solvers.gtsp.kernels import annealing as kernel_anneal
from greaseroute.solvers.gtsp.kernels import ruin_recreate as kernel
from greaseroute.solvers.gtsp.problem import ClusterProblem, cluster_gaps
from greaseroute.solvers.xorshift import start_word

CHUNK_PASSES = 1000  # passes between two looks at the clock: a few milliseconds
GAP_NEIGHBOURS = 7
MOST_GAP_NEIGHBOURS = 40
REACH = 3  # times the rank that three in four joins of a short tour stay within
RUIN_NEIGHBOURS = 30
NODE_NEIGHBOURS = 20
COLD, COLD_PASSES = 0.02, 1000
BLOCK_ROWS = 500  # of the matrix sorted at once
NARROW_MAX = 2**30  # entries up to here are kept in 32 bits: half the memory traffic


@dataclass(frozen=True, slots=True)
class Tables:
    """What the kernels read: narrow matrices and neighbour lists of the clusters."""

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
class Rings:
    """(3, 3, m): the ring being annealed, the best met, a work copy; after, before, node each."""

    rings: IntArray
    state: WordArray
    cost: int

    @property
    def best(self) -> IntArray:
        """The best ring met."""
        best: IntArray = self.rings[1]
        return best


def build_tables(problem: ClusterProblem) -> Tables:
    """Matrices and neighbour lists; nearness of clusters is that of their nearest nodes."""
    size = problem.size
    fits = _span(problem) <= NARROW_MAX
    narrow: CostArray = np.ascontiguousarray(
        np.clip(problem.cost, -1, NARROW_MAX).astype(np.int32) if fits else problem.cost
    )
    back = np.ascontiguousarray(narrow.T)
    gap = cluster_gaps(problem)
    wanted = min(GAP_NEIGHBOURS, size - 1)
    return Tables(
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


def suited_tables(problem: ClusterProblem, tables: Tables, rings: Rings) -> Tables:
    """Tables with longer lists where nearness tells less of what a short tour joins.

    In the plane a tour goes on to one of the nearest few clusters; where clusters are scattered or
    costs follow no rule, it is often the twentieth nearest, and short lists cost many per cent.
    """
    gap = cluster_gaps(problem)
    after, here = rings.best[0], np.arange(problem.size)
    join = gap[here, after]
    rank_out = (gap < join[:, None]).sum(axis=1)
    rank_in = (gap[:, after] < join[None, :]).sum(axis=0)
    usual = int(np.quantile(np.minimum(rank_out, rank_in), 0.75, method="higher"))
    wanted = min(max(GAP_NEIGHBOURS, REACH * usual), MOST_GAP_NEIGHBOURS, problem.size - 1)
    if wanted <= tables.near_to.shape[1]:
        return tables
    wide_from = _nearest(np.ascontiguousarray(gap.T), wanted)
    return replace(tables, near_from=wide_from, near_to=_nearest(gap, wanted))


def told_tables(
    problem: ClusterProblem, tables: Tables, rings: Rings, *, reduced: IntArray
) -> Tables:
    """Tables whose lists go by reduced costs (n, n), which tell better what a tour may join.

    Any tour's cost changes by the same, but a dear arc that all tours must pay for is near now.
    """
    near_out = _near_nodes(reduced, problem.cluster_of)
    near_in = _near_nodes(np.ascontiguousarray(reduced.T), problem.cluster_of)
    lists = replace(tables, near_out=near_out, near_in=near_in)
    if tables.near_to.shape[1] <= GAP_NEIGHBOURS:
        return lists  # nearness tells enough: ruin and recreate keeps to it
    priced = ClusterProblem(reduced, problem.first, problem.nodes)
    gap = cluster_gaps(priced)
    lists = replace(
        lists,
        near=_nearest(np.minimum(gap, gap.T), tables.near.shape[1]),
        near_from=_nearest(np.ascontiguousarray(gap.T), GAP_NEIGHBOURS),
        near_to=_nearest(gap, GAP_NEIGHBOURS),
    )
    return suited_tables(priced, lists, rings)


def _span(problem: ClusterProblem) -> int:
    """Largest entry between two clusters; the others mean nothing and may be anything."""
    apart = problem.cluster_of[:, None] != problem.cluster_of[None, :]
    return int(problem.cost.max(initial=0, where=apart))


def _nearest(gap: IntArray, count: int) -> IntArray:
    return np.ascontiguousarray(np.argsort(gap, axis=1, kind="stable")[:, :count].astype(np.int64))


def _near_nodes(cost: CostArray, owner: IntArray) -> IntArray:
    """(n, k) the nodes of other clusters that each node reaches at least cost, nearest first."""
    count = min(NODE_NEIGHBOURS, len(owner) - int(np.bincount(owner).max()))
    near = np.empty((len(owner), count), np.int64)
    for lo in range(0, len(owner), BLOCK_ROWS):
        own = owner[lo : lo + BLOCK_ROWS, None] == owner[None, :]
        rows = np.where(own, np.iinfo(cost.dtype).max, cost[lo : lo + BLOCK_ROWS])
        part = np.sort(np.argpartition(rows, count - 1, axis=1)[:, :count], axis=1)
        rank = np.argsort(np.take_along_axis(rows, part, 1), axis=1, kind="stable")
        near[lo : lo + BLOCK_ROWS] = np.take_along_axis(part, rank, 1)
    return near


def start_rings(
    problem: ClusterProblem, tables: Tables, *, seed: int, order: IntArray | None = None
) -> Rings:
    """Rings over a cyclic order of clusters, else nearest in turn; nodes chosen exactly."""
    return rings_of(tables, _nearest_in_turn(problem) if order is None else order, seed=seed)


def _nearest_in_turn(problem: ClusterProblem) -> IntArray:
    gap = cluster_gaps(problem)
    order = np.zeros(problem.size, np.int64)
    for i in range(1, problem.size):
        gap[:, order[i - 1]] = FAR
        order[i] = np.argmin(gap[order[i - 1]])
    return order


def rings_of(tables: Tables, order: IntArray, *, seed: int) -> Rings:
    """Rings for a given cyclic order of clusters."""
    node = tables.first[:-1].copy()
    scratch = np.zeros(int(tables.first[-1]), np.int64)
    cost = kernel.choose_nodes(tables.cost, tables.first, order, node, scratch, scratch.copy())
    ring = np.zeros((3, len(order)), np.int64)
    ring[0, order], ring[1, order], ring[2] = np.roll(order, -1), np.roll(order, 1), node
    return Rings(np.stack([ring, ring, ring]), start_word(seed), int(cost))


def offer_order(tables: Tables, rings: Rings, order: IntArray, *, seed: int) -> None:
    """Anneal this order briefly and cold, and take what comes of it if it beats the best ring."""
    other = rings_of(tables, order, seed=seed)
    anneal(tables, other, done=after_passes(COLD_PASSES), heat=Heat(start=COLD, end=COLD))
    if other.cost < rings.cost:
        rings.rings[:] = other.rings[1]
        rings.cost = other.cost


def ring_nodes(ring: IntArray) -> IntArray:
    """Nodes of a ring in their order, from cluster 0 on."""
    order = [0]
    while (after := int(ring[0, order[-1]])) != 0:
        order.append(after)
    return ring[2, order]


@dataclass(frozen=True, slots=True)
class Heat:
    """Annealing: temperatures as shares of the mean leg, how much is taken out, blinks.

    For every gap neighbour beyond ``calm`` a pass moves one stretch more: where nearness tells
    little, ruin and recreate is slow on its long lists and finds little, and a stretch moved takes
    a few per cent of its time.
    """

    start: float = 1.2
    end: float = 0.08
    least: int = 2
    most: int = 20
    longest: int = 10
    blink: float = 0.1
    calm: int = 6


def _choose_best(tables: Tables, rings: Rings) -> int:
    """Choose the nodes of the best ring exactly; its cost."""
    ring = rings.best
    order = tables.owner[ring_nodes(ring)]
    scratch = np.zeros(int(tables.first[-1]), np.int64)
    return int(
        kernel.choose_nodes(tables.cost, tables.first, order, ring[2], scratch, scratch.copy())
    )


def anneal(
    tables: Tables,
    rings: Rings,
    *,
    done: Callable[[int], float],
    heat: Heat | None = None,
    on_chunk: Callable[[int], None] | None = None,
) -> int:
    """Anneal until ``done(passes)`` (share of the run behind us) reaches 1; passes made.

    ``rings`` is changed in place after every chunk, so that an interrupt loses nothing.
    """
    heat = heat or Heat()
    size = rings.best.shape[1]
    moves = max(1, tables.near_to.shape[1] - heat.calm)
    plan = np.array([CHUNK_PASSES, heat.least, min(heat.most, size // 2), heat.longest, moves])
    passes, share = 0, done(0)
    while share < 1.0:
        leg = max(1.0, rings.cost / size)  # of the best so far: the first may be many times longer
        warm = leg * heat.start * (heat.end / heat.start) ** share
        found = kernel_anneal.anneal(
            tables.cost, tables.cost_back, tables.first, tables.owner, tables.near,
            tables.near_from, tables.near_to, tables.near_out, tables.near_in, rings.rings,
            rings.state, plan, np.array([warm, heat.blink]),
        )  # fmt: skip
        if found < rings.cost:
            rings.cost = _choose_best(tables, rings)
        passes += CHUNK_PASSES
        share = done(passes)
        if on_chunk is not None:
            on_chunk(rings.cost)
    return passes


def anneal_side_by_side(
    tables: Tables,
    teams: list[Rings],
    *,
    done: Callable[[int], float],
    on_chunk: Callable[[int], None] | None = None,
) -> int:
    """One annealing per team, each in its own thread where there are several; passes of all."""
    if len(teams) == 1:
        return anneal(tables, teams[0], done=done, on_chunk=on_chunk)
    stop = threading.Event()

    def halted(passes: int) -> float:
        return 1.0 if stop.is_set() else done(passes)

    with ThreadPoolExecutor(len(teams)) as pool:
        jobs = [pool.submit(anneal, tables, team, done=halted) for team in teams]
        try:
            return sum(job.result() for job in jobs)
        finally:
            stop.set()


def until(seconds: float) -> Callable[[int], float]:
    """Share of a span of wall time that is over."""
    begin = time.perf_counter()
    return lambda passes: (time.perf_counter() - begin) / seconds if seconds > 0 else 1.0


def after_passes(count: int) -> Callable[[int], float]:
    """Share of a number of passes that is done; no clock."""
    return lambda passes: passes / count if count > 0 else 1.0
