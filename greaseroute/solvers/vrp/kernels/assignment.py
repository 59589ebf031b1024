"""Compiled: who visits what so that no tariff exceeds what its technician has, by annealing.

Tables: ``rows`` (T + 1,) the first tariff of each technician, ``fixed``, ``store`` (F,), ``each``
(units, F); sets by unit (``unit_first``, ``unit_set``), their ``set_owner``, and their weights by
tariff (``set_first``, ``set_row``, ``set_weight``); ``strokes`` (T, units, G), and of bags
``cartridge``, ``left`` (T, G), ``held``, ``full`` (T,).
"""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import BoolArray, IntArray, WordArray
from greaseroute.solvers.xorshift import below, fraction

COOLED = 0.02  # share of the first heat that is left at the end


@njit(nogil=True)
def _put(
    unit: int,
    t: int,
    sign: int,
    rows: IntArray,
    each: IntArray,
    sets: tuple[IntArray, IntArray, IntArray, IntArray, IntArray, IntArray],
    strokes: IntArray,
    count: IntArray,
    total: IntArray,
    load: IntArray,
) -> None:
    """Give a unit to technician t (sign 1) or take it away (-1)."""
    unit_first, unit_set, set_owner, set_first, set_row, set_weight = sets
    for f in range(rows[t], rows[t + 1]):
        total[f] += sign * each[unit, f]
    for g in range(load.shape[1]):
        load[t, g] += sign * strokes[t, unit, g]
    for i in range(unit_first[unit], unit_first[unit + 1]):
        k = unit_set[i]
        if set_owner[k] != t:
            continue
        count[k] += sign
        if (sign > 0 and count[k] == 1) or (sign < 0 and count[k] == 0):
            for e in range(set_first[k], set_first[k + 1]):
                total[set_row[e]] += sign * set_weight[e]


@njit(nogil=True)
def _worst(
    rows: IntArray,
    store: IntArray,
    room: IntArray,
    bags: tuple[IntArray, IntArray, IntArray, IntArray],
    total: IntArray,
    load: IntArray,
    visits: IntArray,
) -> int:
    """By how much some tariff exceeds its technician's room at most; store visits as needed."""
    cartridge, left, held, full = bags
    for t in range(room.size):
        need = -held[t]
        for g in range(load.shape[1]):
            if load[t, g] > left[t, g]:
                need += (load[t, g] - left[t, g] + cartridge[t, g] - 1) // cartridge[t, g]
        visits[t] = 0 if need <= 0 or full[t] == 0 else (need + full[t] - 1) // full[t]
    worst = np.int64(-(2**62))
    for t in range(room.size):
        for f in range(rows[t], rows[t + 1]):
            worst = max(worst, total[f] + store[f] * visits[t] - room[t])
    return int(worst)


# Long: one annealing loop over the tables; its parts are above.
@cached_njit
def even_out(
    share: IntArray,
    may: BoolArray,
    movable: IntArray,
    room: IntArray,
    fixed: IntArray,
    rows: IntArray,
    each: IntArray,
    store: IntArray,
    sets: tuple[IntArray, IntArray, IntArray, IntArray, IntArray, IntArray],
    strokes: IntArray,
    bags: tuple[IntArray, IntArray, IntArray, IntArray],
    steps: int,
    heat: float,
    word: WordArray,
) -> int:
    """Change ``share`` (units,) to the best found; by how much its worst tariff exceeds its room.

    One unit goes to another technician, or two change places; ends at once where nothing exceeds.
    """
    units, crew = may.shape
    total, load = fixed.copy(), np.zeros((crew, strokes.shape[2]), np.int64)
    count, visits = np.zeros(sets[2].size, np.int64), np.zeros(crew, np.int64)
    for u in range(units):
        if share[u] >= 0:
            _put(u, share[u], 1, rows, each, sets, strokes, count, total, load)
    now = _worst(rows, store, room, bags, total, load, visits)
    best, kept = now, share.copy()
    moved, before = np.empty(2, np.int64), np.empty(2, np.int64)
    cooling = COOLED ** (1.0 / steps)
    for _ in range(steps):
        if best <= 0 or movable.size == 0:
            break
        moved[0] = movable[below(word, movable.size)]
        moved[1] = movable[below(word, movable.size)]
        a, b = share[moved[0]], share[moved[1]]
        pair = a != b and may[moved[0], b] and may[moved[1], a] and fraction(word) < 0.5
        to = b if pair else below(word, crew)
        if to == a or not may[moved[0], to]:
            continue
        for k in range(2 if pair else 1):
            before[k] = share[moved[k]]
            share[moved[k]] = to if k == 0 else a
            _put(moved[k], before[k], -1, rows, each, sets, strokes, count, total, load)
            _put(moved[k], share[moved[k]], 1, rows, each, sets, strokes, count, total, load)
        value = _worst(rows, store, room, bags, total, load, visits)
        if value < best:
            best = value
            kept[:] = share
        if value <= now or fraction(word) < np.exp((now - value) / heat):
            now = value
        else:
            for k in range(2 if pair else 1):
                _put(moved[k], share[moved[k]], -1, rows, each, sets, strokes, count, total, load)
                share[moved[k]] = before[k]
                _put(moved[k], before[k], 1, rows, each, sets, strokes, count, total, load)
        heat *= cooling
    share[:] = kept
    return best
