"""Compiled passes over all arcs in whole numbers: least joins, the spanning tree, near arcs.

Nodes are numbered cluster by cluster; the cuts stand in rows both ways::

    first      cluster c is the nodes first[c] : first[c + 1]
    node_from  members of cut q are nodes[node_from[q] : node_from[q + 1]]
    cuts_from  cuts that hold node i are cuts_of[cuts_from[i] : cuts_from[i + 1]]

``plan`` is the scale, the upper value, and 1 where each pair of nodes is wanted only once (edges).
"""

import math

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE, ZERO, CostArray, IntArray

BINS_PER_OCTAVE = 8
BINS = 62 * BINS_PER_OCTAVE + 1  # sums stay below 2 ** 61


@njit(nogil=True)
def _reduced_row(
    i: int, cost: CostArray, first: IntArray, owner: IntArray, leave: IntArray, enter: IntArray,
    pair: IntArray, pair_back: IntArray, cut: IntArray, cuts_from: IntArray, cuts_of: IntArray,
    node_from: IntArray, nodes: IntArray, plan: IntArray, row: IntArray,
) -> int:  # fmt: skip
    """Fill ``row[start:]`` with the reduced costs of arcs from node i, FAR where there is none.

    Return ``start``: 0, or with edges the first node of the next cluster.
    """
    c = owner[i]
    start = first[c + 1] if plan[2] == 1 else ZERO
    row[start:] = 0
    # Cuts: a dual counts on arcs to all other members.
    for k in range(cuts_from[i], cuts_from[i + 1]):
        q = cuts_of[k]
        for z in range(node_from[q], node_from[q + 1]):
            row[nodes[z]] += cut[q]
    # The rest of the reduced cost; arcs costlier than the upper value are in no better tour.
    for j in range(start, row.shape[0]):
        d = owner[j]
        if d == c or cost[i, j] > plan[1]:
            row[j] = FAR
        else:
            row[j] += cost[i, j] * plan[0] + leave[i] + enter[j] + pair[i, d] + pair_back[c, j]
    return start


@cached_njit
def all_joins(
    cost: CostArray, first: IntArray, owner: IntArray, leave: IntArray, enter: IntArray,
    pair: IntArray, pair_back: IntArray, cut: IntArray, cuts_from: IntArray, cuts_of: IntArray,
    node_from: IntArray, nodes: IntArray, plan: IntArray, joins: IntArray,
) -> None:  # fmt: skip
    """Fill ``joins`` (m, m), FAR at first, with least reduced costs between clusters, either way.

    Parameters
    ----------
    cost, first, owner : (n, n), (m + 1,), (n,)
        The problem.
    leave ... plan
        Integer duals, laid out as in the drawing above.
    joins : (m, m)
        Changed in place.
    """
    row = np.zeros(owner.shape[0], np.int64)
    for i in range(owner.shape[0]):
        c = owner[i]
        start = _reduced_row(
            i, cost, first, owner, leave, enter, pair, pair_back, cut, cuts_from, cuts_of,
            node_from, nodes, plan, row,
        )  # fmt: skip
        # The least of all arcs between two clusters counts for the tree.
        for j in range(start, owner.shape[0]):
            d = owner[j]
            if row[j] < joins[c, d]:
                joins[c, d], joins[d, c] = row[j], row[j]


@cached_njit
def near_arcs(
    cost: CostArray, first: IntArray, owner: IntArray, leave: IntArray, enter: IntArray,
    pair: IntArray, pair_back: IntArray, cut: IntArray, cuts_from: IntArray, cuts_of: IntArray,
    node_from: IntArray, nodes: IntArray, plan: IntArray, bottleneck: IntArray, limits: IntArray,
    counts: IntArray, ends: IntArray,
) -> int:  # fmt: skip
    """Count arcs whose reduced cost is at most ``limits[0]`` above the bottleneck; return how many.

    Those at most ``limits[1]`` above it are listed: ``counts`` (BINS,) by the logarithm of how far
    above, and the first of them in ``ends`` (2, k).
    """
    row = np.zeros(owner.shape[0], np.int64)
    found, listed = ZERO, ZERO
    for i in range(owner.shape[0]):
        c = owner[i]
        # One row of reduced costs at a time: the whole matrix would not fit the cache.
        start = _reduced_row(
            i, cost, first, owner, leave, enter, pair, pair_back, cut, cuts_from, cuts_of,
            node_from, nodes, plan, row,
        )  # fmt: skip
        for j in range(start, owner.shape[0]):
            if row[j] == FAR:
                continue
            # How far a tour through this arc lies above the bound, in units.
            above = row[j] - bottleneck[c, owner[j]]
            if above <= limits[0]:
                found += 1
            if above <= limits[1]:
                # Octaves of the slack, so that a caller can choose a limit that lets enough
                # through.
                counts[int(BINS_PER_OCTAVE * math.log2(max(ZERO, above) + 1.0))] += 1
                if listed < ends.shape[1]:
                    ends[0, listed], ends[1, listed] = i, j
                listed += 1
    return found


@cached_njit
def spanning_tree(joins: IntArray, bottleneck: IntArray) -> tuple[bool, int]:
    """Return whether a tree spans all clusters, and the least one plus its longest edge (a 1-tree).

    ``bottleneck`` (m, m) is filled with the longest edge on the path between two clusters. Prim
    1957.
    """
    size = joins.shape[0]
    out = np.ones(size, np.bool_)
    parent, key = np.zeros(size, np.int64), joins[0].copy()
    met = np.zeros(size, np.int64)  # clusters in the order in which they joined the tree
    out[0] = False
    total, longest = ZERO, -FAR
    for step in range(1, size):
        # The cluster nearest to the tree joins it.
        nearest = NOWHERE
        for c in range(size):
            if out[c] and (nearest < 0 or key[c] < key[nearest]):
                nearest = c
        if key[nearest] == FAR:
            return False, total
        out[nearest] = False
        total += key[nearest]
        longest = max(longest, key[nearest])
        # Its bottleneck to each cluster in the tree: the new edge, or that of its parent.
        for k in range(step):
            d = met[k]
            most = key[nearest]
            if d != parent[nearest]:
                most = max(most, bottleneck[parent[nearest], d])
            bottleneck[nearest, d], bottleneck[d, nearest] = most, most
        met[step] = nearest
        # Those outside may be nearer to it than to the rest of the tree.
        for c in range(size):
            if out[c] and joins[nearest, c] < key[c]:
                key[c], parent[c] = joins[nearest, c], nearest
    return True, total + longest
