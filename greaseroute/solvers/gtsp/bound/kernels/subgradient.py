"""Compiled ascent over multipliers: a spanning tree of clusters at every step.

Arcs lie grouped by the two clusters they join (``group_from``, ``group``). A cut holds arcs
(``arc_from``, ``arcs``), nodes that pay for them (``paid_from``, ``paid``) and a right side: its
arcs less the visits of its nodes are at most minus ``right``.
"""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE, ZERO, FloatArray, IntArray

FAR_JOIN = float(FAR)
LEAST_USE = 1e-9
PATIENCE = 20  # steps without gain before the step width shrinks
SHRINK, GROW, WIDEST = 0.8, 1.1, 2.0


@njit(nogil=True)
def least_tree(join: FloatArray, parent: IntArray, key: FloatArray) -> int:
    """Spanning tree by Prim (1957) from cluster 0; the cluster whose join is the dearest."""
    size = join.shape[0]
    out = np.ones(size, np.bool_)
    dearest = ZERO
    for c in range(size):
        key[c], parent[c] = join[0, c], 0
    out[0] = False
    for step in range(size - 1):
        nearest = NOWHERE
        for c in range(size):
            if out[c] and (nearest < 0 or key[c] < key[nearest]):
                nearest = c
        out[nearest] = False
        if step == 0 or key[nearest] > key[dearest]:
            dearest = nearest
        for c in range(size):
            if out[c] and join[nearest, c] < key[c]:
                key[c], parent[c] = join[nearest, c], nearest
    return dearest


@njit(nogil=True)
def _cheapest_joins(
    ends: IntArray, cost: FloatArray, group_from: IntArray, group: IntArray, cluster: FloatArray,
    node: FloatArray, bonus: FloatArray, share: FloatArray, join: FloatArray, at: IntArray,
) -> None:  # fmt: skip
    """Least reduced cost between every two clusters, and the arc it is on."""
    for g in range(group.shape[1]):
        least, best = FAR_JOIN, NOWHERE
        for e in range(group_from[g], group_from[g + 1]):
            i, j = ends[0, e], ends[1, e]
            r = cost[e] + bonus[e] - 0.5 * (share[i] + share[j]) + node[i] - node[j]
            if r < least:
                least, best = r, e
        c, d = group[0, g], group[1, g]
        least -= cluster[c] + cluster[d]
        join[c, d], join[d, c] = least, least
        at[c, d], at[d, c] = best, best


@njit(nogil=True)
def _spread(
    cut: FloatArray, arc_from: IntArray, arcs: IntArray, paid_from: IntArray, paid: IntArray,
    right: FloatArray, bonus: FloatArray, share: FloatArray,
) -> float:  # fmt: skip
    """What the cuts put on arcs and take off nodes; what their right sides are worth."""
    bonus[:] = 0.0
    share[:] = 0.0
    total = 0.0
    for q in range(cut.shape[0]):
        if cut[q] > 0.0:
            for k in range(arc_from[q], arc_from[q + 1]):
                bonus[arcs[k]] += cut[q]
            for k in range(paid_from[q], paid_from[q + 1]):
                share[paid[k]] += cut[q]
            total += right[q] * cut[q]
    return total


@njit(nogil=True)
def _breaches(
    ends: IntArray, owner: IntArray, mean: FloatArray, cut: FloatArray, arc_from: IntArray,
    arcs: IntArray, paid_from: IntArray, paid: IntArray, right: FloatArray, directed: int,
    visit: FloatArray, by_cluster: FloatArray, by_node: FloatArray, by_cut: FloatArray,
) -> float:  # fmt: skip
    """How far the mean of the trees breaks each row; the sum of squares."""
    visit[:] = 0.0
    by_node[:] = 0.0
    by_cluster[:] = 2.0
    total = 0.0
    for e in range(mean.shape[0]):
        x = mean[e]
        if x > LEAST_USE:
            i, j = ends[0, e], ends[1, e]
            visit[i] += 0.5 * x
            visit[j] += 0.5 * x
            by_node[i] += directed * x
            by_node[j] -= directed * x
            by_cluster[owner[i]] -= x
            by_cluster[owner[j]] -= x
    for q in range(cut.shape[0]):
        over = right[q]
        for k in range(arc_from[q], arc_from[q + 1]):
            over += mean[arcs[k]]
        for k in range(paid_from[q], paid_from[q + 1]):
            over -= visit[paid[k]]
        by_cut[q] = 0.0 if over < 0.0 and cut[q] <= 0.0 else over
        total += by_cut[q] * by_cut[q]
    for c in range(by_cluster.shape[0]):
        total += by_cluster[c] * by_cluster[c]
    for v in range(by_node.shape[0]):
        total += by_node[v] * by_node[v]
    return total


@njit(nogil=True)
def _step(best: FloatArray, along: FloatArray, width: float, floor: float, out: FloatArray) -> None:
    for k in range(best.shape[0]):
        out[k] = max(floor, best[k] + width * along[k])


# Long: one step of the ascent after another; the arrays it works in are shared by all of them.
@cached_njit
def ascend(
    ends: IntArray, cost: FloatArray, group_from: IntArray, group: IntArray, owner: IntArray,
    arc_from: IntArray, arcs: IntArray, paid_from: IntArray, paid: IntArray, right: FloatArray,
    cluster: FloatArray, node: FloatArray, cut: FloatArray, mean: FloatArray, plan: IntArray,
    rate: FloatArray,
) -> float:  # fmt: skip
    """Raise the bound for ``plan[0]`` steps (``plan[1]``: 1 where direction counts); the best.

    Multipliers (``cluster``, ``node``, ``cut``) end at the best met; ``mean`` is a running mean of
    the trees' arcs. ``rate`` holds the step width (changed), the weight of a new tree in the mean,
    the upper value. Volume algorithm of Barahona and Anbil (2000).
    """
    size = cluster.shape[0]
    join, at = np.full((size, size), FAR_JOIN), np.full((size, size), NOWHERE)
    parent, key = np.zeros(size, np.int64), np.zeros(size)
    bonus, share = np.zeros(cost.shape[0]), np.zeros(owner.shape[0])
    visit, by_cluster, by_node = np.zeros(owner.shape[0]), np.zeros(size), np.zeros(owner.shape[0])
    by_cut = np.zeros(cut.shape[0])
    best_cluster, best_node, best_cut = cluster.copy(), node.copy(), cut.copy()
    best, idle = -FAR_JOIN, 0
    for _ in range(plan[0]):
        value = _spread(cut, arc_from, arcs, paid_from, paid, right, bonus, share)
        _cheapest_joins(
            ends, cost, group_from, group, cluster, node, bonus, share, join, at
        )  # fmt: skip
        dearest = least_tree(join, parent, key)
        value += key[dearest]
        for e in range(mean.shape[0]):
            mean[e] *= 1.0 - rate[1]
        mean[at[dearest, parent[dearest]]] += rate[1]
        for c in range(size):
            value += 2.0 * cluster[c]
            if c > 0:
                value += key[c]
                mean[at[c, parent[c]]] += rate[1]
        idle += 1
        if value > best:
            best, idle = value, 0
            best_cluster[:], best_node[:], best_cut[:] = cluster, node, cut
            rate[0] = min(WIDEST, GROW * rate[0])
        elif idle >= PATIENCE:
            idle = 0
            rate[0] *= SHRINK
        square = _breaches(
            ends, owner, mean, best_cut, arc_from, arcs, paid_from, paid, right, plan[1],
            visit, by_cluster, by_node, by_cut,
        )  # fmt: skip
        if square < LEAST_USE:
            break
        width = rate[0] * (1.02 * rate[2] - best) / square
        _step(best_cluster, by_cluster, width, -FAR_JOIN, cluster)
        _step(best_node, by_node, width, -FAR_JOIN, node)
        _step(best_cut, by_cut, width, 0.0, cut)
    cluster[:], node[:], cut[:] = best_cluster, best_node, best_cut
    return best
