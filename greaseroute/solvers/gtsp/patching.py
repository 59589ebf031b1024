"""An order of clusters read from weighted arcs: the heaviest first, then the pieces patched up."""

import numpy as np

from greaseroute.solvers.arrays import NOWHERE, FloatArray, IntArray
from greaseroute.solvers.gtsp.problem import GtspProblem, set_distances


def order_from_arcs(
    problem: GtspProblem, arcs: tuple[IntArray, IntArray], weight: FloatArray
) -> IntArray:
    """Follow the heaviest arcs that fit together, and join the pieces by the cheapest arcs.

    Patching after Karp (1979).

    Parameters
    ----------
    problem : GtspProblem
    arcs : (E,), (E,)
        Tails and heads (nodes).
    weight : (E,)
        Value of each arc, for instance in the mean of the trees behind a bound.

    Returns
    -------
    (m,) cyclic order of the clusters.
    """
    pieces = _Pieces(problem.size)
    owner = problem.cluster_of
    # Heaviest first; an arc that does not fit the pieces so far is passed over.
    for e in np.argsort(-weight, kind="stable"):
        pieces.join(int(owner[arcs[0][e]]), int(owner[arcs[1][e]]))
    distance = set_distances(problem)
    # What is left are paths: joined by the cheapest arcs from an end to a start.
    ends, starts = np.flatnonzero(pieces.after < 0), np.flatnonzero(pieces.before < 0)
    between = distance[np.ix_(ends, starts)]
    for k in np.argsort(between, axis=None, kind="stable"):
        pieces.join(int(ends[k // len(starts)]), int(starts[k % len(starts)]))
    return pieces.order()


class _Pieces:
    """Paths of clusters, joined end to start until one is left."""

    def __init__(self, size: int) -> None:
        self.after = np.full(size, NOWHERE)
        self.before = np.full(size, NOWHERE)
        self._other_end = np.arange(size)  # of the path, kept at its two ends

    def join(self, c: int, d: int) -> None:
        """Let d follow c, where c ends a path and d begins another."""
        if self.after[c] >= 0 or self.before[d] >= 0 or self._other_end[c] == d:
            return
        self.after[c], self.before[d] = d, c
        # Only the two ends of the joined path need to know one another.
        start, end = self._other_end[c], self._other_end[d]
        self._other_end[start], self._other_end[end] = end, start

    def order(self) -> IntArray:
        """The path that is left, from its start to its end."""
        order = [int(np.flatnonzero(self.before < 0)[0])]
        while self.after[order[-1]] >= 0:
            order.append(int(self.after[order[-1]]))
        return np.array(order, dtype=np.int64)
