"""Compiled minimum cut on a small undirected network in compressed rows."""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import BoolArray, IntArray


@njit(nogil=True)
def _reach_sink(
    start: IntArray, head: IntArray, room: IntArray, sink: BoolArray, came: IntArray,
    queue: IntArray,
) -> int:  # fmt: skip
    """Shortest way with room from vertex 0 to a sink; the sink, or -1; ``came`` holds arcs."""
    came[:] = -1
    came[0] = -2
    queue[0] = 0
    ahead, filled = 0, 1
    while ahead < filled:
        v = queue[ahead]
        ahead += 1
        for arc in range(start[v], start[v + 1]):
            w = head[arc]
            if room[arc] > 0 and came[w] == -1:
                came[w] = arc
                if sink[w]:
                    return int(w)
                queue[filled] = w
                filled += 1
    return -1


@cached_njit
def near_side(
    start: IntArray, head: IntArray, twin: IntArray, room: IntArray, sink: BoolArray, need: int,
    near: BoolArray,
) -> bool:  # fmt: skip
    """Whether less than ``need`` flows from vertex 0 to the sinks; ``near`` is then its side.

    Augmenting along shortest ways (Edmonds and Karp 1972), given up once ``need`` is reached.
    ``room`` (capacities) is used up; ``twin`` is each arc's opposite.
    """
    came, queue = np.empty(near.shape[0], np.int64), np.empty(near.shape[0], np.int64)
    flow = np.int64(0)
    while flow < need:
        v = _reach_sink(start, head, room, sink, came, queue)
        if v < 0:
            for w in range(near.shape[0]):
                near[w] = came[w] != -1
            return True
        least, w = need, v
        while came[w] >= 0:
            least = min(least, room[came[w]])
            w = head[twin[came[w]]]
        w = v
        while came[w] >= 0:
            room[came[w]] -= least
            room[twin[came[w]]] += least
            w = head[twin[came[w]]]
        flow += least
    return False
