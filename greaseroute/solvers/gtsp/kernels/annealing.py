"""Compiled simulated annealing of a GTSP tour: ruin and recreate, and or-3opt segment insertion.

Tours, matrices and numbering are those of ``ruin_recreate``. A segment moved trades places with the
one before it (the three-arc exchange that keeps directions, Or 1976)::

    a -> [line 0 .. k-1] -> [line k .. f] -> ...    becomes    a -> [k .. f] -> [0 .. k-1] -> ...

Insertion alone would have to take every cluster of a long segment out, and finds no such step where
costs follow no rule.
"""

import math

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE, CostArray, FloatArray, IntArray, WordArray
from greaseroute.solvers.gtsp.kernels.ruin_recreate import (
    choose_near,
    insert_best,
    ruin,
    shuffle,
    tour_cost,
)
from greaseroute.solvers.xorshift import below, fraction

HOPELESS = 15.0  # temperatures by which a segment move may cost more before nodes are chosen anew


@njit(nogil=True)
def _unroll(after: IntArray, a: int, wanted: int, line: IntArray) -> int:
    """Write the tour into ``line`` from the cluster after ``a`` on; return where ``wanted`` is."""
    found = NOWHERE
    # A segment is then a slice of the line.
    c = after[a]
    for i in range(after.shape[0]):
        line[i] = c
        if c == wanted:
            found = i
        c = after[c]
    return found


@njit(nogil=True)
def _best_last(
    cost: CostArray, cost_back: CostArray, node: IntArray, line: IntArray, k: int,
    word: WordArray, blink: float,
) -> tuple[int, int]:  # fmt: skip
    """Return the least extra cost of a segment from ``line[k]`` put first, and where it ends."""
    before_it, target = node[line[k - 1]], node[line[0]]
    best, at = FAR, NOWHERE
    for f in range(k, line.shape[0] - 1):
        v, w = node[line[f]], node[line[f + 1]]
        # Its end is joined to line 0, and what stood before it to what follows it.
        extra = int(cost_back[target, v]) + int(cost[before_it, w]) - int(cost[v, w])
        if extra < best and fraction(word) >= blink:
            best, at = extra, f
    return best, at


@njit(nogil=True)
def _best_first(
    cost: CostArray, cost_back: CostArray, node: IntArray, line: IntArray, f: int,
    word: WordArray, blink: float,
) -> tuple[int, int]:  # fmt: skip
    """Return the least extra cost of a segment up to ``line[f]`` put first, and where it begins."""
    source, after_it = node[line[line.shape[0] - 1]], node[line[f + 1]]
    best, at = FAR, NOWHERE
    for k in range(1, f + 1):
        v, w = node[line[k - 1]], node[line[k]]
        # The last of the line is joined to its begin, and what stood before it to what follows it.
        extra = int(cost[source, w]) + int(cost_back[after_it, v]) - int(cost[v, w])
        if extra < best and fraction(word) >= blink:
            best, at = extra, k
    return best, at


@njit(nogil=True)
def _swap_segments(
    after: IntArray, before: IntArray, line: IntArray, k: int, f: int, taken: IntArray
) -> int:
    """Let ``line[k:f + 1]`` and ``line[:k]`` trade places; ``taken``: the heads."""
    size = line.shape[0]
    # Three arcs are new: into the segment, from it to line 0, and from line k - 1 onwards.
    for i in range(3):
        left = line[size - 1] if i == 0 else line[f] if i == 1 else line[k - 1]
        right = line[k] if i == 0 else line[0] if i == 1 else line[f + 1]
        after[left], before[right] = right, left
        taken[i] = right
    return 3


@njit(nogil=True)
def _move_segment(
    cost: CostArray, cost_back: CostArray, owner: IntArray, near_out: IntArray,
    near_in: IntArray, after: IntArray, before: IntArray, node: IntArray, line: IntArray,
    taken: IntArray, word: WordArray, heat: FloatArray,
) -> int:  # fmt: skip
    """Open a random arc for one of few near nodes, move its segment there; return clusters touched.

    The near node either begins a segment that comes in or ends it; its other end is the best one.
    0 where nothing is moved.
    """
    # The arc (a, b) that is opened, and a node near one of its ends; the nearest most often.
    a = below(word, after.shape[0])
    b = after[a]
    rank = below(word, below(word, near_out.shape[1]) + 1)
    forward = below(word, 2) == 0
    w = near_out[node[a], rank] if forward else near_in[node[b], rank]
    c = owner[w]
    k = _unroll(after, a, c, line)
    if k <= 0 or k >= line.shape[0] - 1:
        return 0
    # What joining it costs, its cluster on that node, without the segment's other end.
    old, p, q, first, last = node[c], node[before[c]], node[after[c]], k, k
    extra = int(cost[node[a], w]) if forward else int(cost[w, node[b]])
    extra += int(cost[w, q]) if forward else int(cost[p, w])
    extra -= int(cost[node[a], node[b]]) + int(cost[p, old]) + int(cost[old, q])
    node[c] = w
    # The best other end; a move that costs far more than the temperature is given up at once.
    if forward:
        more, last = _best_last(cost, cost_back, node, line, k, word, heat[1])
    else:
        more, first = _best_first(cost, cost_back, node, line, k, word, heat[1])
    if first < 0 or last < 0 or extra + more > HOPELESS * heat[0]:
        node[c] = old
        return 0
    return _swap_segments(after, before, line, first, last, taken)


@njit(nogil=True)
def _copy(source: IntArray, target: IntArray) -> None:
    for part in range(3):  # by hand: slices would double the time to compile
        for c in range(source.shape[1]):
            target[part, c] = source[part, c]


# Long: its arrays are shared by both kinds of step, and the arguments take a third of it.
@cached_njit
def anneal(
    cost: CostArray, cost_back: CostArray, first: IntArray, owner: IntArray, near: IntArray,
    near_from: IntArray, near_to: IntArray, near_out: IntArray, near_in: IntArray,
    tours: IntArray, word: WordArray, plan: IntArray, heat: FloatArray,
) -> int:  # fmt: skip
    """Anneal at one temperature for ``plan[0]`` iterations; return the cost of the best tour met.

    An iteration is one ruin and recreate, then ``plan[4]`` segments moved, each kept or undone.

    Parameters
    ----------
    cost ... near_in
        As in ``SearchTables``.
    tours : (3, 3, m)
        The present tour, the best, a work copy, each as after, before, node; changed in place.
    word : (1,)
        Random state; changed.
    plan : (5,)
        Iterations, least and most clusters taken out, longest string, segments moved.
    heat : (2,)
        Temperature, and the part of the places that are overlooked (blinks).
    """
    present, best, work = tours[0], tours[1], tours[2]
    after, before, node = work[0], work[1], work[2]
    size = after.shape[0]
    taken, run = np.empty(size, np.int64), np.empty(size + 4, np.int64)
    fresh, line = np.zeros(size, np.int64), np.zeros(size, np.int64)
    reach, came = np.empty(first[size], np.int64), np.empty(first[size], np.int64)
    now, best_cost = tour_cost(cost, present[0], present[2]), tour_cost(cost, best[0], best[2])
    _copy(present, work)
    for turn in range(plan[0] * (1 + plan[4])):
        # The step, on the work copy: a segment moved, or clusters taken out and put back.
        if turn % (1 + plan[4]) > 0:
            count = _move_segment(
                cost, cost_back, owner, near_out, near_in, after, before, node, line, taken,
                word, heat,
            )  # fmt: skip
            if count == 0:
                continue
        else:
            want = plan[1] + below(word, plan[2] - plan[1] + 1)
            count = ruin(after, before, near, taken, word, want, plan[3])
            shuffle(taken, count, word)
            for i in range(count):
                insert_best(
                    cost, cost_back, first, near_from, near_to, after, before, node, taken[i],
                    word, heat[1],
                )  # fmt: skip
        # Nodes around what changed, exactly; then the cost of the whole tour.
        choose_near(cost, first, after, before, node, taken, count, fresh, run, reach, came)
        new = tour_cost(cost, after, node)
        if new < best_cost:
            best_cost = new
            _copy(work, best)
        # Metropolis: kept if not worse by more than a random part of the temperature, else undone.
        if new < now - heat[0] * math.log(fraction(word) + 1e-300):
            now = new
            _copy(work, present)
        else:
            _copy(present, work)
    return best_cost
