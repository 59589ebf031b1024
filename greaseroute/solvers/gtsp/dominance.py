"""Nodes that no best tour needs, taken out exactly before anything is solved."""

import numpy as np

from greaseroute.solvers.arrays import BoolArray, IntArray
from greaseroute.solvers.excess import most_excess
from greaseroute.solvers.gtsp.problem import GtspProblem


def without_dominated(problem: GtspProblem) -> GtspProblem:
    """The problem without nodes that another of their cluster replaces at no more cost.

    Node w replaces v where the most it can cost more on the way in, plus the most it can cost more
    on the way out, is at most 0: then so it is in any tour.
    """
    if problem.size < 2:
        return problem
    kept = np.ones(len(problem.nodes), bool)
    for c in range(problem.size):
        # Only nodes of one cluster can replace one another.
        lo, hi = int(problem.first[c]), int(problem.first[c + 1])
        if hi - lo > 1:
            _mark(kept, lo, _extra(problem, lo, hi))
    return problem if kept.all() else problem.keep(kept)


def _extra(problem: GtspProblem, lo: int, hi: int) -> IntArray:
    """(k, k) the most that the row's node can cost more in place of the column's."""
    # Legs from and to all nodes of other clusters.
    away = np.r_[0:lo, hi : len(problem.nodes)]
    return most_excess(problem.cost[away, lo:hi]) + most_excess(problem.cost[lo:hi, away].T)


def _mark(kept: BoolArray, lo: int, extra: IntArray) -> None:
    """Drop each node that one still kept replaces; of equals the first stays."""
    for v in range(len(extra) - 1, -1, -1):
        others = kept[lo : lo + len(extra)].copy()
        others[v] = False
        if (extra[others, v] <= 0).any():
            kept[lo + v] = False
