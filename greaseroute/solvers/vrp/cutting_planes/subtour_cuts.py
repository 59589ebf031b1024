"""Sets of nodes that a flow leaves too seldom: sub-tours of one kind, loads."""

import numpy as np

from greaseroute.solvers.arrays import BoolArray, FloatArray
from greaseroute.solvers.min_cut import near_side
from greaseroute.solvers.vrp.cutting_planes.capacity_cuts import Loads
from greaseroute.solvers.vrp.cutting_planes.giant_tour import Ring
from greaseroute.solvers.vrp.cutting_planes.relaxation import Flow, Need

FLOW_UNIT = 1_000_000  # capacities are whole millionths of an arc
BREACH = 0.02  # a set left less often by this much is worth a row
LEAST_VISIT = 0.05  # a node visited less than this is not looked at
MOST_CUTS = 60
SEEN = 1e-7


def find_needs(ring: Ring, flow: Flow, loads: Loads | None) -> list[Need]:
    """Sets that are left too seldom, the worst of each sort first; empty where none is found.

    Loads are looked at where ``loads`` are given.
    """
    visit = np.zeros(ring.cluster.size)
    np.add.at(visit, flow.tail, flow.value)
    needs: list[Need] = []
    for kind in range(ring.crew.size):
        needs += _subtours(ring, flow, visit, kind=kind)
    if loads is not None:
        needs += loads.needs(ring, flow)
    return needs


def _subtours(ring: Ring, flow: Flow, visit: FloatArray, *, kind: int) -> list[Need]:
    """Sets of one kind's nodes without a start that are left less often than one of them is.

    What enters a node leaves it, so the flow is looked at as if it went both ways.
    """
    used = (flow.value > SEEN) & (ring.kind[flow.tail] == kind)
    network = _Network(ring, flow, used)
    counted = np.where(np.arange(visit.size) < ring.unit_nodes, visit, 0.0)
    found: dict[tuple[bytes, int], Need] = {}
    for inside in network.pairs(counted):
        _keep(found, inside, counted)
    order = np.argsort(-counted[network.node], kind="stable")
    for node in network.node[order]:
        if counted[node] < LEAST_VISIT:
            break
        far = network.far_side(int(node), float(counted[node]))
        if far is not None:
            _keep(found, far, counted)
    return list(found.values())


def _keep(found: dict[tuple[bytes, int], Need], inside: BoolArray, visit: FloatArray) -> None:
    """Note a set, with the most visited of its nodes."""
    credit = int(np.where(inside, visit, -1.0).argmax())
    found.setdefault((inside.tobytes(), credit), Need(inside, 0, credit))


class _Network:
    """The used nodes of one kind as an undirected flow network; vertex 0 is all starts together."""

    def __init__(self, ring: Ring, flow: Flow, used: BoolArray) -> None:
        tail, head, value = flow.tail[used], flow.head[used], flow.value[used]
        size = ring.cluster.size
        self._size, depot = size, size - ring.depots
        ends = np.unique(np.concatenate([tail, head]))
        self.node = ends[ends < depot]
        vertex = np.zeros(size, dtype=np.int64)
        vertex[self.node] = 1 + np.arange(self.node.size)
        self._vertex, count = vertex, self.node.size + 1
        a, b = vertex[tail], vertex[head]
        real = a != b
        key = np.concatenate([a[real] * count + b[real], b[real] * count + a[real]])
        key, place = np.unique(key, return_inverse=True)
        room = np.zeros(key.size)
        np.add.at(room, place, np.tile(value[real], 2))
        self._flow, self._row, self._head = room, key // count, key % count
        self._room = np.rint(room * FLOW_UNIT).astype(np.int64)
        self._start = np.searchsorted(self._row, np.arange(count + 1)).astype(np.int64)
        self._twin = np.searchsorted(key, self._head * count + self._row).astype(np.int64)

    def pairs(self, visit: FloatArray) -> list[BoolArray]:
        """Two nodes between which more flows than one of them is visited."""
        row, head = self._row, self._head
        apart = (row > 0) & (row < head)
        a, b = self.node[row[apart] - 1], self.node[head[apart] - 1]
        breach = self._flow[apart] - np.minimum(visit[a], visit[b])
        breach[(visit[a] == 0) | (visit[b] == 0)] = 0.0
        order = np.argsort(-breach, kind="stable")[:MOST_CUTS]
        sets = []
        for k in order[breach[order] > BREACH]:
            inside = np.zeros(self._size, dtype=bool)
            inside[[a[k], b[k]]] = True
            sets.append(inside)
        return sets

    def far_side(self, node: int, visit: float) -> BoolArray | None:
        """The nodes beyond a least cut before ``node``, where less flows than it is visited."""
        count = self.node.size + 1
        sink, near = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
        sink[self._vertex[node]] = True
        need = round(2 * FLOW_UNIT * (visit - BREACH / 2))
        room = self._room.copy()
        if not near_side(self._start, self._head, self._twin, room, sink, need, near):
            return None
        far = np.zeros(self._size, dtype=bool)
        far[self.node[~near[1:]]] = True
        return far
