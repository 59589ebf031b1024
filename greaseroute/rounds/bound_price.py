"""A bound that floating point cannot spoil, from any multipliers whatever.

Multipliers are rounded to whole numbers of a small unit (a power of two), so that every reduced
cost and their sum are integers that float64 holds exactly. With u for the nodes, p >= 0 for the
cuts and r the reduced cost without the cluster rows, each tour costs at least

    sum of p over cuts with right side 1  +  sum over clusters of  min r over arcs leaving it,

since a tour leaves each cluster by exactly one arc. No arc is left out, whatever the program held.
"""

import math
from dataclasses import dataclass

import numpy as np

from greaseroute.rounds.bound_lp import ArcProgram, Bools, Cut, Floats, Point
from greaseroute.rounds.clusters_problem import ClusterProblem, Ints

EXACT = 2.0**52  # sums below this are exact in float64 with a bit to spare
UNIT_BITS = (46, 42, 38, 34)  # the dearest arc in units: the finer the better, if sums fit


@dataclass(frozen=True, slots=True)
class Price:
    """A proven bound and the reduced costs behind it, all in units of ``1 / scale``.

    ``reduced`` are the plain reduced costs; ``slack[a, b]`` is what a tour through arc (a, b) costs
    at least above ``bound_units``. Both are infinite where the arc is not allowed.
    """

    bound_units: float
    reduced: Floats
    slack: Floats
    scale: float

    @property
    def bound(self) -> int:
        """The least whole cost that is not excluded."""
        return math.ceil(self.bound_units / self.scale)


def price(program: ArcProgram, allowed: Bools, *, point: Point, upper: int) -> Price | None:
    """Bound from the duals of ``point``; None where the numbers are too large to be exact.

    ``allowed`` must hold every arc that a tour cheaper than ``upper`` can use.
    """
    problem = program.problem
    whole = _whole_multipliers(problem, point, upper=upper, symmetric=program.symmetric)
    if whole is None:
        return None
    scale = whole.scale
    reduced = np.zeros_like(problem.cost, dtype=float)
    fixed = whole.fixed + _take_cuts(reduced, whole.cut, program.cuts)
    if program.symmetric:
        reduced = (reduced + reduced.T) / 2
    reduced += np.where(allowed, problem.cost, 0) * scale
    reduced -= whole.leave[:, None]
    reduced -= whole.enter[None, :]
    reduced[~allowed] = np.inf
    least = np.minimum.reduceat(reduced.min(axis=1), problem.first[:-1])
    if not np.isfinite(least).all() or not np.abs(least).sum() + fixed < EXACT:
        return None
    slack = reduced - least[problem.cluster_of][:, None]
    return Price(float(fixed + least.sum()), reduced, slack, scale)


@dataclass(frozen=True, slots=True)
class ColumnPrice:
    """A proven bound for tours of open arcs, what each adds to it, and its plain reduced cost."""

    bound: int
    slack: Floats
    reduced: Floats


@dataclass(frozen=True, slots=True)
class ArcPool:
    """All arcs (edges where costs are symmetric) that a better tour can be made of."""

    tail: Ints
    head: Ints


def pool_price(
    program: ArcProgram, pool: ArcPool, *, point: Point, opened: Bools, forced: Bools, upper: int
) -> ColumnPrice | None:
    """As ``price``, for tours of open arcs of the pool only that use every forced one.

    A forced edge leaves one of its two clusters, no two of them the same; so each adds at least its
    reduced cost less the greater of the two clusters' least.
    """
    problem, tail, head = program.problem, pool.tail, pool.head
    whole = _whole_multipliers(problem, point, upper=upper, symmetric=program.symmetric)
    if whole is None:
        return None
    scale, dual = whole.scale, whole.cut
    active = np.flatnonzero(dual)
    used = [program.cuts[i] for i in active]
    fixed = whole.fixed + float(sum(dual[i] for i in active if program.cuts[i].credit < 0))
    reduced = problem.cost[tail, head] * scale - whole.leave[tail] - whole.enter[head]
    reduced -= dual[active] @ program.cut_weights(used, tail, head)
    reduced[~opened] = np.inf
    least = _least_out(program, pool, reduced)
    if not np.isfinite(least).all():  # nothing leads out of some cluster: no tour is left
        return ColumnPrice(upper, np.zeros_like(reduced), np.zeros_like(reduced))
    base = least[problem.cluster_of[tail]]
    if program.symmetric:
        base = np.maximum(base, least[problem.cluster_of[head]])
    slack = reduced - base
    units = fixed + least.sum() + slack[forced].sum()
    if not np.abs(least).sum() + abs(fixed) < EXACT:
        return None
    bound = math.ceil(min(units / scale, upper))
    return ColumnPrice(bound, slack / scale, reduced / scale)


def _least_out(program: ArcProgram, pool: ArcPool, reduced: Floats) -> Floats:
    """Least reduced cost out of every cluster."""
    owner = program.problem.cluster_of
    least = np.full(program.problem.size, np.inf)
    np.minimum.at(least, owner[pool.tail], reduced)
    if program.symmetric:
        np.minimum.at(least, owner[pool.head], reduced)
    return least


@dataclass(frozen=True, slots=True)
class _Multipliers:
    """Whole multipliers in units of ``1 / scale``.

    ``leave`` and ``enter`` (n,) come off arcs out of and into each node, ``fixed`` is what comes
    off a whole tour by them; ``cut`` are even, so that half of one is whole.
    """

    scale: float
    leave: Floats
    enter: Floats
    fixed: float
    cut: Floats


def _whole_multipliers(
    problem: ClusterProblem, point: Point, *, upper: int, symmetric: bool
) -> _Multipliers | None:
    """Round the duals to the finest unit whose sums stay exact; None if none does."""
    for bits in UNIT_BITS:
        scale = float(2.0 ** max(0, bits - math.ceil(math.log2(max(upper, 2)))))
        cluster = 2.0 * np.rint(point.cluster_dual * scale / 2)
        each = cluster[problem.cluster_of]
        if symmetric:
            leave = enter = each / 2
        else:
            enter = np.rint(point.node_dual * scale)
            leave = each - enter
        cut = 2.0 * np.maximum(np.rint(point.cut_dual * scale / 2), 0.0)
        size = upper * scale + np.abs(cluster).sum() + 2 * cut.sum()
        size += np.abs(leave).max(initial=0.0) + np.abs(enter).max(initial=0.0)
        if size < EXACT:
            return _Multipliers(scale, leave, enter, float(cluster.sum()), cut)
    return None


def _take_cuts(reduced: Floats, dual: Floats, cuts: list[Cut]) -> float:
    """Subtract the cuts' multipliers from the arcs they count; the sum of their right sides."""
    active = np.flatnonzero(dual)
    if not len(active):
        return 0.0
    inside = np.array([cuts[i].inside for i in active], dtype=float)
    weight = dual[active]
    reduced -= (inside * weight[:, None]).T @ (1.0 - inside)
    credit = np.array([cuts[i].credit for i in active])
    np.add.at(reduced, credit[credit >= 0], weight[credit >= 0][:, None])
    return float(weight[credit < 0].sum())
