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

from greaseroute.rounds.bound_lp import Bools, Cut, Floats, Point
from greaseroute.rounds.clusters_problem import ClusterProblem

EXACT = 2.0**52  # sums below this are exact in float64 with a bit to spare
UNIT_BITS = 46  # the dearest arc in units; leaves a factor 64 for sums of multipliers


@dataclass(frozen=True, slots=True)
class Price:
    """A proven bound and the reduced costs behind it, all in units of ``1 / scale``.

    ``reduced[a, b]`` is what a tour through arc (a, b) costs at least above ``bound_units``; it is
    infinite where the arc is not allowed.
    """

    bound_units: float
    reduced: Floats
    scale: float

    @property
    def bound(self) -> int:
        """The least whole cost that is not excluded."""
        return math.ceil(self.bound_units / self.scale)


def price(
    problem: ClusterProblem, allowed: Bools, *, point: Point, cuts: list[Cut], upper: int
) -> Price | None:
    """Bound from the duals of ``point``; None where the numbers are too large to be exact.

    ``allowed`` must hold every arc that a tour cheaper than ``upper`` can use.
    """
    scale = 2.0 ** max(0, UNIT_BITS - math.ceil(math.log2(max(upper, 2))))
    node = np.rint(point.node_dual * scale)
    cut = np.maximum(np.rint(point.cut_dual * scale), 0.0)
    if not upper * scale + 2 * np.abs(node).max(initial=0.0) + 2 * cut.sum() < EXACT:
        return None
    reduced = np.where(allowed, problem.cost, 0) * scale
    reduced += node[:, None]
    reduced -= node[None, :]
    fixed = _take_cuts(reduced, cut, cuts)
    reduced[~allowed] = np.inf
    least = np.minimum.reduceat(reduced.min(axis=1), problem.first[:-1])
    if not np.isfinite(least).all() or not np.abs(least).sum() + fixed < EXACT:
        return None
    reduced -= least[problem.cluster_of][:, None]
    return Price(float(fixed + least.sum()), reduced, scale)


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
