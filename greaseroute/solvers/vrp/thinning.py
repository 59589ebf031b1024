"""The few ways of each unit that a search needs: those left out are replaced at a small loss.

A search takes the longer, the more ways there are, by the square of their number; an order of units
that is good over a few of them is good over all. Once the orders are found, the best of all ways
are taken for them, so what is left out costs the plan at most an order missed.
"""

import numpy as np

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, BoolArray, IntArray
from greaseroute.solvers.vrp.layout import (
    CLOSES,
    END_WAY,
    ENTER,
    FIRST_WAY,
    LEAVE,
    OPENS,
    WALKER,
    WORK,
    Instance,
    Layout,
    bounds,
    for_kernels,
    points_in_order,
    submatrix,
)


@cached_njit
def most_dearer(
    travel: IntArray, walker: int, points: IntArray, own: BoolArray, dearer: IntArray
) -> None:
    """Fill ``dearer`` (2, n, n): how much dearer at most legs are at the first point of a pair.

    Legs of one sort of walker in any phase of ``travel`` (phases, Y, P, P), from anywhere (row 0)
    and to anywhere (row 1) but the points in ``own`` (P,); FAR where the second alone is in reach.
    """
    n, size = points.shape[0], travel.shape[2]
    legs = np.empty((2, n), dtype=np.int64)
    dearer[:] = -FAR
    for k in range(travel.shape[0]):
        for p in range(size):
            if own[p]:
                continue
            for a in range(n):
                legs[0, a] = travel[k, walker, p, points[a]]
                legs[1, a] = travel[k, walker, points[a], p]
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


def with_few_ways(layout: Layout) -> Layout:
    """The same levels with fewer ways, and the points that those need."""
    inst, heads = layout.inst, technicians_alike(layout)
    kept = [_needed(inst, level, heads) for level in range(layout.store_level)]
    ends = np.arange(layout.way_id.size, inst.way.shape[1])  # stores, starts and finishes
    chosen = np.concatenate([*kept, ends])
    level = inst.level.copy()
    counts = level[:, END_WAY] - level[:, FIRST_WAY]
    counts[: layout.store_level] = [k.size for k in kept]
    level[:, FIRST_WAY], level[:, END_WAY] = bounds(counts)[:-1], bounds(counts)[1:]
    way = inst.way[:, chosen]
    points, place = points_in_order(way[ENTER], way[LEAVE])
    way[ENTER], way[LEAVE] = place[way[ENTER]], place[way[LEAVE]]
    few = inst._replace(
        level=level,
        way=way,
        travel=submatrix(inst.travel, points),
        length=submatrix(inst.length, points),
    )
    way_id = layout.way_id[chosen[: chosen.size - ends.size]]
    return Layout(for_kernels(few), way_id, layout.point_id[points])


def technicians_alike(layout: Layout) -> list[int]:
    """The first of each sort of technician: who walks and works like another is not in it."""
    walker, work = layout.inst.crew[:, WALKER], layout.inst.way[WORK:]
    heads: list[int] = []
    for t in range(layout.technicians):
        if not any(walker[t] == walker[h] and np.array_equal(work[t], work[h]) for h in heads):
            heads.append(t)
    return heads


def _needed(inst: Instance, level: int, technicians: list[int]) -> IntArray:
    """Ways of a level that stand for all of them, each for those it replaces at a small loss."""
    ways = np.arange(inst.level[level, FIRST_WAY], inst.level[level, END_WAY])
    if ways.size == 1:
        return ways
    stands_for = _as_open(inst, ways)
    for t in technicians:
        stands_for &= _replaces(inst, ways, t)
    np.fill_diagonal(stands_for, True)
    kept, left = [], np.ones(ways.size, dtype=bool)
    while left.any():
        best = int((stands_for & left).sum(axis=1).argmax())
        kept.append(best)
        left &= ~stands_for[best]
    needed: IntArray = ways[np.sort(kept)]
    return needed


def _as_open(inst: Instance, ways: IntArray) -> BoolArray:
    """(first, second) whether the first is open whenever the second is."""
    opens, closes = inst.way[OPENS, ways], inst.way[CLOSES, ways]
    open_too: BoolArray = (opens[:, None] <= opens[None, :]) & (closes[:, None] >= closes[None, :])
    return open_too


def _replaces(inst: Instance, ways: IntArray, t: int) -> BoolArray:
    """(first, second) whether the first can stand for the second at technician t."""
    spent = inst.way[WORK + t, ways]
    ends = inst.way[[ENTER, LEAVE]][:, ways]
    points, place = np.unique(ends, return_inverse=True)
    place = place.reshape(ends.shape)
    own = np.zeros(inst.travel.shape[-1], dtype=bool)
    own[points] = True
    dearer = np.empty((2, points.size, points.size), dtype=np.int64)
    most_dearer(inst.travel, int(inst.crew[t, WALKER]), points, own, dearer)
    into = dearer[0][place[0][:, None], place[0][None, :]]
    out = dearer[1][place[1][:, None], place[1][None, :]]
    loss = into + out + spent[:, None] - spent[None, :]
    able = spent >= 0
    replaces: BoolArray = (able[:, None] & (loss <= LOSS_MS)) | ~able[None, :]
    return replaces
