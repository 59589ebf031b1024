"""Small problems, solved outright."""

import numpy as np

from greaseroute.rounds import kernel_exact as kernel
from greaseroute.rounds.clusters_problem import ClusterProblem, Ints

MOST_STATES = 2**21  # 16 MB of table
MOST_STEPS = 2**25  # some tens of milliseconds


def fits_exact(problem: ClusterProblem) -> bool:
    """Whether the table over subsets of clusters stays small; the start is the smallest."""
    if problem.size < 3:
        return True
    states = 2 ** min(problem.size - 1, 62) * len(problem.nodes)
    starts = int(np.diff(problem.first).min())
    return bool(states <= MOST_STATES and states * len(problem.nodes) * starts <= MOST_STEPS)


def exact_tour(problem: ClusterProblem) -> Ints:
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


def _there_and_back(problem: ClusterProblem) -> Ints:
    split = int(problem.first[1])
    both = problem.cost[:split, split:] + problem.cost[split:, :split].T
    a, b = np.unravel_index(int(both.argmin()), both.shape)
    return np.array([a, split + b], dtype=np.int64)
