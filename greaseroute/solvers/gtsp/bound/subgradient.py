"""Duals raised by the volume algorithm over a list of arcs, with cuts taken in as they are found.

Every step solves a spanning tree of clusters, so all cuts between whole clusters hold at once. A
running mean of the trees approximates an optimum of the linear program, and shows which cuts on
parts of clusters are violated (Barahona and Anbil 2000). What comes out are duals; ``safe_bound``
proves a bound from them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.kernels import subgradient as kernel
from greaseroute.solvers.gtsp.bound.relaxation import Point
from greaseroute.solvers.gtsp.bound.safe_bound import Duals, NodeCut
from greaseroute.solvers.gtsp.bound.subtour_cuts import SubtourCut
from greaseroute.solvers.gtsp.problem import GtspProblem

FIRST_STEP = 0.1
LEAST_STEP = 0.005  # where it has shrunk further, fresh cuts start from here again
LEAST_WORTH = 3e-3  # of a tour's mean leg: a cut with a smaller dual is forgotten
WORTHY = 0.02  # the same, for a row of the first linear program
LEAST_SEEN = 0.02  # of an arc in the mean: fewer arcs, far quicker cuts
LEAST_USE = 1e-6
WEIGHT_OF_A_TREE = 0.03  # in the running mean


@dataclass(frozen=True, slots=True)
class ArcList:
    """Arcs (edges where costs are symmetric) in groups by the two clusters they join.

    Attributes
    ----------
    ends : (2, E)
        Tails and heads.
    group_from : (g + 1,)
        Group k is the run of arcs ``group_from[k]:group_from[k + 1]``.
    group : (2, g)
        The two clusters of each group.
    pair : (2, E)
        For either end of an arc, the number of the pair (that node, the cluster across).
    pair_key : (p,)
        Node times number of clusters plus cluster, for each pair; ascending.
    """

    ends: IntArray
    group_from: IntArray
    group: IntArray
    pair: IntArray
    pair_key: IntArray

    @classmethod
    def of(cls, problem: GtspProblem, tail: IntArray, head: IntArray) -> "ArcList":
        """Sort and group these arcs."""
        owner, size = problem.cluster_of, problem.size
        # Sorted by the pair of clusters, so that a group is a run.
        low, high = np.minimum(owner[tail], owner[head]), np.maximum(owner[tail], owner[head])
        order = np.lexsort((head, tail, low * size + high))
        ends = np.stack([tail[order], head[order]]).astype(np.int64)
        key = (low * size + high)[order]
        start = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
        # Every end of an arc belongs to the pair (its node, the cluster across).
        across = np.stack([ends[0] * size + owner[ends[1]], ends[1] * size + owner[ends[0]]])
        pair_key, pair = np.unique(across, return_inverse=True)
        return cls(
            np.ascontiguousarray(ends),
            np.concatenate([start, [len(key)]]).astype(np.int64),
            np.stack([key[start] // size, key[start] % size]).astype(np.int64),
            pair.reshape(2, -1).astype(np.int64),
            pair_key.astype(np.int64),
        )


class Subgradient:
    """Duals over a list of arcs, and the mean of the trees they gave; resumed at will."""

    def __init__(self, problem: GtspProblem, arcs: ArcList, *, symmetric: bool) -> None:
        self.problem, self.arcs, self.symmetric = problem, arcs, symmetric
        self.cuts: list[NodeCut] = []
        self._inside: list[IntArray] = []  # the arcs of each cut
        self._known: set[bytes] = set()
        self._cluster = np.zeros(problem.size)
        self._node = np.zeros(len(problem.nodes))
        self._pair = np.zeros(len(arcs.pair_key))
        self._cut = np.zeros(0)
        self._mean = np.zeros(arcs.ends.shape[1])
        self._step = FIRST_STEP

    def climb(self, steps: int, *, upper: int) -> float:
        """Make so many steps; the best value over the listed arcs (floating point, no proof)."""
        # Pairs and cuts are rows of one kind for the kernel.
        arc_from, arcs, paid_from, paid, right = self._rows()
        cut = np.concatenate([self._pair, self._cut])
        cost = self.problem.cost[self.arcs.ends[0], self.arcs.ends[1]].astype(float)
        rate = np.array([self._step, WEIGHT_OF_A_TREE, float(upper)])
        value = kernel.climb(
            self.arcs.ends, cost, self.arcs.group_from, self.arcs.group, self.problem.cluster_of,
            arc_from, arcs, paid_from, paid, right, self._cluster, self._node, cut, self._mean,
            np.array([steps, 0 if self.symmetric else 1]), rate,
        )  # fmt: skip
        self._step = max(LEAST_STEP, float(rate[0]))
        self._pair, self._cut = cut[: len(self._pair)], cut[len(self._pair) :]
        return float(value)

    def duals(self) -> Duals:
        """The duals now."""
        key, size = self.arcs.pair_key, self.problem.size
        return Duals(
            self._cluster, self._node, self._pair, key // size, key % size, self._cut, self.cuts
        )

    def point(self) -> Point:
        """The mean of the trees as a fractional point, without what is but noise."""
        # Few arcs make quick cuts; the rest of the mean is noise of early trees.
        seen = self._mean > LEAST_SEEN
        (tail, head), value = self.arcs.ends[:, seen], self._mean[seen]
        if self.symmetric:
            tail, head = np.concatenate([tail, head]), np.concatenate([head, tail])
            value = np.tile(value / 2, 2)
        return Point(tail, head, value)

    def add_cuts(self, cuts: Sequence[SubtourCut]) -> int:
        """Take in those not yet known; how many."""
        before = len(self.cuts)
        for cut in cuts:
            # By content: the same set may be found again in every round.
            name = cut.inside.tobytes() + cut.visited_node.to_bytes(8, signed=True)
            if name not in self._known:
                self._known.add(name)
                self.cuts.append(cut.by_members())
        # A new cut begins without a dual.
        self._inside += [self._arcs_in(cut) for cut in self.cuts[before:]]
        self._cut = np.concatenate([self._cut, np.zeros(len(self.cuts) - before)])
        return len(self.cuts) - before

    def used(self, *, everything: bool = False) -> tuple[IntArray, IntArray]:
        """The arcs that are in the mean of the trees, or all."""
        kept = (self._mean > LEAST_USE) | everything
        return self.arcs.ends[0, kept], self.arcs.ends[1, kept]

    def worthy_cuts(self, *, upper: int) -> list[NodeCut]:
        """Pairs and cuts with a dual that is worth a row of the first linear program."""
        owner, size = self.problem.cluster_of, self.problem.size
        least = WORTHY * upper / size
        cuts = [self.cuts[q] for q in np.flatnonzero(self._cut > least)]
        # Pairs as cuts of their own: the node and all of the cluster across.
        for key in self.arcs.pair_key[self._pair > least].tolist():
            node, across = divmod(key, size)
            members = np.append(np.flatnonzero(owner == across), node)
            cuts.append(NodeCut(members, np.array([node]), 0))
        return cuts

    def drop_idle_cuts(self, *, upper: int) -> None:
        """Forget the cuts that are worth next to nothing; they are found again if need be."""
        used = np.flatnonzero(self._cut > LEAST_WORTH * upper / self.problem.size)
        self.cuts = [self.cuts[q] for q in used]
        self._inside = [self._inside[q] for q in used]
        self._cut = self._cut[used]
        self._known = set()

    def list_anew(self, arcs: ArcList) -> None:
        """Go on with other arcs; what arcs and pairs had is kept where they are still listed."""
        self._pair = _carried(self.arcs.pair_key, self._pair, arcs.pair_key)
        # By keys: arcs and pairs have other numbers in the new list.
        count = len(self.problem.nodes)
        old, new = (part.ends[0] * count + part.ends[1] for part in (self.arcs, arcs))
        order = np.argsort(old)
        self._mean = _carried(old[order], self._mean[order], new)
        self.arcs = arcs
        self._inside = [self._arcs_in(cut) for cut in self.cuts]

    def _rows(self) -> tuple[IntArray, IntArray, IntArray, IntArray, FloatArray]:
        """Pairs first, then cuts: their arcs, the nodes that pay, their right sides."""
        # Each pair holds the arcs between its node and its cluster.
        pairs, count = len(self._pair), self.arcs.ends.shape[1]
        order = np.argsort(self.arcs.pair.ravel(), kind="stable") % max(1, count)
        of_pairs = np.bincount(self.arcs.pair.ravel(), minlength=pairs)
        lengths = np.concatenate([of_pairs, [len(part) for part in self._inside]])
        paid_lengths = np.concatenate([np.ones(pairs), [len(cut.paid) for cut in self.cuts]])
        payers = [self.arcs.pair_key // self.problem.size, *(cut.paid for cut in self.cuts)]
        return (
            _starts(lengths),
            np.concatenate([order, *self._inside]).astype(np.int64),
            _starts(paid_lengths),
            np.concatenate(payers).astype(np.int64),
            np.concatenate([np.zeros(pairs), [float(cut.right) for cut in self.cuts]]),
        )

    def _arcs_in(self, cut: NodeCut) -> IntArray:
        inside = np.zeros(len(self.problem.nodes), bool)
        inside[cut.members] = True
        return np.flatnonzero(inside[self.arcs.ends[0]] & inside[self.arcs.ends[1]])


def _starts(lengths: FloatArray | IntArray) -> IntArray:
    return np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)


def _carried(old_key: IntArray, old: FloatArray, new_key: IntArray) -> FloatArray:
    """Values by key, 0 where the key is new; ``old_key`` is sorted."""
    place = np.minimum(np.searchsorted(old_key, new_key), max(0, len(old_key) - 1))
    if not len(old_key):
        return np.zeros(len(new_key))
    carried: FloatArray = np.where(old_key[place] == new_key, old[place], 0.0)
    return carried
