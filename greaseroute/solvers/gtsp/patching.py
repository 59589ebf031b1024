"""An order of clusters read from weighted arcs: heaviest first, and the pieces joined up."""

import numpy as np

from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.solvers.gtsp.problem import ClusterProblem, cluster_gaps

NOWHERE = -1


def order_from_arcs(
    problem: ClusterProblem, arcs: tuple[IntArray, IntArray], weight: FloatArray
) -> IntArray:
    """(m,) cyclic order that follows the heaviest arcs which fit together.

    ``arcs`` are tails and heads (nodes), ``weight`` (E,) how much speaks for each, as in the mean
    of the trees behind a bound. Pieces are joined by the cheapest arcs between them (patching,
    Karp 1979).
    """
    pieces = _Pieces(problem.size)
    owner = problem.cluster_of
    for e in np.argsort(-weight, kind="stable"):
        pieces.join(int(owner[arcs[0][e]]), int(owner[arcs[1][e]]))
    gap = cluster_gaps(problem)
    ends, starts = np.flatnonzero(pieces.after < 0), np.flatnonzero(pieces.before < 0)
    between = gap[np.ix_(ends, starts)]
    for k in np.argsort(between, axis=None, kind="stable"):
        pieces.join(int(ends[k // len(starts)]), int(starts[k % len(starts)]))
    return pieces.order()


class _Pieces:
    """Paths of clusters, joined end to start until one is left."""

    def __init__(self, size: int) -> None:
        self.after = np.full(size, NOWHERE)
        self.before = np.full(size, NOWHERE)
        self._other_end = np.arange(size)  # of the path, told at its two ends

    def join(self, c: int, d: int) -> None:
        """Let d follow c, where c ends a path and d begins another."""
        if self.after[c] >= 0 or self.before[d] >= 0 or self._other_end[c] == d:
            return
        self.after[c], self.before[d] = d, c
        start, end = self._other_end[c], self._other_end[d]
        self._other_end[start], self._other_end[end] = end, start

    def order(self) -> IntArray:
        """From the start of the path that is left to its end."""
        order = [int(np.flatnonzero(self.before < 0)[0])]
        while self.after[order[-1]] >= 0:
            order.append(int(self.after[order[-1]]))
        return np.array(order, dtype=np.int64)
