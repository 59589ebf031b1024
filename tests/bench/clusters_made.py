"""Made instances of the one-node-per-cluster problem: sites, and point sets clustered by rule."""

import numpy as np


def site(units: int, *, seed: int, ways: tuple[int, int] = (4, 12)):
    """A yard of units, each with ways in and out; costs in milliseconds.

    A way is (stand in, stand out, time inside); cost(a -> b) = walk(out of a, into b) + inside(b).
    Stands lie round a 9 m by 4 m machine, 1.2 m off; walking 1.2 m/s; cluster 0 is the store.
    """
    rng = np.random.default_rng(seed)
    spread = 40.0 * np.sqrt(units)
    middle = rng.random((units, 2)) * [spread * 1.4, spread / 1.4]
    enter, leave, inside, clusters = [np.zeros(2)], [np.zeros(2)], [0.0], [[0]]
    for at in middle:
        stands = _stands(at, rng)
        count = int(rng.integers(ways[0], ways[1] + 1))
        work = 120.0 + 60.0 * rng.random()
        clusters.append(list(range(len(inside), len(inside) + count)))
        for _ in range(count):
            a, b = stands[rng.integers(len(stands))], stands[rng.integers(len(stands))]
            round_the_unit = 26.0 - np.hypot(*(b - a))  # all stands are met on the way
            enter.append(a)
            leave.append(b)
            inside.append(work + round_the_unit / 1.2 + 6.0 * rng.random())
    walk = np.array(leave)[:, None, :] - np.array(enter)[None, :, :]
    cost = np.hypot(walk[..., 0], walk[..., 1]) / 1.2 + np.array(inside)[None, :]
    return np.rint(cost * 1000).astype(np.int64), clusters


def _stands(at, rng):
    turn = rng.random() * 2 * np.pi
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    places = [(5.7, 0), (3, 3.2), (0, 3.2), (-3, 3.2), (-5.7, 0), (-3, -3.2), (0, -3.2), (3, -3.2)]
    return [at + x * along + y * across for x, y in places]


def plane(nodes: int, *, seed: int, kind: str = "even"):
    """Points in a square clustered by the rule of Fischetti, Salazar Gonzalez and Toth (1997).

    ``kind``: ``even``, ``heaps`` (normal heaps) or ``uneven ways`` (asymmetric: up and down hill,
    and one-way detours).
    """
    rng = np.random.default_rng(seed)
    if kind == "heaps":
        heart = rng.random((max(3, nodes // 40), 2)) * 1000
        points = heart[rng.integers(len(heart), size=nodes)] + rng.normal(0, 40, (nodes, 2))
    else:
        points = rng.random((nodes, 2)) * 1000
    gap = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    if kind == "uneven ways":
        height = rng.random(nodes) * 60
        gap = gap + np.maximum(height[None] - height[:, None], 0) + rng.random((nodes, nodes)) * 20
    cost = np.rint(gap).astype(np.int64)
    return cost, farthest_first(cost, -(-nodes // 5))


def farthest_first(cost, count: int):
    """Centres: the node farthest from node 0, then each farthest from those chosen; ties early."""
    centres = [int(cost[0].argmax())]
    while len(centres) < count:
        centres.append(int(cost[:, centres].min(axis=1).argmax()))
    owner = cost[:, centres].argmin(axis=1)
    owner[centres] = np.arange(count)
    return [np.flatnonzero(owner == c).tolist() for c in range(count)]
