"""Cuts that a fractional point breaks: small ones by looking, the rest by minimum cut."""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers import min_cut as kernel
from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.relaxation import Point
from greaseroute.solvers.gtsp.bound.safe_bound import NodeCut
from greaseroute.solvers.gtsp.problem import ClusterProblem

FLOW_UNIT = 1_000_000  # capacities are whole millionths of an arc
LEAST_BREACH = 0.01
MOST_PAIR_CUTS = 3  # for each cluster, in one round
SEEN = 1e-7


@dataclass(frozen=True, slots=True)
class Cut:
    """One cut: the node set ``inside``, and the node ``credit`` (or -1: right side is 1).

    ``x(out of S) - x(out of w) >= 0`` for a node ``w`` outside a node set ``S`` that holds a whole
    cluster, or ``x(out of S) >= 1`` where a whole cluster lies outside as well.
    """

    inside: BoolArray
    credit: int

    def by_members(self) -> NodeCut:
        """The same by what lies inside: of two sides with whole clusters, the smaller."""
        if self.credit >= 0:
            members = np.flatnonzero(~self.inside)
            return NodeCut(members, members[members != self.credit], 0)
        small = self.inside if 2 * self.inside.sum() <= len(self.inside) else ~self.inside
        members = np.flatnonzero(small)
        return NodeCut(members, members, 1)


@dataclass(frozen=True, slots=True)
class Support:
    """Arcs and nodes that a point uses, with their values."""

    tail: IntArray
    head: IntArray
    value: FloatArray
    visit: FloatArray
    owner: IntArray


def support_of(problem: ClusterProblem, point: Point) -> Support:
    """The arcs above zero and how much of a visit each node gets."""
    used = point.value > SEEN
    tail, head, value = point.tail[used], point.head[used], point.value[used]
    visit = np.zeros(len(problem.nodes))
    np.add.at(visit, tail, value)
    return Support(tail, head, value, visit, problem.cluster_of)


def find_cuts(problem: ClusterProblem, point: Point) -> list[Cut]:
    """Broken cuts of all kinds; empty where none is found."""
    support = support_of(problem, point)
    network = Network(problem, support)
    return _pair_cuts(problem, support) + network.cluster_cuts() + network.node_cuts()


def _pair_cuts(problem: ClusterProblem, support: Support) -> list[Cut]:
    """A node a and a whole cluster B: arcs between them both ways cannot exceed a's visit."""
    if problem.size < 3:
        return []
    between = np.zeros((len(problem.nodes), problem.size))
    np.add.at(between, (support.tail, support.owner[support.head]), support.value)
    np.add.at(between, (support.head, support.owner[support.tail]), support.value)
    breach = between - support.visit[:, None]
    node, cluster = np.nonzero(breach > 2 * LEAST_BREACH)
    cuts = []
    for i in np.argsort(-breach[node, cluster], kind="stable")[: MOST_PAIR_CUTS * problem.size]:
        inside = support.owner == cluster[i]
        inside[node[i]] = True
        cuts.append(Cut(inside, -1))
    return cuts


class Network:
    """The support as an undirected flow network (in equals out at every node, so it may be).

    Vertex 0 is all of cluster 0, the others are the used nodes of the other clusters.
    """

    def __init__(self, problem: ClusterProblem, support: Support) -> None:
        self._problem, self._support = problem, support
        owner = support.owner
        self._used = np.flatnonzero((support.visit > SEEN) & (owner != 0))
        vertex = np.zeros(len(owner), np.int64)
        vertex[self._used] = np.arange(1, len(self._used) + 1)
        count = len(self._used) + 1
        self._vertex = vertex
        a, b = vertex[support.tail], vertex[support.head]
        key = np.concatenate([a * count + b, b * count + a])
        self._key, place = np.unique(key, return_inverse=True)
        room = np.zeros(len(self._key))
        np.add.at(room, place, np.tile(support.value, 2))
        self._room = np.rint(room * FLOW_UNIT).astype(np.int64)
        row, self._head = self._key // count, self._key % count
        self._start = np.searchsorted(row, np.arange(count + 1)).astype(np.int64)
        self._twin = np.searchsorted(self._key, self._head * count + row).astype(np.int64)
        self._cluster = np.concatenate([[0], owner[self._used]])

    def cluster_cuts(self) -> list[Cut]:
        """Sets with cluster 0 inside and a whole other cluster outside that less than 1 leaves."""
        found: dict[bytes, Cut] = {}
        done = np.zeros(self._problem.size, bool)
        for cluster in range(1, self._problem.size):
            if done[cluster]:
                continue
            beyond = self._far_side(self._cluster == cluster, 1.0)
            if beyond is not None:
                beyond, whole = self._whole_clusters(beyond)
                done |= whole
                found.setdefault(beyond.tobytes(), Cut(beyond, -1))
        return list(found.values())

    def node_cuts(self) -> list[Cut]:
        """Sets with cluster 0 inside and a node outside that less than its visit leaves."""
        found: dict[bytes, Cut] = {}
        visit = self._support.visit
        done = np.zeros(len(visit), bool)
        vertices = np.arange(len(self._cluster))
        for node in self._used[np.argsort(-visit[self._used], kind="stable")]:
            if done[node] or visit[node] < 5 * LEAST_BREACH:
                continue
            beyond = self._far_side(vertices == self._vertex[node], float(visit[node]))
            if beyond is not None:
                beyond, whole = self._whole_clusters(beyond)
                done |= beyond
                cut = Cut(beyond, -1) if whole.any() else Cut(~beyond, int(node))
                found.setdefault(beyond.tobytes(), cut)
        return list(found.values())

    def _far_side(self, sink: BoolArray, need: float) -> BoolArray | None:
        """Nodes on the sinks' side of a minimum cut, where less than ``need`` crosses it."""
        near = np.zeros(len(self._cluster), bool)
        units = round(2 * FLOW_UNIT * (need - LEAST_BREACH))
        if not kernel.near_side(
            self._start, self._head, self._twin, self._room.copy(), sink, units, near
        ):
            return None
        far = np.zeros(len(self._vertex), bool)
        far[self._used] = ~near[self._vertex[self._used]]
        return far

    def _whole_clusters(self, far: BoolArray) -> tuple[BoolArray, BoolArray]:
        """Take idle nodes along where all others of their cluster are on the far side."""
        owner = self._support.owner
        whole = np.ones(self._problem.size, bool)
        whole[owner[self._used[~far[self._used]]]] = False
        whole[0] = False
        return far | whole[owner], whole
