"""The generalised travelling-salesman problem: checked once, clusters numbered side by side."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.arrays import FAR, LARGEST_SUM, BoolArray, IntArray


@dataclass(frozen=True, slots=True)
class GtspProblem:
    """A checked problem; node ``i`` here is ``nodes[i]`` of the caller.

    Attributes
    ----------
    cost : (n, n) int64
        Cost from row to column; entries inside a cluster mean nothing.
    first : (m + 1,) int64
        Cluster ``c`` is the run of nodes ``first[c]:first[c + 1]``.
    nodes : (n,) int64
        The caller's node numbers.
    """

    cost: IntArray
    first: IntArray
    nodes: IntArray

    @property
    def size(self) -> int:
        """Number of clusters."""
        return len(self.first) - 1

    @property
    def cluster_of(self) -> IntArray:
        """(n,) cluster of every node."""
        return np.repeat(np.arange(self.size, dtype=np.int64), np.diff(self.first))

    def tour_cost(self, tour: IntArray) -> int:
        """Cost of the closed tour through these nodes (numbers of this problem)."""
        if len(tour) < 2:
            return 0
        return int(self.cost[tour, np.roll(tour, -1)].sum())

    def keep(self, kept: BoolArray) -> "GtspProblem":
        """The problem with only these nodes; every cluster must keep one."""
        # Clusters stay in order; their runs of nodes get shorter.
        counts = np.add.reduceat(kept.astype(np.int64), self.first[:-1])
        first = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        cost = np.ascontiguousarray(self.cost[np.ix_(kept, kept)])
        return GtspProblem(cost, first, self.nodes[kept])


def check_problem(cost: object, clusters: Sequence[Sequence[int]]) -> GtspProblem:
    """Check matrix and clusters and number the nodes afresh, clusters side by side.

    Raises
    ------
    UnfitProblem
        Ragged, not integer, negative, too large; clusters empty, overlapping, out of range, or
        leaving a node out.
    """
    # First what can be read, then numbering, then the range of what counts.
    matrix = _checked_matrix(cost)
    nodes = _checked_nodes(clusters, len(matrix))
    first = np.concatenate([[0], np.cumsum([len(c) for c in clusters])]).astype(np.int64)
    inner = np.ascontiguousarray(matrix[np.ix_(nodes, nodes)])
    _check_range(inner, len(clusters))
    return GtspProblem(inner, first, nodes)


def _checked_matrix(cost: object) -> IntArray:
    # What NumPy cannot make a square of whole numbers is refused with what it found.
    try:
        matrix = np.asarray(cost)
    except ValueError as error:
        raise _unfit("cost matrix", str(error), "rows of equal length") from error
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1] or not matrix.size:
        raise _unfit("cost matrix", f"shape {matrix.shape}", "(n, n), n at least 1")
    if matrix.dtype.kind not in "iu":
        raise _unfit("cost matrix", f"numbers of type {matrix.dtype}", "integers")
    return matrix.astype(np.int64, copy=False)


def _checked_nodes(clusters: Sequence[Sequence[int]], count: int) -> IntArray:
    if not clusters:
        raise _unfit("clusters", "none", "at least one cluster")
    for number, members in enumerate(clusters):
        if not len(members):
            raise _unfit(f"cluster {number}", "empty", "at least one node")
    # All node numbers in one row, cluster by cluster.
    nodes = np.array([v for members in clusters for v in members])
    if nodes.dtype.kind not in "iu":
        raise _unfit("clusters", f"node numbers of type {nodes.dtype}", "integers")
    outside = nodes[(nodes < 0) | (nodes >= count)]
    if len(outside):
        raise _unfit("clusters", f"node {outside[0]}", f"0 to {count - 1}")
    # Each node once: neither twice nor in no cluster.
    seen = np.bincount(nodes, minlength=count)
    if seen.max() > 1:
        raise _unfit("clusters", f"node {seen.argmax()} named {seen.max()} times", "once each")
    if seen.min() < 1:
        raise _unfit("clusters", f"node {seen.argmin()} in no cluster", "every node in one")
    return nodes.astype(np.int64)


def _check_range(matrix: IntArray, size: int) -> None:
    """Check all but the diagonal, which means nothing and is set to 0 (a large matrix, no copy)."""
    # Sums of a whole tour must stay exact, also in floating point.
    np.fill_diagonal(matrix, 0)
    least, most = int(matrix.min()), int(matrix.max())
    if least < 0:
        row, column = np.argwhere(matrix < 0)[0]
        raise _unfit("cost matrix", f"{matrix[row, column]}", "costs of 0 or more")
    if most * size >= LARGEST_SUM:
        raise _unfit("cost matrix", f"{most} times {size} clusters", f"a sum below {LARGEST_SUM}")


def _unfit(record: str, value: str, limit: str) -> UnfitProblem:
    return UnfitProblem(record, value, limit=limit, next_step="mend the numbers handed over")


def set_distances(problem: GtspProblem) -> IntArray:
    """(m, m) least cost from a node of one cluster to one of another; ``FAR`` on the diagonal."""
    # Minimum over the rows of each cluster, then over its columns.
    starts = problem.first[:-1]
    gap = np.minimum.reduceat(np.minimum.reduceat(problem.cost, starts, axis=0), starts, axis=1)
    np.fill_diagonal(gap, FAR)
    return np.ascontiguousarray(gap)
