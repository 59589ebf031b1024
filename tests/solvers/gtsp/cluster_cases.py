"""Small made problems for the tests of cluster tours, and their answer by enumeration."""

from itertools import permutations, product

import numpy as np


def by_enumeration(cost, clusters) -> int:
    """The least closed tour, by trying every order and every choice of nodes."""
    best = None
    for order in permutations(range(1, len(clusters))):
        for nodes in product(clusters[0], *(clusters[c] for c in order)):
            total = sum(int(cost[a][b]) for a, b in zip(nodes, nodes[1:] + nodes[:1], strict=True))
            best = total if best is None else min(best, total)
    return best if len(clusters) > 1 else 0


def exact_tour(problem):
    """Nodes of a least tour, by dynamic programming over subsets of clusters (Held and Karp 1962).

    Written apart from the solvers: a table of least costs, row by set of clusters, column by node.
    """
    size, cost, first = problem.size, problem.cost, problem.first
    if size == 1:
        return np.zeros(1, np.int64)
    members = [np.arange(first[c], first[c + 1]) for c in range(size)]
    best, tour = None, None
    for source in members[0]:
        table = np.full((2 ** (size - 1), len(problem.nodes)), 2**60)
        for c in range(1, size):
            table[1 << (c - 1), members[c]] = cost[source, members[c]]
        for mask in range(1, 2 ** (size - 1)):
            for c in range(1, size):
                rest = mask ^ (1 << (c - 1))
                if mask >> (c - 1) & 1 and rest:
                    ends = (table[rest][:, None] + cost[:, members[c]]).min(axis=0)
                    table[mask, members[c]] = ends
        total = int((table[-1] + cost[:, source]).min())
        if best is None or total < best:
            best, tour = total, _read_back(table, cost, source=int(source), members=members)
    return np.array(tour)


def _read_back(table, cost, *, source, members):
    """The tour behind a table, from its source on."""
    mask, after, tour = len(table) - 1, source, []
    while mask:
        v = int((table[mask] + cost[:, after]).argmin())
        tour.append(v)
        mask ^= 1 << (next(c for c, nodes in enumerate(members) if v in nodes) - 1)
        after = v
    return [source, *tour[::-1]]


def made(seed: int, *, clusters: tuple[int, int] = (3, 10), nodes: int = 4):
    """A random problem: plain numbers, points in a plane, or a yard, by ``seed % 3``."""
    rng = np.random.default_rng(seed)
    sizes = rng.integers(1, nodes + 1, int(rng.integers(*clusters)))
    count = int(sizes.sum())
    if seed % 3 == 0:
        cost = rng.integers(0, 100, (count, count))
    elif seed % 3 == 1:
        points = rng.random((count, 2)) * 1000
        cost = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)).astype(int)
    else:
        enter = (rng.random((len(sizes), 2)) * 1000)[np.repeat(np.arange(len(sizes)), sizes)]
        leave = enter + rng.random((count, 2)) * 150
        walk = np.hypot(*(leave[:, None] - enter[None]).transpose(2, 0, 1))
        cost = (walk + rng.integers(0, 50, count)[None]).astype(int)
    members = np.split(rng.permutation(count), np.cumsum(sizes)[:-1])
    return cost, [part.tolist() for part in members]


def is_tour(tour, cost, clusters) -> bool:
    """One node of each cluster, and the cost is the sum along the closed order."""
    order = tour.order
    along = sum(int(cost[a][b]) for a, b in zip(order, order[1:] + order[:1], strict=True))
    return sorted(sum(v in part for v in order) for part in clusters) == [1] * len(clusters) and (
        along == tour.cost or len(clusters) == 1
    )
