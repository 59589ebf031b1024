"""Compiled: sets of units too heavy for those who are left, which little flow leaves.

A set's load is told by several sums, each of least times of units (L, U) and of multipliers that
count once where the set meets a group of units.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

import numpy as np
from numba import njit
from numpy.typing import NDArray

from greaseroute.rounds.problem import IntArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
STEPS = 60  # moves at most in making a set better
TRIED = 8  # units looked at in each


@njit(nogil=True)
def _move(
    u: int, sign: int, load: IntArray, met: IntArray, least: IntArray, group: Flags,
    weight: IntArray, of: IntArray,
) -> None:
    """Take unit u in (sign 1) or out (-1)."""
    for s in range(load.shape[0]):
        load[s] += sign * least[s, u]
    for g in range(met.shape[0]):
        if group[g, u]:
            if sign > 0 and met[g] == 0:
                load[of[g]] += weight[g]
            met[g] += sign
            if sign < 0 and met[g] == 0:
                load[of[g]] -= weight[g]


@njit(nogil=True)
def _heavy(load: IntArray, room: IntArray) -> bool:
    over = False
    for s in range(load.shape[0]):
        over |= load[s] > room[s]
    return over


@njit(nogil=True)
def _grown(
    both: Floats, total: Floats, chosen: Flags, load: IntArray, met: IntArray, least: IntArray,
    group: Flags, weight: IntArray, of: IntArray, room: IntArray, pull: Floats,
) -> bool:
    """Add the unit that makes least more flow leave, until the set is heavy."""
    n = chosen.shape[0]
    while not _heavy(load, room):
        best = -1
        for u in range(n):
            if not chosen[u] and (best < 0 or total[u] - pull[u] < total[best] - pull[best]):
                best = u
        if best < 0:
            return False
        chosen[best] = True
        _move(best, 1, load, met, least, group, weight, of)
        for v in range(n):
            pull[v] += both[best, v]
    return True


@njit(nogil=True)
def _polished(
    both: Floats, total: Floats, chosen: Flags, load: IntArray, met: IntArray, least: IntArray,
    group: Flags, weight: IntArray, of: IntArray, room: IntArray, pull: Floats,
) -> None:
    """Move single units in or out while less flow leaves and the set stays heavy."""
    n = chosen.shape[0]
    barred = np.zeros(n, np.int64)
    for step in range(STEPS):
        moved = False
        for _ in range(TRIED):
            best, least_change = -1, -1e-6
            for u in range(n):
                change = pull[u] - total[u] if chosen[u] else total[u] - pull[u]
                if barred[u] != step + 1 and change < least_change:
                    best, least_change = u, change
            if best < 0:
                return
            sign = -1 if chosen[best] else 1
            _move(best, sign, load, met, least, group, weight, of)
            if _heavy(load, room):
                chosen[best] = not chosen[best]
                for v in range(n):
                    pull[v] += sign * both[best, v]
                moved = True
                break
            _move(best, -sign, load, met, least, group, weight, of)
            barred[best] = step + 1
        if not moved:
            return


@njit(cache=True, nogil=True)
def heavy_sets(
    both: Floats, total: Floats, seeds: Flags, least: IntArray, group: Flags, weight: IntArray,
    of: IntArray, room: IntArray,
) -> tuple[Flags, Floats]:
    """From each seed (a set) a heavy one, and the flow that leaves it; infinite where none is.

    ``both`` is the flow between two units both ways, ``total`` what leaves each unit.
    """
    count, n = seeds.shape
    found, out = seeds.copy(), np.full(count, np.inf)
    for k in range(count):
        chosen, pull = found[k], np.zeros(n)
        load, met = np.zeros(room.shape[0], np.int64), np.zeros(weight.shape[0], np.int64)
        for u in range(n):
            if chosen[u]:
                _move(u, 1, load, met, least, group, weight, of)
                for v in range(n):
                    pull[v] += both[u, v]
        if not _grown(both, total, chosen, load, met, least, group, weight, of, room, pull):
            continue
        _polished(both, total, chosen, load, met, least, group, weight, of, room, pull)
        leaves = 0.0
        for u in range(n):
            if chosen[u]:
                leaves += total[u] - pull[u] / 2
        out[k] = leaves
    return found, out
