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
UNIT_BITS = 46  # the dearest arc in units; leaves a factor 64 for sums of multipliers


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


def price(
    problem: ClusterProblem, allowed: Bools, *, point: Point, cuts: list[Cut], upper: int, symmetric: bool
) -> Price | None:
    """Bound from the duals of ``point``; None where the numbers are too large to be exact.

    ``allowed`` must hold every arc that a tour cheaper than ``upper`` can use.
    """
    scale = _scale(upper)
    leave, enter, fixed = _potentials(problem, point, scale, symmetric)
    cut = 2.0 * np.maximum(np.rint(point.cut_dual * scale / 2), 0.0)
    if not _is_exact(upper * scale + abs(fixed), leave, enter, cut):
        return None
    reduced = np.zeros_like(problem.cost, dtype=float)
    fixed += _take_cuts(reduced, cut, cuts)
    if symmetric:
        reduced = (reduced + reduced.T) / 2
    reduced += np.where(allowed, problem.cost, 0) * scale
    reduced -= leave[:, None]
    reduced -= enter[None, :]
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
    scale = _scale(upper)
    leave, enter, fixed = _potentials(problem, point, scale, program.symmetric)
    dual = 2.0 * np.maximum(np.rint(point.cut_dual * scale / 2), 0.0)
    if not _is_exact(upper * scale + abs(fixed), leave, enter, dual):
        return None
    active = np.flatnonzero(dual)
    used = [program.cuts[i] for i in active]
    fixed += float(sum(dual[i] for i in active if program.cuts[i].credit < 0))
    reduced = problem.cost[tail, head] * scale - leave[tail] - enter[head]
    reduced -= dual[active] @ program.cut_weights(used, tail, head)
    reduced[~opened] = np.inf
    least = _least_out(program, pool, reduced=reduced, most=upper * scale)
    base = least[problem.cluster_of[tail]]
    if program.symmetric:
        base = np.maximum(base, least[problem.cluster_of[head]])
    slack = reduced - base
    units = fixed + least.sum() + slack[forced].sum()
    if not np.abs(least).sum() + abs(fixed) < EXACT:
        return None
    return ColumnPrice(min(upper, math.ceil(min(units / scale, upper))), slack / scale, reduced / scale)


def _least_out(program: ArcProgram, pool: ArcPool, *, reduced: Floats, most: float) -> Floats:
    """Least reduced cost out of every cluster; where nothing leads out, more than any tour."""
    owner = program.problem.cluster_of
    least = np.full(program.problem.size, np.inf)
    np.minimum.at(least, owner[pool.tail], reduced)
    if program.symmetric:
        np.minimum.at(least, owner[pool.head], reduced)
    return np.where(np.isfinite(least), least, 8 * most)


def _scale(upper: int) -> float:
    return float(2.0 ** max(0, UNIT_BITS - math.ceil(math.log2(max(upper, 2)))))


def _is_exact(base: float, leave: Floats, enter: Floats, dual: Floats) -> bool:
    size = np.abs(leave).max(initial=0.0) + np.abs(enter).max(initial=0.0) + 2 * dual.sum()
    return bool(base + size < EXACT)


def _potentials(
    problem: ClusterProblem, point: Point, scale: float, symmetric: bool
) -> tuple[Floats, Floats, float]:
    """What each node takes off arcs out of it and into it, and what a whole tour has taken off."""
    if symmetric:
        half = np.rint(point.cluster_dual * scale / 2)
        each = half[problem.cluster_of]
        return each, each, 2.0 * float(half.sum())
    node = np.rint(point.node_dual * scale)
    cluster = np.rint(point.cluster_dual * scale)
    return cluster[problem.cluster_of] - node, node, float(cluster.sum())


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
