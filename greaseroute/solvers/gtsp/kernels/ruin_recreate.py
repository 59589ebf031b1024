"""Compiled: ruin, recreate and the choice of nodes of a GTSP tour.

Nodes are numbered so that a cluster is the run ``first[c]:first[c + 1]``; ``cost_back`` is the
transposed matrix, so that the costs into and out of all nodes of a cluster both lie side by side.
A tour is a doubly linked list of clusters with the chosen node of each::

    after   [2, 0, 1, -1]   0 -> 2 -> 1 -> 0; cluster 3 is taken out
    before  [1, 2, 0,  .]
    node    [4, 9, 6,  .]
"""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE, ZERO, CostArray, IntArray, WordArray
from greaseroute.solvers.xorshift import below, fraction

ANYWHERE = 4  # one ruin in so many is of strings all over the tour
CALM = 3  # clusters left as they are at either end of a segment whose nodes are chosen again


@njit(nogil=True)
def tour_cost(cost: CostArray, after: IntArray, node: IntArray) -> int:
    """Return the cost of the closed tour through the clusters that are in it."""
    # Any cluster that is in the tour will do as a start.
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
def _take_out(after: IntArray, before: IntArray, c: int) -> None:
    """Unlink a cluster."""
    p, q = before[c], after[c]
    after[p] = q
    before[q] = p
    after[c] = -1


@njit(nogil=True)
def ruin(
    after: IntArray, before: IntArray, near: IntArray, taken: IntArray, word: WordArray, want: int,
    longest: int,
) -> int:  # fmt: skip
    """Take strings out of the tour near a random cluster; fill ``taken``, return how many.

    Strings around neighbouring clusters, after Christiaens and Vanden Berghe (2020), here with all
    strings in one tour; one time in four strings anywhere, which alone can change two places at
    once that nearness does not join.
    """
    size = after.shape[0]
    seed, anywhere = below(word, size), below(word, ANYWHERE) == 0
    count, k = 0, -1
    while count < want and k < near.shape[1]:
        # The next cluster: any, or the seed and then its neighbours.
        if anywhere:
            c = below(word, size)
        else:
            c = seed if k < 0 else near[seed, k]
            k += 1
        if after[c] < 0:
            continue
        # A string of random length that holds it at a random place.
        length = min(1 + below(word, longest), want - count)
        for _ in range(below(word, length)):
            c = before[c]
        for _ in range(length):
            d = after[c]
            _take_out(after, before, c)
            taken[count] = c
            count += 1
            c = d
    return count


@njit(nogil=True)
def shuffle(taken: IntArray, count: int, word: WordArray) -> None:
    """Put the first ``count`` into random order (Fisher and Yates)."""
    for i in range(count - 1, 0, -1):
        j = below(word, i + 1)
        taken[i], taken[j] = taken[j], taken[i]


@njit(nogil=True)
def _best_in_gap(
    cost: CostArray, cost_back: CostArray, lo: int, hi: int, p: int, q: int
) -> tuple[int, int]:
    """Return the least detour of a cluster (nodes lo..hi) between nodes p and q, and its node."""
    best, at = FAR, lo
    for v in range(lo, hi):
        d = int(cost[p, v]) + int(cost_back[q, v])
        if d < best:
            best, at = d, v
    return best - cost[p, q], at


@njit(nogil=True)
def insert_best(
    cost: CostArray, cost_back: CostArray, first: IntArray, near_from: IntArray, near_to: IntArray,
    after: IntArray, before: IntArray, node: IntArray, c: int, word: WordArray, blink: float,
) -> None:  # fmt: skip
    """Put cluster ``c`` into the best gap beside one of its neighbours.

    ``blink``: part of the gaps that are overlooked, so that not every recreate is the same.
    """
    # Gaps after the clusters it is near to, and before those that are near to it.
    lo, hi = first[c], first[c + 1]
    best, at, gap = FAR, lo, NOWHERE
    for k in range(near_from.shape[1]):
        for side in range(2):
            p = near_from[c, k] if side == 0 else near_to[c, k]
            if after[p] < 0:
                continue
            if side == 1:
                p = before[p]
            if fraction(word) < blink:
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
    cost: CostArray, first: IntArray, node: IntArray, run: IntArray, length: int, reach: IntArray,
    came: IntArray,
) -> None:  # fmt: skip
    """Choose exact nodes for ``run[1:length - 1]`` between the fixed nodes of its two ends.

    A shortest path through layers, one for each cluster: ``reach`` is the least cost to a node,
    ``came`` the node before it.
    """
    # The first layer, then each layer from the one before.
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
    # The last layer to the fixed node at the end, and the path read backwards.
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
def choose_near(
    cost: CostArray, first: IntArray, after: IntArray, before: IntArray, node: IntArray,
    taken: IntArray, count: int, fresh: IntArray, run: IntArray, reach: IntArray, came: IntArray,
) -> None:  # fmt: skip
    """Choose nodes again, exactly, on every segment around clusters just put back.

    A segment begins ``CALM`` clusters before one of them and ends after as many that were not
    touched: nodes further away hardly ever change.
    """
    size = after.shape[0]
    for i in range(count):
        fresh[taken[i]] = 1
    for i in range(count):
        c = taken[i]
        if fresh[c] == 0:
            continue
        # Back to where the segment begins, then on until CALM clusters in a row are untouched.
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


@cached_njit
def choose_nodes(
    cost: CostArray, first: IntArray, order: IntArray, node: IntArray, reach: IntArray,
    came: IntArray,
) -> int:  # fmt: skip
    """Fill the best node of every cluster for a fixed cyclic order, exactly; return the cost.

    A layered shortest path from each node of the smallest cluster back to itself
    (Fischetti, Salazar Gonzalez and Toth 1997).

    Parameters
    ----------
    cost, first : (n, n), (m + 1,)
        The problem.
    order : (m,)
        Clusters.
    node : (m,)
        Filled, by cluster.
    reach, came : (n,)
        Work space.
    """
    # The order from the smallest cluster on and back to it.
    size = order.shape[0]
    start = 0
    for i in range(size):
        if first[order[i] + 1] - first[order[i]] < first[order[start] + 1] - first[order[start]]:
            start = i
    run = np.empty(size + 1, np.int64)
    for i in range(size + 1):
        run[i] = order[(start + i) % size]
    # Each of its nodes in turn as start and end of the path.
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
