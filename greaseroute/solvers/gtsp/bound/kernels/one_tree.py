"""Compiled whole-number pass over all arcs: cheapest joins of clusters, arcs worth keeping."""

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
    """Fill ``row[start:]`` with the reduced costs of arcs from node i, FAR where none is; start.

    ``plan`` is the scale, the upper value, and 1 where each pair of nodes is wanted only once.
    """
    c = owner[i]
    start = first[c + 1] if plan[2] == 1 else ZERO
    row[start:] = 0
    for k in range(cuts_from[i], cuts_from[i + 1]):
        q = cuts_of[k]
        for z in range(node_from[q], node_from[q + 1]):
            row[nodes[z]] += cut[q]
    for j in range(start, row.shape[0]):
        d = owner[j]
        if d == c or cost[i, j] > plan[1]:
            row[j] = FAR
        else:
            row[j] += (
                cost[i, j] * plan[0] + leave[i] + enter[j] + pair[i, d] + pair_back[c, j]
            )  # fmt: skip
    return start


@cached_njit
def all_joins(
    cost: CostArray, first: IntArray, owner: IntArray, leave: IntArray, enter: IntArray,
    pair: IntArray, pair_back: IntArray, cut: IntArray, cuts_from: IntArray, cuts_of: IntArray,
    node_from: IntArray, nodes: IntArray, plan: IntArray, join: IntArray,
) -> None:  # fmt: skip
    """Least reduced cost between every two clusters, either way, into ``join`` (FAR to begin)."""
    row = np.zeros(owner.shape[0], np.int64)
    for i in range(owner.shape[0]):
        c = owner[i]
        start = _reduced_row(
            i, cost, first, owner, leave, enter, pair, pair_back, cut, cuts_from, cuts_of,
            node_from, nodes, plan, row,
        )  # fmt: skip
        for j in range(start, owner.shape[0]):
            d = owner[j]
            if row[j] < join[c, d]:
                join[c, d], join[d, c] = row[j], row[j]


@cached_njit
def near_arcs(
    cost: CostArray, first: IntArray, owner: IntArray, leave: IntArray, enter: IntArray,
    pair: IntArray, pair_back: IntArray, cut: IntArray, cuts_from: IntArray, cuts_of: IntArray,
    node_from: IntArray, nodes: IntArray, plan: IntArray, over: IntArray, rooms: IntArray,
    counts: IntArray, ends: IntArray,
) -> int:  # fmt: skip
    """Arcs whose reduced cost is at most ``rooms[0]`` over ``over[c, d]``: how many there are.

    Those at most ``rooms[1]`` over it are told apart: ``counts`` by the logarithm of what is over,
    and the first of them in ``ends`` (2, k).
    """
    row = np.zeros(owner.shape[0], np.int64)
    found, listed = ZERO, ZERO
    for i in range(owner.shape[0]):
        c = owner[i]
        start = _reduced_row(
            i, cost, first, owner, leave, enter, pair, pair_back, cut, cuts_from, cuts_of,
            node_from, nodes, plan, row,
        )  # fmt: skip
        for j in range(start, owner.shape[0]):
            if row[j] == FAR:
                continue
            slack = row[j] - over[c, owner[j]]
            if slack <= rooms[0]:
                found += 1
            if slack <= rooms[1]:
                counts[int(BINS_PER_OCTAVE * math.log2(max(ZERO, slack) + 1.0))] += 1
                if listed < ends.shape[1]:
                    ends[0, listed], ends[1, listed] = i, j
                listed += 1
    return found


@cached_njit
def whole_tree(join: IntArray, over: IntArray) -> int:
    """Spanning tree plus its dearest join, or FAR where none spans; ``over`` filled.

    ``over[c, d]`` is the dearest join on the way from c to d in the tree.
    """
    size = join.shape[0]
    out = np.ones(size, np.bool_)
    parent, key = np.zeros(size, np.int64), join[0].copy()
    met = np.zeros(size, np.int64)
    out[0] = False
    total, dearest = ZERO, -FAR
    for step in range(1, size):
        nearest = NOWHERE
        for c in range(size):
            if out[c] and (nearest < 0 or key[c] < key[nearest]):
                nearest = c
        if key[nearest] == FAR:
            return FAR
        out[nearest] = False
        total += key[nearest]
        dearest = max(dearest, key[nearest])
        for k in range(step):
            d = met[k]
            most = key[nearest]
            if d != parent[nearest]:
                most = max(most, over[parent[nearest], d])
            over[nearest, d], over[d, nearest] = most, most
        met[step] = nearest
        for c in range(size):
            if out[c] and join[nearest, c] < key[c]:
                key[c], parent[c] = join[nearest, c], nearest
    return total + dearest
