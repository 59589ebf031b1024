"""The linear program over node arcs that closes the last of the gap of a GTSP bound.

Columns are visits of nodes and arcs between nodes of different clusters (edges where costs are
symmetric). Rows: one visit in each cluster; a visited node is left and entered (with edges: it has
two); generalised sub-tour elimination (Fischetti, Salazar Gonzalez and Toth 1997) in the sparse
form of ``NodeCut``, over the arcs inside a node set::

              relief  visits of nodes      arcs (i, j)
    cluster c    1    1 if v is in c                          = 1
    leave v           -1 (edges: -2)       1 if i = v         = 0
    enter v           -1 (no such row)     1 if j = v         = 0    edges: 1 in the row "leave j"
    cut q        1    1 if v pays for q    -1 if inside q    >= right side of q
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.safe_bound import Duals, NodeCut
from greaseroute.solvers.gtsp.problem import GtspProblem
from greaseroute.solvers.lp import INFINITY, RestrictedMaster, entries

GIVEN_AWAY = 0.2  # of one unit of cost: what all arcs left out together may take off the bound


@dataclass(frozen=True, slots=True)
class Point:
    """Values of arcs; where costs are symmetric both ways, half of an edge each."""

    tail: IntArray
    head: IntArray
    value: FloatArray


@dataclass(frozen=True, slots=True)
class RelaxedTour:
    """An optimum: the point, and the duals of clusters, of leaving and entering nodes, of cuts."""

    point: Point
    objective: float
    cluster_dual: FloatArray
    leave_dual: FloatArray
    enter_dual: FloatArray
    cut_dual: FloatArray


class TourMaster(RestrictedMaster[NodeCut]):
    """The restricted master of one tour.

    Column 0 relieves every row whose right side is 1, at the cost ``relief``: the program always
    has a solution, and where it uses the relief no tour below ``relief`` is left.
    """

    def __init__(self, problem: GtspProblem, *, symmetric: bool, relief: int) -> None:
        self.problem, self.symmetric = problem, symmetric
        self._owner, size, nodes = problem.cluster_of, problem.size, len(problem.nodes)
        sizes = [size, nodes] if symmetric else [size, nodes, nodes]
        # One visit in each cluster; balance of nodes.
        right = np.zeros(sum(sizes))
        right[:size] = 1.0
        super().__init__(sizes, right, right)
        # Relief in every row of a cluster, visits in theirs and in the balance.
        cluster, node = np.arange(size), np.arange(nodes)
        blocks = [entries(0 * cluster, cluster, 1.0), entries(1 + node, self._owner, 1.0)]
        leave_and_enter = self.row[1:-1]
        twice = -2.0 if symmetric else -1.0
        blocks += [entries(1 + node, row + node, twice) for row in leave_and_enter]
        self.add_fixed(np.append(float(relief), np.zeros(nodes)), blocks)

    def open_only(self, opened: BoolArray, forced: BoolArray) -> None:
        """Let only these arcs (E,) be used, and the forced ones be used in full."""
        column = self.first_arc + np.arange(self.tail.size)
        self.bound_columns(column, forced.astype(float), np.where(opened, INFINITY, 0.0))

    def solve(self) -> RelaxedTour | None:
        """Solve; None where the solver did not reach an optimum."""
        found = self.optimum()
        if found is None:
            return None
        tail, head, value = self.tail, self.head, found.arc
        # Half of an edge each way: cuts and splits then need not know about edges.
        if self.symmetric:
            tail, head = np.concatenate([tail, head]), np.concatenate([head, tail])
            value = np.tile(value / 2, 2)
        point, dual = Point(tail, head, value), found.dual
        return RelaxedTour(point, found.objective, dual[0], dual[1], dual[-2], dual[-1])

    def duals(self, found: RelaxedTour) -> Duals:
        """The duals as those of the spanning-tree bound, which is at least as high."""
        none = np.zeros(0, np.int64)
        return Duals(
            found.cluster_dual / 2, (found.enter_dual - found.leave_dual) / 2,
            np.zeros(0), none, none, np.maximum(found.cut_dual, 0.0), self.cuts,
        )  # fmt: skip

    def _arc_costs(self, tail: IntArray, head: IntArray) -> FloatArray:
        cost: FloatArray = self.problem.cost[tail, head].astype(float)
        return cost

    def _arc_entries(self, tail: IntArray, head: IntArray) -> list[FloatArray]:
        arc, last = np.arange(tail.size), self.row[-2]
        return [entries(arc, self.row[1] + tail, 1.0), entries(arc, last + head, 1.0)]

    def _cut_entries(
        self, cuts: Sequence[NodeCut], tail: IntArray, head: IntArray
    ) -> tuple[IntArray, IntArray, FloatArray]:
        # Arcs with both ends among the members.
        member = np.zeros((len(cuts), len(self._owner)), bool)
        for k, cut in enumerate(cuts):
            member[k, cut.members] = True
        number, arc = np.nonzero(member[:, tail] & member[:, head])
        return number, arc, np.full(arc.size, -1.0)

    def _cut_entries_of_fixed(self, cuts: Sequence[NodeCut]) -> list[FloatArray]:
        # Visits that pay for the cut, and the relief of cuts with a right side.
        blocks = [entries(np.full(len(c.paid), k), 1 + c.paid, 1.0) for k, c in enumerate(cuts)]
        relieved = np.array([k for k, cut in enumerate(cuts) if cut.right], dtype=np.int64)
        return [*blocks, entries(relieved, 0 * relieved, 1.0)]

    def _cut_sides(self, cuts: Sequence[NodeCut]) -> FloatArray:
        return np.array([float(cut.right) for cut in cuts])
