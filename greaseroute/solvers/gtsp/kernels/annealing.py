"""Compiled annealing of a ring of clusters: ruin and recreate, and stretches moved unreversed.

Rings, matrices and numbering are those of ``kernel_clusters``. A stretch moved trades places with
the one before it (the three-arc exchange that keeps directions, Or 1976): insertion alone would
have to take every cluster of a long stretch out, and finds no such step where costs follow no rule.
"""

import math

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE, CostArray, FloatArray, IntArray, WordArray
from greaseroute.solvers.gtsp.kernels.ruin_recreate import (
    choose_near,
    insert_best,
    ring_cost,
    ruin,
    shuffle,
)
from greaseroute.solvers.xorshift import below, fraction

HOPELESS = 15.0  # temperatures by which a stretch moved may cost more before nodes are chosen anew


@njit(nogil=True)
def _unroll(after: IntArray, a: int, wanted: int, line: IntArray) -> int:
    """Write the ring into ``line`` from the cluster after ``a`` on; where ``wanted`` stands."""
    found = NOWHERE
    c = after[a]
    for i in range(after.shape[0]):
        line[i] = c
        if c == wanted:
            found = i
        c = after[c]
    return found


@njit(nogil=True)
def _best_last(
    cost: CostArray, cost_back: CostArray, node: IntArray, line: IntArray, k: int, state: WordArray,
    blink: float,
) -> tuple[int, int]:  # fmt: skip
    """Where a stretch from ``line[k]`` on best ends, to go before ``line[0]``; what it costs."""
    before_it, target = node[line[k - 1]], node[line[0]]
    best, at = FAR, NOWHERE
    for f in range(k, line.shape[0] - 1):
        v, w = node[line[f]], node[line[f + 1]]
        extra = int(cost_back[target, v]) + int(cost[before_it, w]) - int(cost[v, w])
        if extra < best and fraction(state) >= blink:
            best, at = extra, f
    return best, at


@njit(nogil=True)
def _best_first(
    cost: CostArray, cost_back: CostArray, node: IntArray, line: IntArray, f: int, state: WordArray,
    blink: float,
) -> tuple[int, int]:  # fmt: skip
    """Where a stretch up to ``line[f]`` best begins, to go after the last of the line."""
    source, after_it = node[line[line.shape[0] - 1]], node[line[f + 1]]
    best, at = FAR, NOWHERE
    for k in range(1, f + 1):
        v, w = node[line[k - 1]], node[line[k]]
        extra = int(cost[source, w]) + int(cost_back[after_it, v]) - int(cost[v, w])
        if extra < best and fraction(state) >= blink:
            best, at = extra, k
    return best, at


@njit(nogil=True)
def _swap_stretches(
    after: IntArray, before: IntArray, line: IntArray, k: int, f: int, taken: IntArray
) -> int:
    """Let ``line[k:f + 1]`` and ``line[:k]`` trade places; ``taken``: what has a new one before."""
    size = line.shape[0]
    for i in range(3):
        left = line[size - 1] if i == 0 else line[f] if i == 1 else line[k - 1]
        right = line[k] if i == 0 else line[0] if i == 1 else line[f + 1]
        after[left], before[right] = right, left
        taken[i] = right
    return 3


@njit(nogil=True)
def _move_stretch(
    cost: CostArray, cost_back: CostArray, owner: IntArray, near_out: IntArray, near_in: IntArray,
    after: IntArray, before: IntArray, node: IntArray, line: IntArray, taken: IntArray,
    state: WordArray, heat: FloatArray,
) -> int:  # fmt: skip
    """Open a random arc for one of few near nodes, move its stretch there; clusters touched, or 0.

    The near node either begins a stretch that comes in or ends it; its other end is the best one.
    """
    a = below(state, after.shape[0])
    b = after[a]
    rank = below(state, below(state, near_out.shape[1]) + 1)  # the nearest most often
    forward = below(state, 2) == 0
    w = near_out[node[a], rank] if forward else near_in[node[b], rank]
    c = owner[w]
    k = _unroll(after, a, c, line)
    if k <= 0 or k >= line.shape[0] - 1:
        return 0
    old, p, q, first, last = node[c], node[before[c]], node[after[c]], k, k
    extra = int(cost[node[a], w]) if forward else int(cost[w, node[b]])
    extra += int(cost[w, q]) if forward else int(cost[p, w])
    extra -= int(cost[node[a], node[b]]) + int(cost[p, old]) + int(cost[old, q])
    node[c] = w
    if forward:
        more, last = _best_last(cost, cost_back, node, line, k, state, heat[1])
    else:
        more, first = _best_first(cost, cost_back, node, line, k, state, heat[1])
    if first < 0 or last < 0 or extra + more > HOPELESS * heat[0]:
        node[c] = old
        return 0
    return _swap_stretches(after, before, line, first, last, taken)


@njit(nogil=True)
def _copy(source: IntArray, target: IntArray) -> None:
    for part in range(3):  # by hand: slices would double the time to compile
        for c in range(source.shape[1]):
            target[part, c] = source[part, c]


# Long: its arrays are shared by both kinds of step, and the arguments take a third of it.
@cached_njit
def anneal(
    cost: CostArray, cost_back: CostArray, first: IntArray, owner: IntArray, near: IntArray,
    near_from: IntArray, near_to: IntArray, near_out: IntArray, near_in: IntArray, rings: IntArray,
    state: WordArray, plan: IntArray, heat: FloatArray,
) -> int:  # fmt: skip
    """Anneal at one temperature for ``plan[0]`` passes; the cost of the best ring met.

    A pass is one ruin and recreate, then ``plan[4]`` stretches moved, each kept or undone.

    ``rings`` (3, 3, clusters) holds the present ring, the best and a work copy, each as after,
    before, node; it is changed in place. ``plan`` is passes, least and most clusters taken out,
    longest string, stretches moved; ``heat`` is the temperature and the share of gaps overlooked.
    """
    ring, best, work = rings[0], rings[1], rings[2]
    after, before, node = work[0], work[1], work[2]
    size = after.shape[0]
    taken, run = np.empty(size, np.int64), np.empty(size + 4, np.int64)
    fresh, line = np.zeros(size, np.int64), np.zeros(size, np.int64)
    reach, came = np.empty(first[size], np.int64), np.empty(first[size], np.int64)
    now, best_cost = ring_cost(cost, ring[0], ring[2]), ring_cost(cost, best[0], best[2])
    _copy(ring, work)
    for turn in range(plan[0] * (1 + plan[4])):
        if turn % (1 + plan[4]) > 0:
            count = _move_stretch(
                cost, cost_back, owner, near_out, near_in, after, before, node, line, taken,
                state, heat,
            )  # fmt: skip
            if count == 0:
                continue
        else:
            want = plan[1] + below(state, plan[2] - plan[1] + 1)
            count = ruin(after, before, near, taken, state, want, plan[3])
            shuffle(taken, count, state)
            for i in range(count):
                insert_best(
                    cost, cost_back, first, near_from, near_to, after, before, node, taken[i],
                    state, heat[1],
                )  # fmt: skip
        choose_near(cost, first, after, before, node, taken, count, fresh, run, reach, came)
        new = ring_cost(cost, after, node)
        if new < best_cost:
            best_cost = new
            _copy(work, best)
        if new < now - heat[0] * math.log(fraction(state) + 1e-300):
            now = new
            _copy(work, ring)
        else:
            _copy(ring, work)
    return best_cost
