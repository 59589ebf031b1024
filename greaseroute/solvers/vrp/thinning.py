"""The few ways of each unit that a search needs: those left out are replaced at a small loss.

A search takes the longer, the more ways there are, by the square of their number; an order of units
that is good over a few of them is good over all. Once the orders are found, the best of all ways
are taken for them, so what is left out costs the plan at most an order missed.
"""

import numpy as np
from numpy.typing import NDArray

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.vrp.layout import (
    CrewArrays,
    bounds,
    for_kernels,
    points_in_order,
    submatrix,
)
from greaseroute.solvers.vrp.problem import IntArray

Flags = NDArray[np.bool_]


@cached_njit
def most_dearer(travel: IntArray, t: int, points: IntArray, own: Flags, dearer: IntArray) -> None:
    """Fill ``dearer`` (2, n, n): how much dearer at most legs are at the first point of a pair.

    Legs of technician t in any phase of ``travel`` (phases, T, P, P), from anywhere (row 0) and to
    anywhere (row 1) but the points in ``own`` (P,); FAR where only the second can be reached.
    """
    n, size = points.shape[0], travel.shape[2]
    legs = np.empty((2, n), dtype=np.int64)
    dearer[:] = -FAR
    for k in range(travel.shape[0]):
        for p in range(size):
            if own[p]:
                continue
            for a in range(n):
                legs[0, a] = travel[k, t, p, points[a]]
                legs[1, a] = travel[k, t, points[a], p]
            for side in range(2):
                for a in range(n):
                    for b in range(n):
                        if legs[side, b] >= FAR:
                            continue
                        more = FAR if legs[side, a] >= FAR else legs[side, a] - legs[side, b]
                        dearer[side, a, b] = max(dearer[side, a, b], more)


# Tuned on a quarry of 41 units with two unlike technicians and 724 ways, mean last finish of twelve
# seeds (worst) and processor time of the search, 32,000 steps: all ways 8635 s (8672 s), 7 s;
# 1.5 s of loss 8635 s (8679 s), 3.3 s; 5 s of loss 8627 s (8630 s), 1.8 s; 10 s 8632 s (8646 s).
LOSS_MS = 5000


def with_few_ways(a: CrewArrays) -> CrewArrays:
    """The same levels with fewer ways, and the points that those need."""
    same = _firsts_alike(a)
    kept = [_needed(a, level, same) for level in range(a.level_unit.size)]
    ends = np.arange(a.way_id.size, a.way_enter.size)  # stores, starts and finishes
    way = np.concatenate([*kept, ends])
    counts = np.array([k.size for k in kept], dtype=np.int64)
    of_ends = np.diff(a.level_first[a.level_unit.size :])
    points, place = points_in_order(a.way_enter[way], a.way_leave[way])
    few = a._replace(
        level_first=bounds(np.concatenate([counts, of_ends])),
        way_enter=place[a.way_enter[way]],
        way_leave=place[a.way_leave[way]],
        way_lo=a.way_lo[way],
        way_hi=a.way_hi[way],
        way_ms=a.way_ms[:, way],
        travel=submatrix(a.travel, points),
        length=submatrix(a.length, points),
        way_id=a.way_id[way[: way.size - ends.size]],
        point_id=a.point_id[points],
    )
    return for_kernels(few)


def _firsts_alike(a: CrewArrays) -> list[int]:
    """The first of each sort of technician: who walks and works like another is not looked at."""
    first: list[int] = []
    for t in range(a.start_ms.size):
        if not any(
            np.array_equal(a.way_ms[t], a.way_ms[f])
            and np.array_equal(a.travel[:, t], a.travel[:, f])
            for f in first
        ):
            first.append(t)
    return first


def _needed(a: CrewArrays, level: int, technicians: list[int]) -> IntArray:
    """Ways of a level that stand for all of them, each for those it replaces at a small loss."""
    ways = np.arange(a.level_first[level], a.level_first[level + 1])
    if ways.size == 1:
        return ways
    stands_for = _as_open(a, ways)
    for t in technicians:
        stands_for &= _replaces(a, ways, t)
    np.fill_diagonal(stands_for, True)
    kept, left = [], np.ones(ways.size, dtype=bool)
    while left.any():
        best = int((stands_for & left).sum(axis=1).argmax())
        kept.append(best)
        left &= ~stands_for[best]
    needed: IntArray = ways[np.sort(kept)]
    return needed


def _as_open(a: CrewArrays, ways: IntArray) -> Flags:
    """(first, second) whether the first is open whenever the second is."""
    lo, hi = a.way_lo[ways], a.way_hi[ways]
    return (lo[:, None] <= lo[None, :]) & (hi[:, None] >= hi[None, :])


def _replaces(a: CrewArrays, ways: IntArray, t: int) -> Flags:
    """(first, second) whether the first can stand for the second at technician t."""
    spent = a.way_ms[t, ways]
    ends = np.stack([a.way_enter[ways], a.way_leave[ways]])
    points, place = np.unique(ends, return_inverse=True)
    place = place.reshape(ends.shape)
    own = np.zeros(a.travel.shape[-1], dtype=bool)
    own[points] = True
    dearer = np.empty((2, points.size, points.size), dtype=np.int64)
    most_dearer(a.travel, t, points, own, dearer)
    into = dearer[0][place[0][:, None], place[0][None, :]]
    out = dearer[1][place[1][:, None], place[1][None, :]]
    loss = into + out + spent[:, None] - spent[None, :]
    able = spent >= 0
    replaces: Flags = (able[:, None] & (loss <= LOSS_MS)) | ~able[None, :]
    return replaces
