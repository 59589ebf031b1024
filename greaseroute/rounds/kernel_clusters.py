"""Compiled kernels of the one-node-per-cluster tour: ruin, recreate, node choice, annealing.

Nodes are numbered so that a cluster is the run ``first[c]:first[c + 1]``; ``cost_back`` is the
transposed matrix, so that the costs into and out of all nodes of a cluster both lie side by side.
A tour is a ring of clusters (``after``, ``before``) with the chosen ``node`` of each; a cluster
that is taken out has ``after[c] == -1``.
"""

import numpy as np
from numba import njit

FAR = np.int64(2**62)
_A, _B, _C = np.uint64(13), np.uint64(7), np.uint64(17)
_TOP = np.uint64(11)


@njit(cache=True, nogil=True)
def _next_word(state):
    """Xorshift64 (Marsaglia 2003, shifts 13, 7, 17)."""
    x = state[0]
    x ^= x << _A
    x ^= x >> _B
    x ^= x << _C
    state[0] = x
    return x


@njit(cache=True, nogil=True)
def _fraction(state):
    return np.float64(_next_word(state) >> _TOP) * 1.1102230246251565e-16  # 2 ** -53


@njit(cache=True, nogil=True)
def _below(state, bound):
    return np.int64(_fraction(state) * bound)


@njit(cache=True, nogil=True)
def ring_cost(cost, after, node):
    """Cost of the closed ring that starts in any cluster still in it."""
    start = 0
    while after[start] < 0:
        start += 1
    total = np.int64(0)
    c = start
    while True:
        d = after[c]
        total += cost[node[c], node[d]]
        c = d
        if c == start:
            return total


@njit(cache=True, nogil=True)
def _take_out(after, before, c):
    p, q = before[c], after[c]
    after[p] = q
    before[q] = p
    after[c] = -1


@njit(cache=True, nogil=True)
def _ruin(after, before, near, taken, state, want, longest):
    """Take out strings of the ring near a random cluster; the number taken, ``taken`` filled.

    Strings around neighbouring clusters, after Christiaens and Vanden Berghe (2020), here with all
    strings on the one ring.
    """
    seed = _below(state, after.shape[0])
    count = 0
    for k in range(-1, near.shape[1]):
        c = seed if k < 0 else near[seed, k]
        if after[c] < 0:
            continue
        length = min(1 + _below(state, longest), want - count)
        for _ in range(_below(state, length)):
            c = before[c]
        for _ in range(length):
            d = after[c]
            _take_out(after, before, c)
            taken[count] = c
            count += 1
            c = d
        if count >= want:
            break
    return count


@njit(cache=True, nogil=True)
def _shuffle(taken, count, state):
    for i in range(count - 1, 0, -1):
        j = _below(state, i + 1)
        taken[i], taken[j] = taken[j], taken[i]


@njit(cache=True, nogil=True)
def _best_in_gap(cost, cost_back, lo, hi, p, q):
    """Least detour and its node when a cluster (nodes lo..hi) goes between nodes p and q."""
    best, at = FAR, lo
    for v in range(lo, hi):
        d = np.int64(cost[p, v]) + cost_back[q, v]
        if d < best:
            best, at = d, v
    return best - cost[p, q], at


@njit(cache=True, nogil=True)
def _insert_best(cost, cost_back, first, near_from, near_to, after, before, node, c, state, blink):
    """Put cluster ``c`` into the best gap beside one of its neighbours."""
    lo, hi = first[c], first[c + 1]
    best, at, gap = FAR, lo, np.int64(-1)
    for k in range(near_from.shape[1]):
        for side in range(2):
            p = near_from[c, k] if side == 0 else near_to[c, k]
            if after[p] < 0:
                continue
            if side == 1:
                p = before[p]
            if _fraction(state) < blink:
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


@njit(cache=True, nogil=True)
def _choose_run(cost, first, node, run, length, reach, came):
    """Exact nodes for ``run[1:length - 1]`` between the fixed nodes of its two ends."""
    source = node[run[0]]
    for v in range(first[run[1]], first[run[1] + 1]):
        reach[v] = cost[source, v]
    for i in range(2, length - 1):
        a, b = run[i - 1], run[i]
        for w in range(first[b], first[b + 1]):
            best, at = FAR, np.int64(0)
            for v in range(first[a], first[a + 1]):
                d = reach[v] + cost[v, w]
                if d < best:
                    best, at = d, v
            reach[w], came[w] = best, at
    best, at = FAR, np.int64(0)
    a, target = run[length - 2], node[run[length - 1]]
    for v in range(first[a], first[a + 1]):
        d = reach[v] + cost[v, target]
        if d < best:
            best, at = d, v
    for i in range(length - 2, 0, -1):
        node[run[i]] = at
        at = came[at]


@njit(cache=True, nogil=True)
def _choose_near(cost, first, after, before, node, taken, count, fresh, run, reach, came):
    """Choose nodes again, exactly, on every stretch that holds a cluster just put back."""
    size = after.shape[0]
    for i in range(count):
        fresh[taken[i]] = True
    for i in range(count):
        c = taken[i]
        if not fresh[c]:
            continue
        for _ in range(3):
            c = before[c]
        run[0] = c
        length, calm = 1, 0
        while length < size - 1 and calm < 3:
            c = after[c]
            run[length] = c
            length += 1
            calm = calm + 1 if not fresh[c] or length <= 3 else 0
            if fresh[c]:
                fresh[c] = False
                calm = 0
        if length >= 3:
            _choose_run(cost, first, node, run, length, reach, came)
    for i in range(count):
        fresh[taken[i]] = False


@njit(cache=True, nogil=True)
def choose_nodes(cost, first, order, node, reach, came):
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
    kept = node.copy()
    for s in range(first[run[0]], first[run[0] + 1]):
        node[run[0]] = s
        _choose_run(cost, first, node, run, size + 1, reach, came)
        total = np.int64(0)
        for i in range(size):
            total += cost[node[run[i]], node[run[i + 1]]]
        if total < best:
            best = total
            kept[:] = node
    node[:] = kept
    return best


@njit(cache=True, nogil=True)
def _order_of(after, order):
    c = np.int64(0)
    for i in range(after.shape[0]):
        order[i] = c
        c = after[c]


@njit(cache=True, nogil=True)
def anneal(cost, cost_back, first, near, near_from, near_to, ring, best, state, plan, heat):
    """Annealed ruin and recreate for ``plan[0]`` passes; the cost of the best ring met.

    ``ring`` and ``best`` are (3, clusters): after, before, node; both are changed in place.
    ``plan`` holds passes, least and most clusters taken out, longest string; ``heat`` the
    temperature at start and end and the share of gaps overlooked.
    """
    size = ring.shape[1]
    passes, least, most, longest = plan[0], plan[1], plan[2], plan[3]
    cool = (heat[1] / heat[0]) ** (1.0 / passes)
    temperature = heat[0]
    work = ring.copy()
    taken, run = np.empty(size, np.int64), np.empty(size + 4, np.int64)
    order = np.empty(size, np.int64)
    fresh = np.zeros(size, np.bool_)
    reach, came = np.empty(first[size], np.int64), np.zeros(first[size], np.int64)
    now = ring_cost(cost, ring[0], ring[2])
    best_cost = ring_cost(cost, best[0], best[2])
    for _ in range(passes):
        after, before, node = work[0], work[1], work[2]
        count = _ruin(
            after, before, near, taken, state, least + _below(state, most - least + 1), longest
        )
        _shuffle(taken, count, state)
        for i in range(count):
            _insert_best(
                cost, cost_back, first, near_from, near_to, after, before, node, taken[i], state,
                heat[2],
            )
        _choose_near(cost, first, after, before, node, taken, count, fresh, run, reach, came)
        new = ring_cost(cost, after, node)
        if new < best_cost:
            _order_of(after, order)
            new = choose_nodes(cost, first, order, node, reach, came)
            best_cost = new
            best[:] = work
        if new < now - temperature * np.log(_fraction(state) + 1e-300):
            now = new
            ring[:] = work
        else:
            work[:] = ring
        temperature *= cool
    return best_cost
