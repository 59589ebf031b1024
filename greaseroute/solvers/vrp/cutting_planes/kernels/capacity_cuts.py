"""Compiled: sets of units too heavy for the others, which little flow leaves.

A set's load is the worst of several sums, each of least times of units, ``least`` (U, L), and of
weights that count once where the set meets a group of units. Flow between units and groups of each
unit are few, so they stand in rows::

    flow     first (U + 1,), other unit, flow both ways
    groups   first (U + 1,), group      |  weight of each group, the sum it counts in
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off
import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray

FlowRows = tuple[IntArray, IntArray, FloatArray]
GroupRows = tuple[IntArray, IntArray, IntArray, IntArray]
STEPS = 60  # moves at most in making a set better
TRIED = 8  # units looked at in each


@njit(nogil=True)
def _move(
    u: int, sign: int, load: IntArray, met: IntArray, least: IntArray, groups: GroupRows
) -> None:
    """Take unit u in (sign 1) or out (-1): change the loads and the groups met."""
    first, group, weight, of = groups
    for s in range(load.shape[0]):
        load[s] += sign * least[u, s]
    # A group's weight counts from the first of its units that comes in to the last that goes.
    for i in range(first[u], first[u + 1]):
        g = group[i]
        if sign > 0 and met[g] == 0:
            load[of[g]] += weight[g]
        met[g] += sign
        if sign < 0 and met[g] == 0:
            load[of[g]] -= weight[g]


@njit(nogil=True)
def _pull(u: int, sign: int, flow: FlowRows, pull: FloatArray) -> None:
    """The flow to unit u, which is taken in or out, at all others."""
    first, other, value = flow
    for i in range(first[u], first[u + 1]):
        pull[other[i]] += sign * value[i]


@njit(nogil=True)
def _heavy(load: IntArray, slack: IntArray) -> bool:
    over = False
    for s in range(load.shape[0]):
        over |= load[s] > slack[s]
    return over


@njit(nogil=True)
def _raise(tree: IntArray, key: FloatArray, u: int) -> None:
    """Bring a tree of least keys up to date above unit u; of equal keys the first unit counts."""
    at = (tree.shape[0] // 2 + u) // 2
    while at > 0:
        a, b = tree[2 * at], tree[2 * at + 1]
        tree[at] = b if key[b] < key[a] or (key[b] == key[a] and b < a) else a
        at //= 2


@njit(nogil=True)
def _grown(
    flow: FlowRows, total: FloatArray, chosen: BoolArray, load: IntArray, met: IntArray,
    least: IntArray, groups: GroupRows, slack: IntArray, pull: FloatArray, tree: IntArray,
    key: FloatArray,
) -> bool:
    """Add the unit that makes least more flow leave, until the set is heavy."""
    # A tree of least keys over the units outside: the root is the one that adds least flow.
    n, leaves = chosen.shape[0], tree.shape[0] // 2
    key[:] = np.inf
    for u in range(n):
        if not chosen[u]:
            key[u] = total[u] - pull[u]
    for u in range(leaves):
        tree[leaves + u] = u
    for at in range(leaves - 1, 0, -1):
        a, b = tree[2 * at], tree[2 * at + 1]
        tree[at] = b if key[b] < key[a] else a
    # The best unit comes in; only the keys of those with flow to it change.
    while not _heavy(load, slack):
        best = tree[1]
        if key[best] == np.inf:
            return False
        chosen[best], key[best] = True, np.inf
        _raise(tree, key, best)
        _move(best, 1, load, met, least, groups)
        _pull(best, 1, flow, pull)
        for i in range(flow[0][best], flow[0][best + 1]):
            v = flow[1][i]
            if not chosen[v]:
                key[v] = total[v] - pull[v]
                _raise(tree, key, v)
    return True


@njit(nogil=True)
def _polished(
    flow: FlowRows, total: FloatArray, chosen: BoolArray, load: IntArray, met: IntArray,
    least: IntArray, groups: GroupRows, slack: IntArray, pull: FloatArray,
) -> None:
    """Move single units in or out while less flow leaves and the set stays heavy."""
    n = chosen.shape[0]
    barred = np.zeros(n, np.int64)
    for step in range(STEPS):
        # The move that saves most flow and keeps the set heavy; those that do not are barred once.
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
            _move(best, sign, load, met, least, groups)
            if _heavy(load, slack):
                chosen[best] = not chosen[best]
                _pull(best, sign, flow, pull)
                moved = True
                break
            _move(best, -sign, load, met, least, groups)
            barred[best] = step + 1
        if not moved:
            return


@cached_njit
def heavy_sets(
    flow: FlowRows, total: FloatArray, seeds: BoolArray, least: IntArray, groups: GroupRows,
    slack: IntArray,
) -> tuple[BoolArray, FloatArray]:
    """From each seed a heavy set, and the flow that leaves it; infinite where there is none.

    Parameters
    ----------
    flow, total : rows, (U,)
        Flow between units, and the flow that leaves each unit.
    seeds : (k, U) bool
    least, groups, slack : (U, L), rows, (L,)
        A set is heavy where one of the L sums exceeds its slack.

    Returns
    -------
    (k, U) bool, (k,)
    """
    count, n = seeds.shape
    leaves = 1
    while leaves < n:
        leaves *= 2
    tree, key = np.empty(2 * leaves, np.int64), np.empty(leaves)
    found, out = seeds.copy(), np.full(count, np.inf)
    for k in range(count):
        # Loads, groups met and flow of the seed; then grow it, polish it, and add up what leaves.
        chosen, pull = found[k], np.zeros(n)
        load, met = np.zeros(slack.shape[0], np.int64), np.zeros(groups[2].shape[0], np.int64)
        for u in range(n):
            if chosen[u]:
                _move(u, 1, load, met, least, groups)
                _pull(u, 1, flow, pull)
        if not _grown(flow, total, chosen, load, met, least, groups, slack, pull, tree, key):
            continue
        _polished(flow, total, chosen, load, met, least, groups, slack, pull)
        left = 0.0
        for u in range(n):
            if chosen[u]:
                left += total[u] - pull[u] / 2
        out[k] = left
    return found, out


@cached_njit
def along_walk(flow: FlowRows, home: FloatArray, first: int) -> IntArray:
    """All units in the order in which one reaches them from ``first`` along the strongest flow.

    ``home`` is the flow between each unit and the ends of all rounds.
    """
    n = home.shape[0]
    order, pull = np.empty(n, np.int64), home.copy()
    taken = np.zeros(n, np.bool_)
    best = first
    # Prim's order by strongest flow, the ends of rounds counted in.
    for step in range(n):
        if step > 0:
            best = -1
            for u in range(n):
                if not taken[u] and (best < 0 or pull[u] > pull[best]):
                    best = u
        order[step], taken[best] = best, True
        _pull(best, 1, flow, pull)
    return order
