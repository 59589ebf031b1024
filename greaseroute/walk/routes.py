"""Cheapest ways between points over a sight: a graph search, free of any meaning of cost."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from greaseroute.walk.arrays import Floats, Ints, Nodes
from greaseroute.walk.sight import Sight, SpotSight

PART = 16  # sources searched in one go by one thread: some hundredths of a second


@dataclass(frozen=True, slots=True)
class LinkCosts:
    """Cost of every link: between corners, out of points, into points, point to point.

    ``corner_after`` and ``spot_after`` are the ranges of links that may follow each link.
    """

    corner: Floats
    out: Floats
    into: Floats
    pair: Floats
    corner_after: Ints
    spot_after: Ints


@dataclass(frozen=True, slots=True)
class Routes:
    """Cheapest ways from some points to some others.

    Attributes
    ----------
    cost, length_m : (m, n) float arrays, infinity where there is no way
    last : (m, n) int array, the corner before the goal, -1 for a straight way
    trees : (m, C) int array, for each source the corner before each corner, -1 for the source

    All but ``cost`` are empty unless asked for.
    """

    cost: Floats
    length_m: Floats
    last: Nodes
    trees: Nodes

    def corners(self, i: int, j: int) -> list[int]:
        """Corners passed from source i to goal j, in walking order."""
        way = [int(self.last[i, j])]
        while way[-1] >= 0:
            way.append(int(self.trees[i, way[-1]]))
        return way[-2::-1]


def pair_lengths(spots: SpotSight) -> Floats:
    """Lengths in metres of the straight lines between points that see each other."""
    a, b = spots.pairs[:, 0], spots.pairs[:, 1]
    length: Floats = np.hypot(*(spots.xy[b] - spots.xy[a]).T)
    return length


def plain_costs(sight: Sight, spots: SpotSight) -> LinkCosts:
    """Costs that are the lengths in metres."""
    return LinkCosts(
        sight.links.length_m, spots.length_m, spots.length_m, pair_lengths(spots),
        sight.links.after, spots.after,
    )  # fmt: skip


def _rows(spots: SpotSight, points: Ints) -> tuple[Ints, Ints]:
    """CSR of the links of chosen points: first, and indices into the link arrays."""
    size = spots.first[points + 1] - spots.first[points]
    first = np.r_[0, np.cumsum(size)].astype(np.int64)
    index = np.repeat(spots.first[points] - first[:-1], size) + np.arange(first[-1])
    return first, index.astype(np.int64)


def _direct(
    spots: SpotSight, value: Floats, *, sources: Ints, goals: Ints, order: Floats | None = None
) -> Floats:
    """Values of straight ways (the one cheapest by ``order``), infinity where there is none."""
    row, column = np.full((2, len(spots.xy)), -1)
    row[sources], column[goals] = np.arange(len(sources)), np.arange(len(goals))
    a, b = row[spots.pairs[:, 0]], column[spots.pairs[:, 1]]
    known = np.flatnonzero((a >= 0) & (b >= 0))
    rank = value if order is None else order
    known = known[np.argsort(-rank[known], kind="stable")]  # the cheapest is written last
    out = np.full((len(sources), len(goals)), np.inf)
    out[a[known], b[known]] = value[known]
    same = np.flatnonzero(spots.free[sources] & (column[sources] >= 0))
    out[same, column[sources[same]]] = 0.0
    return out


def find_routes(
    sight: Sight, spots: SpotSight, costs: LinkCosts, *, sources: Ints, goals: Ints,
    with_ways: bool = False,
) -> Routes:  # fmt: skip
    """Cheapest ways from each source to each goal (both numbers of points in ``spots``)."""
    from greaseroute.walk.kernel_paths import all_rows

    size = len(sources), len(goals)
    nodes = len(sight.corners.table)
    cost = _direct(spots, costs.pair, sources=sources, goals=goals)
    last = np.full(size if with_ways else (0, 0), -1, np.int32)
    trees = np.full((len(sources), nodes) if with_ways else (0, 0), -1, np.int32)
    length = np.zeros((0, 0))
    if with_ways:
        length = _direct(spots, pair_lengths(spots), sources=sources, goals=goals, order=costs.pair)
    first, out = _rows(spots, sources)
    goal_first, into = _rows(spots, goals)

    leaving = spots.corner[out], costs.out[out], spots.length_m[out], costs.spot_after[out]
    links = sight.links.head, costs.corner, sight.links.length_m, costs.corner_after
    arriving = spots.corner[into], costs.into[into], spots.length_m[into]

    def part(begin: int) -> None:
        rows = slice(begin, begin + PART)
        all_rows(
            first[begin : begin + PART + 1], *leaving, *links, goal_first, *arriving, nodes,
            cost[rows], length[rows], last[rows], trees[rows],
        )  # fmt: skip

    _in_threads(part, range(0, len(sources), PART))
    return Routes(cost, length, last, trees)


def _in_threads(part: Callable[[int], None], begins: range) -> None:
    """Parts that touch nothing in common, side by side; broken off, no further one is begun."""
    workers = min(len(begins), os.cpu_count() or 1)
    if workers < 2:
        for begin in begins:
            part(begin)
        return
    pool = ThreadPoolExecutor(workers)
    try:
        list(pool.map(part, begins))
    finally:
        pool.shutdown(cancel_futures=True)
