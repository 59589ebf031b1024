"""Compiled: the cheapest way to serve everything at one unit, from one first stand."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

Int = NDArray[np.int64]
NEVER = np.int64(2**62)


@njit(cache=True)
def tour_from(
    start: int,
    enter: Int,
    move: Int,
    cover: Int,
    need: Int,
    forbid: Int,
    extra: Int,
    varied: int,
    table: Int,
) -> None:
    """Fill ``table[done, last]`` with the least time after serving ``done``, standing at ``last``.

    ``done`` is the set of groups served, as bits; sets only grow, so one ascending pass is a
    topological order. A stand is entered only if it adds a group (moves obey the triangle
    inequality), if all of its ``need`` is done and nothing of its ``forbid``. ``extra[s, g]`` is
    the time that group g costs at stand s above its least, for the groups in ``varied``.
    """
    sets, stands = table.shape
    table[:, :] = NEVER
    if need[start] != 0:
        return
    first = enter[start]
    for g in range(extra.shape[1]):
        if cover[start] & varied & (1 << g):
            first += extra[start, g]
    table[cover[start], start] = first
    for done in range(sets):
        for last in range(stands):
            now = table[done, last]
            if now == NEVER:
                continue
            for s in range(stands):
                fresh = cover[s] & ~done
                if fresh == 0 or move[last, s] < 0:
                    continue
                if (need[s] & done) != need[s] or (forbid[s] & done) != 0:
                    continue
                then = now + move[last, s]
                if fresh & varied:
                    for g in range(extra.shape[1]):
                        if fresh & varied & (1 << g):
                            then += extra[s, g]
                if then < table[done | fresh, s]:
                    table[done | fresh, s] = then
