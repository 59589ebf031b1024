"""Compiled: potentials of points, so that units can be joined by their nearest points at no loss.

What is added at a point of entry is taken off at the points of leaving: no round through the unit
changes its time. Set well, the nearest points of two units are those that a short round uses.
"""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, FloatArray, IntArray

CAP_MS = 1e9  # of a potential: a point out of reach gets no more


@njit(nogil=True)
def _lower_to_nearest(
    legs: FloatArray, first: IntArray, node: IntArray, price: FloatArray, potential: FloatArray,
    sign: float, v: int, best: FloatArray,
) -> None:  # fmt: skip
    """Lower ``best`` to the least priced time between any other point and each point of node v.

    ``legs`` (others, points of v's side), ``price`` (other's node, v): transposed, the same serves
    for legs away from v.
    """
    for p in range(first[v], first[v + 1]):
        least = best[p]
        for q in range(legs.shape[0]):
            time = legs[q, p] + price[node[q], v] + sign * potential[q]
            least = min(least, time)
        best[p] = least


@njit(nogil=True)
def _balance_node(
    ways: IntArray, way_ms: FloatArray, span: IntArray, into: FloatArray, out: FloatArray,
    on: FloatArray, off: FloatArray, least_in: FloatArray, least_out: FloatArray, left: float,
) -> None:  # fmt: skip
    """Set one node's potentials: all points alike but for a part of what each is costlier.

    ``span`` holds first and end of the node's entries, leavings and ways.
    """
    # Least time of a round through each point of the node, and through the node at all.
    least = FAR * 1.0
    for w in range(span[4], span[5]):
        a, b = ways[0, w], ways[1, w]
        time = into[a] + way_ms[w] + out[b]
        least_in[a] = min(least_in[a], time)
        least_out[b] = min(least_out[b], time)
        least = min(least, time)
    if least >= FAR / 2:
        return
    # What leads to a point is taken off, so that each costs the same; a part of the excess stays.
    total, count = 0.0, span[1] - span[0] + span[3] - span[2]
    for a in range(span[0], span[1]):
        on[a] = left * (min(least_in[a], least + CAP_MS) - least) - min(into[a], CAP_MS)
        total += on[a]
    for b in range(span[2], span[3]):
        off[b] = min(out[b], CAP_MS) - left * (min(least_out[b], least + CAP_MS) - least)
        total += off[b]
    # The same taken off everywhere changes nothing but keeps the numbers small.
    for a in range(span[0], span[1]):
        on[a] -= total / count
    for b in range(span[2], span[3]):
        off[b] -= total / count


@cached_njit
def balance(
    legs: FloatArray, ends: tuple[IntArray, IntArray, IntArray, IntArray], price: FloatArray,
    edge: tuple[FloatArray, FloatArray], ways: tuple[IntArray, FloatArray, IntArray],
    on: FloatArray, off: FloatArray, order: IntArray, left: float,
) -> None:  # fmt: skip
    """Go through the nodes in ``order`` and back and set their potentials ``on`` and ``off``.

    Parameters
    ----------
    legs : (O, I)
        Times from points of leaving to points of entry.
    ends
        First point of entry of each node and one past all, node of each point of entry; the same
        for leaving.
    price : (n, n)
        Added to legs.
    edge : (I,), (O,)
        Priced times from the starts to entries, from leavings to the finishes.
    ways : (2, W), (W,), (n + 1,)
        Ends, times, first of each node.
    on, off : (I,), (O,)
        Changed in place.
    left : float
        Part of what a point is costlier that is left on the legs to it.
    """
    in_first, in_node, out_first, out_node = ends
    n = order.shape[0]
    into, out = np.empty(legs.shape[1]), np.empty(legs.shape[0])
    span = np.empty(6, np.int64)
    for step in range(2 * n):
        v = order[step] if step < n else order[2 * n - 1 - step]
        span[0], span[1] = in_first[v], in_first[v + 1]
        span[2], span[3] = out_first[v], out_first[v + 1]
        span[4], span[5] = ways[2][v], ways[2][v + 1]
        # What leads to the node and away from it, under the potentials of all others.
        into[:], out[:] = edge[0], edge[1]
        _lower_to_nearest(legs, in_first, out_node, price, off, -1.0, v, into)
        _lower_to_nearest(legs.T, out_first, in_node, price.T, on, 1.0, v, out)
        least_in, least_out = np.full(legs.shape[1], FAR * 1.0), np.full(legs.shape[0], FAR * 1.0)
        _balance_node(ways[0], ways[1], span, into, out, on, off, least_in, least_out, left)
