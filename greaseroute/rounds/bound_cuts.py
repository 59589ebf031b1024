"""Cuts that a fractional point breaks: small ones by looking, the rest by minimum cut."""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from greaseroute.rounds.bound_lp import Bools, Cut, Floats, Point
from greaseroute.rounds.clusters_problem import ClusterProblem, Ints

FLOW_UNIT = 1_000_000  # capacities are whole millionths of an arc
LEAST_BREACH = 0.01
MOST_PAIR_CUTS = 150
SEEN = 1e-7


@dataclass(frozen=True, slots=True)
class Support:
    """Arcs and nodes that a point uses, with their values."""

    tail: Ints
    head: Ints
    value: Floats
    visit: Floats
    owner: Ints


def support_of(problem: ClusterProblem, point: Point) -> Support:
    """The arcs above zero and how much of a visit each node gets."""
    used = point.value > SEEN
    tail, head, value = point.tail[used], point.head[used], point.value[used]
    visit = np.bincount(tail, weights=value, minlength=len(problem.nodes))
    return Support(tail, head, value, visit, problem.cluster_of)


def find_cuts(problem: ClusterProblem, point: Point) -> list[Cut]:
    """Broken cuts, the cheapest kind to find first; empty where none is found."""
    support = support_of(problem, point)
    pairs = _pair_cuts(problem, support)
    if pairs:
        return pairs
    network = _Network(problem, support)
    return network.cluster_cuts() or network.node_cuts()


def _pair_cuts(problem: ClusterProblem, support: Support) -> list[Cut]:
    """A node a and a whole cluster B: arcs between them both ways cannot exceed a's visit."""
    between = np.zeros((len(problem.nodes), problem.size))
    np.add.at(between, (support.tail, support.owner[support.head]), support.value)
    np.add.at(between, (support.head, support.owner[support.tail]), support.value)
    breach = between - support.visit[:, None]
    node, cluster = np.nonzero(breach > 2 * LEAST_BREACH)
    worst = np.argsort(-breach[node, cluster], kind="stable")[:MOST_PAIR_CUTS]
    cuts = []
    for i in worst if problem.size > 2 else []:
        inside = support.owner == cluster[i]
        inside[node[i]] = True
        cuts.append(Cut(inside, -1))
    return cuts


class _Network:
    """The support as an undirected flow network (in equals out at every node, so it may be).

    Vertex 0 is all of cluster 0; the last vertex is a terminal that can be tied to any cluster.
    """

    def __init__(self, problem: ClusterProblem, support: Support) -> None:
        self._problem, self._support = problem, support
        owner = support.owner
        self._used = np.flatnonzero((support.visit > SEEN) & (owner != 0))
        vertex = np.zeros(len(owner), np.int64)
        vertex[self._used] = np.arange(1, len(self._used) + 1)
        self._vertex, self._terminal = vertex, len(self._used) + 1
        ties = np.full(len(self._used), self._terminal)
        a, b = vertex[support.tail], vertex[support.head]
        row = np.concatenate([a, b, vertex[self._used], ties])
        column = np.concatenate([b, a, ties, vertex[self._used]])
        flow = np.rint(support.value * FLOW_UNIT)
        data = np.concatenate([flow, flow, np.full(2 * len(ties), 0.5)])
        size = self._terminal + 1
        graph = csr_matrix((data, (row, column)), shape=(size, size))
        graph.sort_indices()
        self._graph = csr_matrix((graph.data.astype(np.int32), graph.indices, graph.indptr))
        source = np.repeat(np.arange(size), np.diff(graph.indptr))
        self._ties = np.flatnonzero((source == self._terminal) | (graph.indices == self._terminal))
        other = np.minimum(source[self._ties], graph.indices[self._ties])
        self._tied_cluster = owner[self._used[other - 1]]

    def cluster_cuts(self) -> list[Cut]:
        """Sets with cluster 0 inside and a whole other cluster outside that less than 1 leaves."""
        found: dict[bytes, Cut] = {}
        done = np.zeros(self._problem.size, bool)
        for cluster in range(1, self._problem.size):
            if done[cluster]:
                continue
            self._graph.data[self._ties] = np.where(
                self._tied_cluster == cluster, 4 * FLOW_UNIT, 0
            )
            beyond = self._far_side(self._terminal, 1.0)
            if beyond is not None:
                beyond, whole = self._whole_clusters(beyond)
                done |= whole
                found.setdefault(beyond.tobytes(), Cut(beyond, -1))
        return list(found.values())

    def node_cuts(self) -> list[Cut]:
        """Sets with cluster 0 inside and a node outside that less than its visit leaves."""
        self._graph.data[self._ties] = 0
        found: dict[bytes, Cut] = {}
        visit = self._support.visit
        done = np.zeros(len(visit), bool)
        for node in self._used[np.argsort(-visit[self._used], kind="stable")]:
            if done[node] or visit[node] < 5 * LEAST_BREACH:
                continue
            beyond = self._far_side(int(self._vertex[node]), float(visit[node]))
            if beyond is not None:
                beyond, whole = self._whole_clusters(beyond)
                done |= beyond
                cut = Cut(beyond, -1) if whole.any() else Cut(~beyond, int(node))
                found.setdefault(beyond.tobytes(), cut)
        return list(found.values())

    def _far_side(self, sink: int, need: float) -> Bools | None:
        """Nodes on the sink's side of a minimum cut, where less than ``need`` crosses it."""
        flow = maximum_flow(self._graph, 0, sink)
        if flow.flow_value >= 2 * FLOW_UNIT * (need - LEAST_BREACH):
            return None
        rest = self._graph - flow.flow
        rest.data = np.maximum(rest.data, 0)
        rest.eliminate_zeros()
        near = np.zeros(self._terminal + 1, bool)
        near[breadth_first_order(rest, 0, return_predecessors=False)] = True
        far = np.zeros(len(self._vertex), bool)
        far[self._used] = ~near[self._vertex[self._used]]
        return far

    def _whole_clusters(self, far: Bools) -> tuple[Bools, Bools]:
        """Take idle nodes along where all others of their cluster are on the far side."""
        owner = self._support.owner
        whole = np.ones(self._problem.size, bool)
        np.logical_and.at(whole, owner[self._used], far[self._used])
        whole[0] = False
        return far | whole[owner], whole
