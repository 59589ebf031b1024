"""Small problems, solved outright."""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE, IntArray
from greaseroute.solvers.gtsp import exact as kernel
from greaseroute.solvers.gtsp.problem import ClusterProblem

MOST_STATES = 2**21  # 16 MB of table


MOST_STEPS = 2**25  # some tens of milliseconds


def fits_exact(problem: ClusterProblem) -> bool:
    """Whether the table over subsets of clusters stays small; the start is the smallest."""
    if problem.size < 3:
        return True
    states = 2 ** min(problem.size - 1, 62) * len(problem.nodes)
    starts = int(np.diff(problem.first).min())
    return bool(states <= MOST_STATES and states * len(problem.nodes) * starts <= MOST_STEPS)


def exact_tour(problem: ClusterProblem) -> IntArray:
    """The cheapest tour (node numbers of the problem)."""
    if problem.size == 1:
        return np.zeros(1, np.int64)
    if problem.size == 2:
        return _there_and_back(problem)
    smallest = int(np.diff(problem.first).argmin())
    owner = problem.cluster_of
    turned = np.argsort((owner - smallest) % problem.size, kind="stable")
    counts = np.diff(problem.first)[(np.arange(problem.size) + smallest) % problem.size]
    first = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    tour = np.zeros(problem.size, np.int64)
    kernel.subset_tour(np.ascontiguousarray(problem.cost[np.ix_(turned, turned)]), first, tour)
    return turned[tour]


def _there_and_back(problem: ClusterProblem) -> IntArray:
    split = int(problem.first[1])
    both = problem.cost[:split, split:] + problem.cost[split:, :split].T
    a, b = np.unravel_index(int(both.argmin()), both.shape)
    return np.array([a, split + b], dtype=np.int64)


@njit(nogil=True)
def _fill(cost: IntArray, first: IntArray, source: int, best: IntArray) -> None:
    """``best[mask, v]``: least cost from ``source`` through the clusters of mask, ending in v."""
    size = first.shape[0] - 1
    best[:] = FAR
    for c in range(1, size):
        for v in range(first[c], first[c + 1]):
            best[1 << (c - 1), v] = cost[source, v]
    for mask in range(1, best.shape[0]):
        for c in range(1, size):
            if not mask >> (c - 1) & 1:
                continue
            for v in range(first[c], first[c + 1]):
                reached = best[mask, v]
                if reached == FAR:
                    continue
                for d in range(1, size):
                    if mask >> (d - 1) & 1:
                        continue
                    bigger = mask | 1 << (d - 1)
                    for w in range(first[d], first[d + 1]):
                        if reached + cost[v, w] < best[bigger, w]:
                            best[bigger, w] = reached + cost[v, w]


@njit(nogil=True)
def _walk_back(
    cost: IntArray, first: IntArray, source: int, best: IntArray, tour: IntArray
) -> None:
    """Read the tour behind ``best`` into ``tour``, from the source on."""
    size = first.shape[0] - 1
    mask, target = best.shape[0] - 1, source
    for place in range(size - 1, 0, -1):
        least, at, cluster = FAR, NOWHERE, 0
        for c in range(1, size):
            if not mask >> (c - 1) & 1:
                continue
            for v in range(first[c], first[c + 1]):
                if best[mask, v] < FAR and best[mask, v] + cost[v, target] < least:
                    least, at, cluster = best[mask, v] + cost[v, target], v, c
        tour[place] = at
        target = at
        mask &= ~(1 << (cluster - 1))
    tour[0] = source


@cached_njit
def subset_tour(cost: IntArray, first: IntArray, tour: IntArray) -> int:
    """Least tour through one node of each cluster (Held and Karp 1962, nodes for cities).

    ``first`` as in the problem, cluster 0 the start; ``tour`` (m,) is filled; the cost returned.
    """
    size = first.shape[0] - 1
    full = (1 << (size - 1)) - 1
    best = np.empty((full + 1, first[size]), np.int64)
    least = FAR
    for source in range(first[0], first[1]):
        _fill(cost, first, source, best)
        for v in range(first[1], first[size]):
            if best[full, v] < FAR and best[full, v] + cost[v, source] < least:
                least = best[full, v] + cost[v, source]
                _walk_back(cost, first, source, best, tour)
    return least
