"""Compiled steps of the subgradient method: a spanning tree of clusters at every step.

Arcs lie grouped by the two clusters they join; cuts stand in rows::

    group_from  arcs of group g are group_from[g] : group_from[g + 1]; its clusters are group[:, g]
    arc_from    arcs of cut q are arcs[arc_from[q] : arc_from[q + 1]]
    paid_from   nodes that pay for it are paid[paid_from[q] : paid_from[q + 1]]

A cut says: its arcs less the visits of its nodes are at most minus ``right``.
"""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE, ZERO, FloatArray, IntArray

NO_JOIN = float(FAR)  # two clusters without an arc between them
LEAST_USE = 1e-9  # of an arc in the mean
PATIENCE = 20  # steps without gain before the step width shrinks
SHRINK, GROW, WIDEST = 0.8, 1.1, 2.0  # of the step width
BEYOND = 1.02  # the aim of a step, over the upper value: steps do not die out near it


@njit(nogil=True)
def least_tree(joins: FloatArray, parent: IntArray, key: FloatArray) -> int:
    """Fill a spanning tree by Prim (1957) from cluster 0; return the cluster with the longest edge.

    Cluster c > 0 hangs on ``parent[c]`` by an edge of cost ``key[c]``.
    """
    size = joins.shape[0]
    out = np.ones(size, np.bool_)
    longest = ZERO
    for c in range(size):
        key[c], parent[c] = joins[0, c], 0
    out[0] = False
    for step in range(size - 1):
        # The cluster outside that is nearest to the tree joins it.
        nearest = NOWHERE
        for c in range(size):
            if out[c] and (nearest < 0 or key[c] < key[nearest]):
                nearest = c
        out[nearest] = False
        # The longest join so far is the one arc more of the 1-tree.
        if step == 0 or key[nearest] > key[longest]:
            longest = nearest
        for c in range(size):
            if out[c] and joins[nearest, c] < key[c]:
                key[c], parent[c] = joins[nearest, c], nearest
    return longest


@njit(nogil=True)
def _cheapest_joins(
    ends: IntArray, cost: FloatArray, group_from: IntArray, group: IntArray, cluster: FloatArray,
    node: FloatArray, on_arc: FloatArray, off_node: FloatArray, joins: FloatArray, at: IntArray,
) -> None:  # fmt: skip
    """Fill the least reduced cost between every two clusters, and the arc it is on."""
    for g in range(group.shape[1]):
        least, best = NO_JOIN, NOWHERE
        # All arcs of a group join the same two clusters, whose duals can wait until the end.
        for e in range(group_from[g], group_from[g + 1]):
            i, j = ends[0, e], ends[1, e]
            r = cost[e] + on_arc[e] - 0.5 * (off_node[i] + off_node[j]) + node[i] - node[j]
            if r < least:
                least, best = r, e
        c, d = group[0, g], group[1, g]
        least -= cluster[c] + cluster[d]
        joins[c, d], joins[d, c] = least, least
        at[c, d], at[d, c] = best, best


@njit(nogil=True)
def _spread(
    cut: FloatArray, arc_from: IntArray, arcs: IntArray, paid_from: IntArray, paid: IntArray,
    right: FloatArray, on_arc: FloatArray, off_node: FloatArray,
) -> float:  # fmt: skip
    """Fill what the duals of cuts put on arcs and take off nodes; return their right sides' sum."""
    on_arc[:] = 0.0
    off_node[:] = 0.0
    total = 0.0
    for q in range(cut.shape[0]):
        # A cut without a dual changes nothing; most of them have none at most steps.
        if cut[q] > 0.0:
            for k in range(arc_from[q], arc_from[q + 1]):
                on_arc[arcs[k]] += cut[q]
            for k in range(paid_from[q], paid_from[q + 1]):
                off_node[paid[k]] += cut[q]
            total += right[q] * cut[q]
    return total


@njit(nogil=True)
def _violations(
    ends: IntArray, owner: IntArray, mean: FloatArray, cut: FloatArray, arc_from: IntArray,
    arcs: IntArray, paid_from: IntArray, paid: IntArray, right: FloatArray, directed: int,
    visits: FloatArray, by_cluster: FloatArray, by_node: FloatArray, by_cut: FloatArray,
) -> float:  # fmt: skip
    """Fill by how much the mean of the trees violates each row; return the sum of squares."""
    # Clusters should have two arc ends each; nodes as many arcs out as in, where arcs have a
    # direction.
    visits[:] = 0.0
    by_node[:] = 0.0
    by_cluster[:] = 2.0
    total = 0.0
    for e in range(mean.shape[0]):
        x = mean[e]
        if x > LEAST_USE:
            i, j = ends[0, e], ends[1, e]
            visits[i] += 0.5 * x
            visits[j] += 0.5 * x
            by_node[i] += directed * x
            by_node[j] -= directed * x
            by_cluster[owner[i]] -= x
            by_cluster[owner[j]] -= x
    # Cuts are inequalities: one that holds counts only while its dual is above zero.
    for q in range(cut.shape[0]):
        violation = right[q]
        for k in range(arc_from[q], arc_from[q + 1]):
            violation += mean[arcs[k]]
        for k in range(paid_from[q], paid_from[q + 1]):
            violation -= visits[paid[k]]
        by_cut[q] = 0.0 if violation < 0.0 and cut[q] <= 0.0 else violation
        total += by_cut[q] * by_cut[q]
    for c in range(by_cluster.shape[0]):
        total += by_cluster[c] * by_cluster[c]
    for v in range(by_node.shape[0]):
        total += by_node[v] * by_node[v]
    return total


@njit(nogil=True)
def _step(best: FloatArray, along: FloatArray, width: float, floor: float, out: FloatArray) -> None:
    """Fill the duals one step away from the best ones, not below ``floor``."""
    for k in range(best.shape[0]):
        out[k] = max(floor, best[k] + width * along[k])


# Long: one step after another; the arrays it works in are shared by all of them.
@cached_njit
def climb(
    ends: IntArray, cost: FloatArray, group_from: IntArray, group: IntArray, owner: IntArray,
    arc_from: IntArray, arcs: IntArray, paid_from: IntArray, paid: IntArray, right: FloatArray,
    cluster: FloatArray, node: FloatArray, cut: FloatArray, mean: FloatArray, plan: IntArray,
    rate: FloatArray,
) -> float:  # fmt: skip
    """Raise the bound for ``plan[0]`` steps (``plan[1]``: 1 where direction counts); the best.

    Volume algorithm of Barahona and Anbil (2000).

    Parameters
    ----------
    ends, cost, group_from, group, owner : (2, E), (E,), (g + 1,), (2, g), (n,)
        The arcs in groups, and the cluster of each node.
    arc_from ... right
        Cuts in rows, as in the drawing above; ``right`` (q,).
    cluster, node, cut : (m,), (n,), (q,)
        Duals; changed to the best met.
    mean : (E,)
        Running mean of the trees' arcs; changed.
    rate : (3,)
        Step width (changed), weight of a new tree in the mean, upper value.
    """
    size = cluster.shape[0]
    joins, at = np.full((size, size), NO_JOIN), np.full((size, size), NOWHERE)
    parent, key = np.zeros(size, np.int64), np.zeros(size)
    on_arc, off_node = np.zeros(cost.shape[0]), np.zeros(owner.shape[0])
    visits, by_cluster, by_node = np.zeros(owner.shape[0]), np.zeros(size), np.zeros(owner.shape[0])
    by_cut = np.zeros(cut.shape[0])
    best_cluster, best_node, best_cut = cluster.copy(), node.copy(), cut.copy()
    best, idle = -NO_JOIN, 0
    for _ in range(plan[0]):
        # The 1-tree of these duals: a spanning tree and its longest edge once more.
        value = _spread(cut, arc_from, arcs, paid_from, paid, right, on_arc, off_node)
        _cheapest_joins(
            ends, cost, group_from, group, cluster, node, on_arc, off_node, joins, at
        )  # fmt: skip
        longest = least_tree(joins, parent, key)
        value += key[longest]
        # Its value, and its arcs into the running mean.
        for e in range(mean.shape[0]):
            mean[e] *= 1.0 - rate[1]
        mean[at[longest, parent[longest]]] += rate[1]
        for c in range(size):
            value += 2.0 * cluster[c]
            if c > 0:
                value += key[c]
                mean[at[c, parent[c]]] += rate[1]
        # A gain widens the next steps, a row of steps without one narrows them.
        idle += 1
        if value > best:
            best, idle = value, 0
            best_cluster[:], best_node[:], best_cut[:] = cluster, node, cut
            rate[0] = min(WIDEST, GROW * rate[0])
        elif idle >= PATIENCE:
            idle = 0
            rate[0] *= SHRINK
        # From the best duals along the violations of the mean, with Polyak's step width.
        square = _violations(
            ends, owner, mean, best_cut, arc_from, arcs, paid_from, paid, right, plan[1],
            visits, by_cluster, by_node, by_cut,
        )  # fmt: skip
        if square < LEAST_USE:
            break
        width = rate[0] * (BEYOND * rate[2] - best) / square
        _step(best_cluster, by_cluster, width, -NO_JOIN, cluster)
        _step(best_node, by_node, width, -NO_JOIN, node)
        _step(best_cut, by_cut, width, 0.0, cut)
    cluster[:], node[:], cut[:] = best_cluster, best_node, best_cut
    return best
