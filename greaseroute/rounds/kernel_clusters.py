"""Compiled kernels of the one-node-per-cluster tour: ruin, recreate, node choice, annealing.

Nodes are numbered so that a cluster is the run ``first[c]:first[c + 1]``; ``cost_back`` is the
transposed matrix, so that the costs into and out of all nodes of a cluster both lie side by side.
A tour is a ring of clusters (``after``, ``before``) with the chosen ``node`` of each; a cluster
that is taken out has ``after[c] == -1``.
"""

import math
from typing import Any, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from greaseroute.rounds.clusters_problem import Ints
from greaseroute.rounds.kernel_crew import WordArray, below, fraction

FAR = cast(int, np.int64(2**62))
ZERO, ONE, NOWHERE = cast(tuple[int, int, int], (np.int64(0), np.int64(1), np.int64(-1)))
ANYWHERE = 4  # one ruin in so many is of strings all over the ring
CALM = 3  # clusters left as they are at either end of a stretch whose nodes are chosen again

Costs = NDArray[np.signedinteger[Any]]  # 32 bits where they suffice, else 64


@njit(nogil=True)
def _ring_cost(cost: Costs, after: Ints, node: Ints) -> int:
    """Cost of the closed ring that starts in any cluster still in it."""
    start = 0
    while after[start] < 0:
        start += 1
    total = ZERO
    c = start
    while True:
        d = after[c]
        total += cost[node[c], node[d]]
        c = d
        if c == start:
            return int(total)


@njit(nogil=True)
def _take_out(after: Ints, before: Ints, c: int) -> None:
    p, q = before[c], after[c]
    after[p] = q
    before[q] = p
    after[c] = -1


@njit(nogil=True)
def _ruin(
    after: Ints, before: Ints, near: Ints, taken: Ints, state: WordArray, want: int, longest: int
) -> int:
    """Take out strings of the ring near a random cluster; the number taken, ``taken`` filled.

    Strings around neighbouring clusters, after Christiaens and Vanden Berghe (2020), here with all
    strings on the one ring; one time in four strings anywhere, which alone can change two places
    at once that nearness does not join.
    """
    size = after.shape[0]
    seed, anywhere = below(state, size), below(state, ANYWHERE) == 0
    count, k = 0, -1
    while count < want and k < near.shape[1]:
        if anywhere:
            c = below(state, size)
        else:
            c = seed if k < 0 else near[seed, k]
            k += 1
        if after[c] < 0:
            continue
        length = min(1 + below(state, longest), want - count)
        for _ in range(below(state, length)):
            c = before[c]
        for _ in range(length):
            d = after[c]
            _take_out(after, before, c)
            taken[count] = c
            count += 1
            c = d
    return count


@njit(nogil=True)
def _shuffle(taken: Ints, count: int, state: WordArray) -> None:
    for i in range(count - 1, 0, -1):
        j = below(state, i + 1)
        taken[i], taken[j] = taken[j], taken[i]


@njit(nogil=True)
def _best_in_gap(
    cost: Costs, cost_back: Costs, lo: int, hi: int, p: int, q: int
) -> tuple[int, int]:
    """Least detour and its node when a cluster (nodes lo..hi) goes between nodes p and q."""
    best, at = FAR, lo
    for v in range(lo, hi):
        d = int(cost[p, v]) + int(cost_back[q, v])
        if d < best:
            best, at = d, v
    return best - cost[p, q], at


@njit(nogil=True)
def _insert_best(
    cost: Costs, cost_back: Costs, first: Ints, near_from: Ints, near_to: Ints,
    after: Ints, before: Ints, node: Ints, c: int, state: WordArray, blink: float,
) -> None:  # fmt: skip
    """Put cluster ``c`` into the best gap beside one of its neighbours."""
    lo, hi = first[c], first[c + 1]
    best, at, gap = FAR, lo, NOWHERE
    for k in range(near_from.shape[1]):
        for side in range(2):
            p = near_from[c, k] if side == 0 else near_to[c, k]
            if after[p] < 0:
                continue
            if side == 1:
                p = before[p]
            if fraction(state) < blink:
                continue
            d, v = _best_in_gap(cost, cost_back, lo, hi, node[p], node[after[p]])
            if d < best:
                best, at, gap = d, v, p
    if gap < 0:  # every neighbour is out as well, or blinked away: look at all gaps
        for p in range(after.shape[0]):
            if after[p] >= 0:
                d, v = _best_in_gap(cost, cost_back, lo, hi, node[p], node[after[p]])
                if d < best:
                    best, at, gap = d, v, p
    q = after[gap]
    after[gap], before[c], after[c], before[q] = c, gap, q, c
    node[c] = at


@njit(nogil=True)
def _choose_run(
    cost: Costs, first: Ints, node: Ints, run: Ints, length: int, reach: Ints, came: Ints
) -> None:
    """Exact nodes for ``run[1:length - 1]`` between the fixed nodes of its two ends."""
    source = node[run[0]]
    for v in range(first[run[1]], first[run[1] + 1]):
        reach[v] = cost[source, v]
    for i in range(2, length - 1):
        a, b = run[i - 1], run[i]
        for w in range(first[b], first[b + 1]):
            best, at = FAR, ZERO
            for v in range(first[a], first[a + 1]):
                d = reach[v] + cost[v, w]
                if d < best:
                    best, at = d, v
            reach[w], came[w] = best, at
    best, at = FAR, ZERO
    a, target = run[length - 2], node[run[length - 1]]
    for v in range(first[a], first[a + 1]):
        d = reach[v] + cost[v, target]
        if d < best:
            best, at = d, v
    for i in range(length - 2, 0, -1):
        node[run[i]] = at
        at = came[at]


@njit(nogil=True)
def _choose_near(
    cost: Costs, first: Ints, after: Ints, before: Ints, node: Ints, taken: Ints, count: int,
    fresh: Ints, run: Ints, reach: Ints, came: Ints,
) -> None:  # fmt: skip
    """Choose nodes again, exactly, on every stretch that holds a cluster just put back."""
    size = after.shape[0]
    for i in range(count):
        fresh[taken[i]] = 1
    for i in range(count):
        c = taken[i]
        if fresh[c] == 0:
            continue
        for _ in range(CALM):
            c = before[c]
        run[0] = c
        length, calm = 1, 0
        while length < size - 1 and calm < CALM:
            c = after[c]
            run[length] = c
            length += 1
            calm += 1
            if fresh[c] == 1 or length <= CALM:
                fresh[c] = 0
                calm = 0
        if length >= 3:
            _choose_run(cost, first, node, run, length, reach, came)
    for i in range(count):
        fresh[taken[i]] = 0


@njit(cache=True, nogil=True)
def choose_nodes(cost: Costs, first: Ints, order: Ints, node: Ints, reach: Ints, came: Ints) -> int:
    """Best node of every cluster for a fixed cyclic order, exactly; the cost of that tour.

    A layered shortest path from each node of the smallest cluster back to itself
    (Fischetti, Salazar Gonzalez and Toth 1997).
    """
    size = order.shape[0]
    start = 0
    for i in range(size):
        if first[order[i] + 1] - first[order[i]] < first[order[start] + 1] - first[order[start]]:
            start = i
    run = np.empty(size + 1, np.int64)
    for i in range(size + 1):
        run[i] = order[(start + i) % size]
    best = FAR
    kept = np.empty(size, np.int64)
    for s in range(first[run[0]], first[run[0] + 1]):
        node[run[0]] = s
        _choose_run(cost, first, node, run, size + 1, reach, came)
        total = ZERO
        for i in range(size):
            total += cost[node[run[i]], node[run[i + 1]]]
        if total < best:
            best = total
            for i in range(size):
                kept[i] = node[i]
    for i in range(size):
        node[i] = kept[i]
    return best


@njit(nogil=True)
def _copy(source: Ints, target: Ints) -> None:
    for part in range(3):  # by hand: slices would double the time to compile
        for c in range(source.shape[1]):
            target[part, c] = source[part, c]


@njit(cache=True, nogil=True)
def anneal(
    cost: Costs, cost_back: Costs, first: Ints, near: Ints, near_from: Ints, near_to: Ints,
    rings: Ints, state: WordArray, plan: Ints, heat: NDArray[np.float64],
) -> int:  # fmt: skip
    """Ruin and recreate at one temperature for ``plan[0]`` passes; the cost of the best ring met.

    ``rings`` (3, 3, clusters) holds the present ring, the best and a work copy, each as after,
    before, node; it is changed in place. ``plan`` is passes, least and most clusters taken out,
    longest string; ``heat`` is the temperature and the share of gaps overlooked.
    """
    ring, best, work = rings[0], rings[1], rings[2]
    after, before, node = work[0], work[1], work[2]
    size = after.shape[0]
    taken, run = np.empty(size, np.int64), np.empty(size + 4, np.int64)
    fresh = np.zeros(size, np.int64)
    reach, came = np.empty(first[size], np.int64), np.empty(first[size], np.int64)
    now, best_cost = _ring_cost(cost, ring[0], ring[2]), _ring_cost(cost, best[0], best[2])
    _copy(ring, work)
    for _ in range(plan[0]):
        want = plan[1] + below(state, plan[2] - plan[1] + 1)
        count = _ruin(after, before, near, taken, state, want, plan[3])
        _shuffle(taken, count, state)
        for i in range(count):
            _insert_best(
                cost, cost_back, first, near_from, near_to, after, before, node, taken[i], state,
                heat[1],
            )  # fmt: skip
        _choose_near(cost, first, after, before, node, taken, count, fresh, run, reach, came)
        new = _ring_cost(cost, after, node)
        if new < best_cost:
            best_cost = new
            _copy(work, best)
        if new < now - heat[0] * math.log(fraction(state) + 1e-300):
            now = new
            _copy(work, ring)
        else:
            _copy(ring, work)
    return best_cost
