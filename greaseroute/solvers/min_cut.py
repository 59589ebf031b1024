"""Minimum cuts in the support of a fractional point, and the sub-tours they show.

The support is the set of arcs with a value above zero. What enters a node leaves it, so direction
does not matter for what crosses a set: the support is an undirected network. Vertex 0 stands for
the root (one cluster, or all starts and finishes), the other vertices for one node each. Edges
stand in compressed rows::

    start   [0, 2, 5, ...]         edges of vertex v are start[v] : start[v + 1]
    head    [3, 7 | 0, 4, 9 | ...] their other ends
    twin    [.. ]                  the same edge, seen from its other end
    capacity[.. ]                  whole millionths of an arc
"""

from collections.abc import Iterator

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray

PER_ARC = 1_000_000  # capacities are whole millionths of an arc
VIOLATION = 0.01  # what is missing less than this is not worth a cut
SEEN = 1e-7  # values up to this are rounding of the linear solver


class SupportNetwork:
    """The support as an undirected flow network.

    Parameters
    ----------
    vertex : (n,)
        Vertex of each node: 0 for the root and for nodes that no arc uses, else 1, 2, ..., each
        once and ascending.
    tail, head : (E,)
        Nodes of the arcs of the support.
    value : (E,)
        Their values.
    """

    def __init__(
        self, vertex: IntArray, *, tail: IntArray, head: IntArray, value: FloatArray
    ) -> None:
        self.node = np.flatnonzero(vertex)
        self._vertex, count = vertex, self.node.size + 1
        # Each arc once in either direction; parallel ones add up, those inside the root vanish.
        a, b = vertex[tail], vertex[head]
        real = a != b
        key = np.concatenate([a[real] * count + b[real], b[real] * count + a[real]])
        key, place = np.unique(key, return_inverse=True)
        self._flow = np.zeros(key.size)
        np.add.at(self._flow, place, np.tile(value[real], 2))
        # Keys are sorted by row, so that rows are runs and the twin is found by bisection.
        self._row, self._head = key // count, key % count
        self._capacity = np.rint(self._flow * PER_ARC).astype(np.int64)
        self._start = np.searchsorted(self._row, np.arange(count + 1)).astype(np.int64)
        self._twin = np.searchsorted(key, self._head * count + self._row).astype(np.int64)

    def edges(self) -> tuple[IntArray, IntArray, FloatArray]:
        """Pairs of nodes other than the root, each once, and what flows between them both ways."""
        inner = (self._row > 0) & (self._row < self._head)
        row, head = self.node[self._row[inner] - 1], self.node[self._head[inner] - 1]
        return row, head, self._flow[inner]

    def far_side(self, sinks: IntArray, wanted: float) -> BoolArray | None:
        """The side of a minimum cut on which the sinks lie, if it is violated.

        Parameters
        ----------
        sinks : (k,)
            Nodes that must lie on the far side together.
        wanted : float
            How many times a set that holds them must be left.

        Returns
        -------
        (n,) bool, or None where the set is left often enough.
        """
        sink, near = np.zeros(self.node.size + 1, bool), np.zeros(self.node.size + 1, bool)
        sink[self._vertex[sinks]] = True
        least = round(2 * PER_ARC * (wanted - VIOLATION))  # an arc counts once in each direction
        # The kernel uses the capacities up.
        capacity = self._capacity.copy()
        if not near_side(self._start, self._head, self._twin, capacity, sink, least, near):
            return None
        # Back from vertices to nodes.
        far = np.zeros(self._vertex.size, bool)
        far[self.node[~near[1:]]] = True
        return far

    def subtours(
        self, visits: FloatArray, *, least: float, once: bool = False
    ) -> Iterator[tuple[int, BoolArray]]:
        """Sets without the root that are left less often than a node in them is visited.

        Parameters
        ----------
        visits : (n,)
            How often each node is visited; nodes with less than ``least`` are not looked at.
        once : bool
            Whether nodes of a set already found are passed over.

        Yields
        ------
        (node, set) : int, (n,) bool
            Most visited nodes first.
        """
        # A node in a set that was found needs no cut of its own where one for each is enough.
        passed = np.zeros(self._vertex.size, bool)
        for node in self.node[np.argsort(-visits[self.node], kind="stable")].tolist():
            if visits[node] < least:
                return
            far = None if passed[node] else self.far_side(np.array([node]), float(visits[node]))
            if far is not None:
                passed |= far & once
                yield node, far


@njit(nogil=True)
def _reach_sink(
    start: IntArray, head: IntArray, capacity: IntArray, sink: BoolArray, came: IntArray,
    queue: IntArray,
) -> int:  # fmt: skip
    """Find a shortest path with capacity from vertex 0 to a sink; return the sink, or -1.

    ``came[v]`` is the edge by which v was reached: -1 not reached, -2 the root itself.
    """
    # Breadth first: ``queue`` holds the vertices reached, ``ahead`` is the next to look at.
    came[:] = -1
    came[0] = -2
    queue[0] = 0
    ahead, filled = 0, 1
    while ahead < filled:
        v = queue[ahead]
        ahead += 1
        for edge in range(start[v], start[v + 1]):
            w = head[edge]
            if capacity[edge] > 0 and came[w] == -1:
                came[w] = edge
                if sink[w]:
                    return int(w)
                queue[filled] = w
                filled += 1
    return -1


@cached_njit
def near_side(
    start: IntArray, head: IntArray, twin: IntArray, capacity: IntArray, sink: BoolArray,
    least: int, near: BoolArray,
) -> bool:  # fmt: skip
    """Return whether less than ``least`` flows from vertex 0 to the sinks; fill ``near`` if so.

    ``near`` is the side of vertex 0. Augmenting along shortest paths (Edmonds and Karp 1972), given
    up once ``least`` is reached. ``capacity`` is used up.
    """
    came, queue = np.empty(near.shape[0], np.int64), np.empty(near.shape[0], np.int64)
    flow = np.int64(0)
    while flow < least:
        v = _reach_sink(start, head, capacity, sink, came, queue)
        # No path is left: what the search did reach is the near side of a minimum cut.
        if v < 0:
            for w in range(near.shape[0]):
                near[w] = came[w] != -1
            return True
        # Walk the path back twice: for its bottleneck, then to push that much along it.
        bottleneck, w = least, v
        while came[w] >= 0:
            bottleneck = min(bottleneck, capacity[came[w]])
            w = head[twin[came[w]]]
        w = v
        while came[w] >= 0:
            capacity[came[w]] -= bottleneck
            capacity[twin[came[w]]] += bottleneck
            w = head[twin[came[w]]]
        flow += bottleneck
    return False
