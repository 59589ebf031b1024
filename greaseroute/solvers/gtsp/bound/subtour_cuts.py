"""Generalised sub-tour cuts that a fractional point violates.

Small ones are found by looking at pairs of a node and a cluster, the others by minimum cuts in the
support of the point, with cluster 0 as the root.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.relaxation import Point
from greaseroute.solvers.gtsp.bound.safe_bound import NodeCut
from greaseroute.solvers.gtsp.problem import GtspProblem
from greaseroute.solvers.min_cut import SEEN, VIOLATION, SupportNetwork

MOST_PAIR_CUTS = 3  # for each cluster, in one round
LEAST_VISIT = 0.05  # a node visited less than this is not looked at


@dataclass(frozen=True, slots=True)
class SubtourCut:
    """One cut: a node set S and the node that is visited outside it.

    ``x(out of S) >= x(out of w)`` for a node w (``visited_node``) outside S, where S holds a whole
    cluster; or ``x(out of S) >= 1`` where a whole cluster lies outside as well (-1).
    """

    inside: BoolArray
    visited_node: int

    def by_members(self) -> NodeCut:
        """The same by what lies inside: of two sides with whole clusters, the smaller."""
        if self.visited_node >= 0:
            members = np.flatnonzero(~self.inside)
            return NodeCut(members, members[members != self.visited_node], 0)
        # Either side says the same; the sparse form is shorter on the smaller.
        small = self.inside if 2 * self.inside.sum() <= len(self.inside) else ~self.inside
        members = np.flatnonzero(small)
        return NodeCut(members, members, 1)


@dataclass(frozen=True, slots=True)
class Support:
    """Arcs that a point uses, with their values, and how often each node is visited."""

    tail: IntArray
    head: IntArray
    value: FloatArray
    visits: FloatArray


def support_of(problem: GtspProblem, point: Point) -> Support:
    """The arcs above zero and the visits of the nodes."""
    used = point.value > SEEN
    tail, head, value = point.tail[used], point.head[used], point.value[used]
    visits = np.zeros(len(problem.nodes))
    np.add.at(visits, tail, value)
    return Support(tail, head, value, visits)


def find_cuts(problem: GtspProblem, point: Point) -> list[SubtourCut]:
    """Violated cuts of all kinds; empty where none is found."""
    support = support_of(problem, point)
    search = _MinimumCuts(problem, support)
    return _pair_cuts(problem, support) + search.cluster_cuts() + search.node_cuts()


def _pair_cuts(problem: GtspProblem, support: Support) -> list[SubtourCut]:
    """A node a and a whole cluster B: arcs between them both ways cannot exceed a's visits."""
    if problem.size < 3:
        return []
    owner = problem.cluster_of
    # Arcs between each node and each cluster, both ways.
    between = np.zeros((len(problem.nodes), problem.size))
    np.add.at(between, (support.tail, owner[support.head]), support.value)
    np.add.at(between, (support.head, owner[support.tail]), support.value)
    violation = between - support.visits[:, None]
    # The worst few: most of the others are met once these are.
    node, cluster = np.nonzero(violation > 2 * VIOLATION)
    worst = np.argsort(-violation[node, cluster], kind="stable")
    cuts = []
    for i in worst[: MOST_PAIR_CUTS * problem.size]:
        inside = owner == cluster[i]
        inside[node[i]] = True
        cuts.append(SubtourCut(inside, -1))
    return cuts


class _MinimumCuts:
    """Separation by minimum cuts from cluster 0 to another cluster, or to a single node."""

    def __init__(self, problem: GtspProblem, support: Support) -> None:
        self._size, self._owner, self._visits = problem.size, problem.cluster_of, support.visits
        # Nodes without a visit cannot be cut off; cluster 0 is the root.
        used = np.flatnonzero((support.visits > SEEN) & (self._owner != 0))
        vertex = np.zeros(len(self._owner), np.int64)
        vertex[used] = np.arange(1, len(used) + 1)
        self._network = SupportNetwork(
            vertex, tail=support.tail, head=support.head, value=support.value
        )

    def cluster_cuts(self) -> list[SubtourCut]:
        """Sets with cluster 0 inside and a whole other cluster outside that less than 1 leaves."""
        found: dict[bytes, SubtourCut] = {}
        # A cluster that lies whole in a set already found needs no cut of its own.
        done, used = np.zeros(self._size, bool), self._network.node
        for cluster in range(1, self._size):
            if done[cluster]:
                continue
            far = self._network.far_side(used[self._owner[used] == cluster], 1.0)
            if far is not None:
                far, whole = self._with_idle_nodes(far)
                done |= whole
                found.setdefault(far.tobytes(), SubtourCut(far, -1))
        return list(found.values())

    def node_cuts(self) -> list[SubtourCut]:
        """Sets with cluster 0 inside and a node outside that less than its visits leaves."""
        found: dict[bytes, SubtourCut] = {}
        for node, far in self._network.subtours(self._visits, least=LEAST_VISIT, once=True):
            far, whole = self._with_idle_nodes(far)
            cut = SubtourCut(far, -1) if whole.any() else SubtourCut(~far, node)
            found.setdefault(far.tobytes(), cut)
        return list(found.values())

    def _with_idle_nodes(self, far: BoolArray) -> tuple[BoolArray, BoolArray]:
        """Take idle nodes along where all others of their cluster are on the far side."""
        whole, used = np.ones(self._size, bool), self._network.node
        whole[self._owner[used[~far[used]]]] = False
        whole[0] = False
        return far | whole[self._owner], whole
