"""Shortest paths over tangent links: Dijkstra with a heap of its own, many sources in one call."""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.walk.arrays import Floats, Ints, Nodes


@njit(nogil=True)
def _raise(heap: Ints, place: Ints, key: Floats, at: int) -> None:
    node = heap[at]
    while at > 0:
        up = (at - 1) >> 1
        if key[heap[up]] <= key[node]:
            break
        heap[at] = heap[up]
        place[heap[at]] = at
        at = up
    heap[at] = node
    place[node] = at


@njit(nogil=True)
def _pop(heap: Ints, place: Ints, key: Floats, size: int) -> int:
    top = int(heap[0])
    last = heap[size - 1]
    size -= 1
    at = 0
    while True:
        child = 2 * at + 1
        if child >= size:
            break
        if child + 1 < size and key[heap[child + 1]] < key[heap[child]]:
            child += 1
        if key[heap[child]] >= key[last]:
            break
        heap[at] = heap[child]
        place[heap[at]] = at
        at = child
    if size > 0:
        heap[at] = last
        place[last] = at
    place[top] = -2
    return top


@njit(nogil=True)
def _settle(
    begin: int, end: int, start: Ints, start_cost: Floats, start_m: Floats, start_span: Ints,
    head: Ints, cost: Floats, metres: Floats, after: Ints, key: Floats, far: Floats, parent: Ints,
    span: Ints, heap: Ints, place: Ints,
) -> None:  # fmt: skip
    """Cost from one source to every corner.

    ``start[begin:end]`` are the corners the source sees; link ``e`` leads to corner ``head[e]``;
    having come by it, only links ``after[e, 0]:after[e, 1]`` go on round the corner without being
    slack.
    ``key`` (cost), ``far`` (metres along the way) and ``parent`` are filled; ``parent`` is the
    corner before, -1 for the source itself.
    """
    for i in range(len(key)):
        key[i] = far[i] = np.inf
        parent[i] = place[i] = -1
    size = begin - begin  # a plain 0 would be a type of its own and compile functions twice
    for i in range(begin, end):
        node = start[i]
        if start_cost[i] < key[node]:
            key[node] = start_cost[i]
            far[node] = start_m[i]
            span[node, 0], span[node, 1] = start_span[i, 0], start_span[i, 1]
            if place[node] < 0:
                place[node] = size
                heap[size] = node
                size += 1
            _raise(heap, place, key, place[node])
    while size > 0:
        node = _pop(heap, place, key, size)
        size -= 1
        for e in range(span[node, 0], span[node, 1]):
            to = head[e]
            reached = key[node] + cost[e]
            if reached < key[to]:
                key[to] = reached
                far[to] = far[node] + metres[e]
                parent[to] = node
                span[to, 0], span[to, 1] = after[e, 0], after[e, 1]
                if place[to] < 0:
                    place[to] = size
                    heap[size] = to
                    size += 1
                _raise(heap, place, key, place[to])


@cached_njit
def all_rows(
    first: Ints, start: Ints, start_cost: Floats, start_m: Floats, start_span: Ints, head: Ints,
    cost: Floats, metres: Floats, after: Ints, goal_first: Ints, goal: Ints, goal_cost: Floats,
    goal_m: Floats, nodes: int, out: Floats, out_m: Floats, last: Nodes, trees: Nodes,
) -> None:  # fmt: skip
    """Lower ``out[i, j]`` to the cost from source i to goal j through corners.

    ``out`` comes in with the direct costs (infinity where unseen), ``out_m`` with their metres.
    The rest is filled only where the arrays are not empty: ``out_m``; ``last``, the last corner of
    each way, -1 for a direct one; ``trees``, for each source the corner before each corner.
    """
    key = np.empty(nodes)
    far = np.empty(nodes)
    parent = np.empty(nodes, np.int64)
    span = np.empty((nodes, 2), np.int64)
    heap = np.empty(nodes, np.int64)
    place = np.empty(nodes, np.int64)
    for i in range(len(first) - 1):
        _settle(
            first[i], first[i + 1], start, start_cost, start_m, start_span, head, cost, metres,
            after, key, far, parent, span, heap, place,
        )  # fmt: skip
        if len(trees) > 0:
            for j in range(nodes):
                trees[i, j] = parent[j]
        for j in range(len(goal_first) - 1):
            best = out[i, j]
            via = -1
            for g in range(goal_first[j], goal_first[j + 1]):
                reached = key[goal[g]] + goal_cost[g]
                if reached < best:
                    best = reached
                    via = g
            if via >= 0:
                out[i, j] = best
                if len(last) > 0:
                    last[i, j] = goal[via]
                    out_m[i, j] = far[goal[via]] + goal_m[via]
