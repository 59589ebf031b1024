"""Families of made instances beyond the plane: asymmetric, tied, elongated, scattered, unequal."""

import numpy as np

from tests.bench.clusters_made import farthest_first, plane


def families(nodes: int):
    """Name, costs and clusters of each family, with about so many nodes."""
    rng = np.random.default_rng(nodes)
    for kind, make in DIRECTED.items():
        cost = np.rint(make(nodes, rng)).astype(np.int64)
        near = [part for part in farthest_first(cost + cost.T, -(-nodes // 5)) if part]
        yield f"{kind}-{nodes}", (cost, scattered(nodes, rng) if kind in LAWLESS else near)
    flat = _gaps(rng.random((nodes, 2)) * 1000)
    strip = _gaps(rng.random((nodes, 2)) * [20000, 200])
    corner = rng.integers(0, int(np.sqrt(nodes)), (nodes, 2))
    grid = np.abs(corner[:, None] - corner[None]).sum(axis=2)
    yield f"scattered-{nodes}", (flat, scattered(nodes, rng))
    yield f"unequal-{nodes}", (flat, unequal(flat, rng))
    yield f"strip-{nodes}", (strip, farthest_first(strip, nodes // 5))
    yield f"grid-{nodes}", (grid, farthest_first(grid, nodes // 5))
    for kind in ("heaps", "uneven ways"):
        yield f"{kind.replace(' ', '-')}-{nodes}", plane(nodes, seed=nodes + 1, kind=kind)


def _random(nodes, rng):
    return rng.random((nodes, nodes)) * 1000


def _closure(nodes, rng):
    """Random costs made to obey the triangle inequality."""
    table = rng.random((nodes, nodes)) * 100_000
    for k in range(nodes):
        np.minimum(table, table[:, k, None] + table[None, k, :], out=table)
    return table


def _tilted(nodes, rng):
    """Up costs twice what down costs."""
    points = rng.random((nodes, 2)) * 1000
    step = points[None] - points[:, None]
    up = step[..., 1]
    return np.abs(step[..., 0]) + np.where(up > 0, 2 * up, -up)


def _crane(nodes, rng):
    """Loads with a place to fetch and a place to bring to, as a stacker crane moves them."""
    fetch = rng.random((nodes, 2)) * 1000
    bring = fetch + rng.normal(0, 2000 / np.sqrt(nodes), (nodes, 2))
    return np.hypot(*(bring[:, None] - fetch[None]).transpose(2, 0, 1))


def _disk(nodes, rng):
    """Sectors on a turning disk: the wait until the next one passes, or the arm's way."""
    turn, track = rng.random(nodes) * 1000, rng.random(nodes) * 1000
    arm = np.abs(track[None] - track[:, None])
    return np.maximum((turn[None] - turn[:, None] - 0.7 * arm) % 1000, arm)


def _steps(nodes, rng):
    """Distances of vectors of small numbers, slightly off one way: many near ties."""
    here = rng.integers(0, 4, (nodes, 12))
    there = here + rng.integers(0, 2, (nodes, 12))
    return np.abs(there[:, None] - here[None]).sum(axis=2) * 7 + rng.integers(0, 3, (nodes, nodes))


DIRECTED = {
    "random": _random,
    "closure": _closure,
    "tilted": _tilted,
    "crane": _crane,
    "disk": _disk,
    "steps": _steps,
}
LAWLESS = ("random", "closure")  # no place to cluster by


SLACK = {  # what arcs outside the planted tour cost beyond their price; prices' spread
    "tailed": (lambda rng, n: np.rint(np.exp(rng.normal(3.0, 1.5, (n, n)))), 40),
    "tied": (lambda rng, n: rng.integers(0, 13, (n, n)), 6),
    "even": (lambda rng, n: rng.integers(1, 1001, (n, n)), 300),
}


def planted(size: int, rng, kind: str):
    """Asymmetric costs without a rule, clusters of 3 to 6 nodes, and the cost of a best tour.

    A tour is drawn, one node of each cluster. An arc (i, j) costs

        leave(cluster of i) + price(i) - price(j) + sum of toll(S) over S with i inside, j outside

    plus a slack that is 0 on the tour's arcs and at least 0 elsewhere; every S is a run of clusters
    on the drawn tour. Along any tour each cluster is left once, prices cancel out, and each S is
    left at least once, so no tour costs less than sum(leave) + sum(toll). The drawn tour leaves
    each S exactly once and has no slack: it costs just that, and no tour costs less. Raising all
    arcs by the same to make them positive raises all tours by that times the clusters.
    """
    owner = rng.permutation(np.repeat(np.arange(size), rng.integers(3, 7, size)))
    clusters = [np.flatnonzero(owner == c).tolist() for c in range(size)]
    order = rng.permutation(size)
    tour = np.array([rng.choice(clusters[c]) for c in order])
    slack, spread = SLACK[kind]
    cost = slack(rng, len(owner)).astype(np.int64)
    cost[tour, np.roll(tour, -1)] = 0
    price, leave = rng.integers(0, spread + 1, len(owner)), rng.integers(0, spread + 1, size)
    cost += leave[owner][:, None] + price[:, None] - price[None, :]
    place, least = np.argsort(order)[owner], int(leave.sum())
    for _ in range(size // 2):
        begin, length = rng.integers(size), rng.integers(2, max(3, size // 2))
        inside, toll = (place - begin) % size < length, int(rng.integers(0, spread // 2 + 1))
        cost += toll * (inside[:, None] & ~inside[None, :])
        least += toll
    apart = owner[:, None] != owner[None, :]
    lift = max(0, -int(cost[apart].min()))
    return np.where(apart, cost + lift, 0), clusters, least + lift * size


def _gaps(points):
    gap = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    return np.rint(gap).astype(np.int64)


def scattered(nodes: int, rng):
    """Clusters that have nothing to do with nearness."""
    return [part.tolist() for part in np.array_split(rng.permutation(nodes), nodes // 5)]


def unequal(cost, rng):
    """Clusters of near nodes, their sizes from 1 to a tenth of all."""
    left, clusters = np.arange(len(cost)), []
    while len(left):
        count = min(len(left), max(1, int(rng.pareto(0.8))), len(cost) // 10)
        order = np.argsort(cost[rng.choice(left), left], kind="stable")
        clusters.append(left[order[:count]].tolist())
        left = np.sort(left[order[count:]])
    return clusters
