"""The linear program over node arcs behind the last of the bound, rows and columns added as found.

Variables are visits of nodes and arcs between nodes of different clusters. Rows: one visit in each
cluster; a visited node is left and entered (where costs are symmetric a column is an edge, and a
visited node has two); cuts on parts of clusters (``NodeCut``: generalised sub-tour elimination,
Fischetti, Salazar Gonzalez and Toth 1997), in their sparse form over the arcs inside a node set.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import highspy
import numpy as np

from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.safe_bound import Multipliers, NodeCut
from greaseroute.solvers.gtsp.problem import ClusterProblem

DUAL_SIMPLEX = 1
GIVEN_AWAY = 0.2  # of one cost unit: what arcs left out may take off the bound in all


@dataclass(frozen=True, slots=True)
class Point:
    """Arc values, both ways where costs are symmetric (half of an edge each)."""

    tail: IntArray
    head: IntArray
    value: FloatArray


@dataclass(frozen=True, slots=True)
class Solution:
    """A point and what the rows are worth: ``leave`` and ``enter`` of nodes, clusters, cuts."""

    point: Point
    objective: float
    cluster_dual: FloatArray
    leave_dual: FloatArray
    enter_dual: FloatArray
    cut_dual: FloatArray


class _QuietSolver(highspy.Highs):
    """The solver without its callbacks: setting them up prints a banner to the terminal."""

    def enableCallbacks(self) -> None:  # noqa: N802 - the library's name
        """Leave the callbacks off; nothing here uses them."""


class ArcProgram:
    """The restricted program, warm from one solve to the next.

    Column 0 relieves every row whose right side is 1, at the cost ``relief``: the program always
    has a solution, and where it is drawn upon no tour below ``relief`` is left.
    """

    def __init__(self, problem: ClusterProblem, *, symmetric: bool, relief: int) -> None:
        self.problem, self.symmetric = problem, symmetric
        self.cuts: list[NodeCut] = []
        self.tail = np.zeros(0, np.int64)
        self.head = np.zeros(0, np.int64)
        self._owner = problem.cluster_of
        self._solver = _QuietSolver()  # type: ignore[no-untyped-call]
        self._solver.setOptionValue("output_flag", False)
        self._solver.setOptionValue("threads", 1)
        self._solver.setOptionValue("simplex_strategy", DUAL_SIMPLEX)
        nodes = len(problem.nodes)
        self._standing = problem.size + nodes * (1 if symmetric else 2)
        right = np.zeros(self._standing)
        right[: problem.size] = 1.0
        none = np.zeros((0, 3))
        self._add_rows(right, right, none)
        self._add_columns(np.array([float(relief)]), _relieved(np.arange(problem.size)))
        self._add_columns(np.zeros(nodes), self._visit_entries(np.arange(nodes)))

    def add_arcs(self, tail: IntArray, head: IntArray) -> None:
        """Add these arcs as columns, with their places in the rows there are."""
        if not len(tail):
            return
        column, size = np.arange(len(tail)), self.problem.size
        second = size + head + (0 if self.symmetric else len(self._owner))
        parts = [_entries(column, size + tail, 1.0), _entries(column, second, 1.0)]
        for number, cut in enumerate(self.cuts):
            inside = self._inside(cut, tail, head)
            parts.append(_entries(inside, np.full(len(inside), self._standing + number), -1.0))
        self._add_columns(self.problem.cost[tail, head].astype(float), np.concatenate(parts))
        self.tail = np.concatenate([self.tail, tail])
        self.head = np.concatenate([self.head, head])

    def add_cuts(self, cuts: Sequence[NodeCut]) -> None:
        """Add these cuts as rows: visits of nodes that pay less arcs inside, at least right."""
        if not cuts:
            return
        first_arc, parts = 1 + len(self._owner), []
        for number, cut in enumerate(cuts):
            inside = self._inside(cut, self.tail, self.head)
            columns = np.concatenate([1 + cut.paid, first_arc + inside])
            value = np.concatenate([np.ones(len(cut.paid)), np.full(len(inside), -1.0)])
            if cut.right:
                columns, value = np.append(columns, 0), np.append(value, 1.0)
            parts.append(_entries(np.full(len(columns), number), columns, value))
        right = np.array([float(cut.right) for cut in cuts])
        self._add_rows(right, np.full(len(cuts), highspy.kHighsInf), np.concatenate(parts))
        self.cuts.extend(cuts)

    def drop_cuts(self, numbers: IntArray) -> None:
        """Take these cuts out again."""
        if not len(numbers):
            return
        self._solver.deleteRows(len(numbers), (numbers + self._standing).astype(np.int32))
        gone = set(numbers.tolist())
        self.cuts = [cut for number, cut in enumerate(self.cuts) if number not in gone]

    def open_only(self, opened: BoolArray, forced: BoolArray) -> None:
        """Let only these arcs be used, and the forced ones be used in full."""
        count = len(self.tail)
        high = np.where(opened, highspy.kHighsInf, 0.0)
        column = np.arange(count, dtype=np.int32) + np.int32(1 + len(self._owner))
        self._solver.changeColsBounds(count, column, forced.astype(float), high)

    def solve(self) -> Solution | None:
        """Solve; None where the solver did not reach an optimum."""
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = self._solver.getSolution()
        tail, head = self.tail, self.head
        nodes, size = len(self._owner), self.problem.size
        value = np.array(solution.col_value)[1 + nodes :]
        if self.symmetric:
            tail, head = np.concatenate([tail, head]), np.concatenate([head, tail])
            value = np.tile(value / 2, 2)
        dual = np.array(solution.row_dual)
        leave, enter = dual[size : size + nodes], dual[self._standing - nodes : self._standing]
        return Solution(
            Point(tail, head, value), float(self._solver.getInfo().objective_function_value),
            dual[:size], leave, enter, dual[self._standing :],
        )  # fmt: skip

    def multipliers(self, solution: Solution) -> Multipliers:
        """The duals as multipliers of the spanning-tree bound, which is at least as high."""
        none = np.zeros(0, np.int64)
        return Multipliers(
            solution.cluster_dual / 2, (solution.enter_dual - solution.leave_dual) / 2,
            np.zeros(0), none, none, np.maximum(solution.cut_dual, 0.0), self.cuts,
        )  # fmt: skip

    def set_time_limit(self, seconds: float) -> None:
        """Let no single solve run longer than this (wall seconds from now on)."""
        self._solver.setOptionValue("time_limit", self._solver.getRunTime() + max(seconds, 0.01))

    def _visit_entries(self, node: IntArray) -> FloatArray:
        size, nodes = self.problem.size, len(self._owner)
        parts = [_entries(node, self._owner, 1.0)]
        if self.symmetric:
            parts.append(_entries(node, size + node, -2.0))
        else:
            parts.append(_entries(node, size + node, -1.0))
            parts.append(_entries(node, size + nodes + node, -1.0))
        return np.concatenate(parts)

    def _inside(self, cut: NodeCut, tail: IntArray, head: IntArray) -> IntArray:
        member = np.zeros(len(self._owner), bool)
        member[cut.members] = True
        return np.flatnonzero(member[tail] & member[head])

    def _add_columns(self, cost: FloatArray, entries: FloatArray) -> None:
        count = len(cost)
        entries = _sorted(entries)
        starts = np.searchsorted(entries[:, 0], np.arange(count)).astype(np.int32)
        self._solver.addCols(
            count, cost, np.zeros(count), np.full(count, highspy.kHighsInf), len(entries), starts,
            entries[:, 1].astype(np.int32), np.ascontiguousarray(entries[:, 2]),
        )  # fmt: skip

    def _add_rows(self, low: FloatArray, high: FloatArray, entries: FloatArray) -> None:
        count = len(low)
        entries = _sorted(entries)
        starts = np.searchsorted(entries[:, 0], np.arange(count)).astype(np.int32)
        self._solver.addRows(
            count, low, high, len(entries), starts,
            entries[:, 1].astype(np.int32), np.ascontiguousarray(entries[:, 2]),
        )  # fmt: skip


def _relieved(rows: IntArray) -> FloatArray:
    return _entries(np.zeros(len(rows)), rows, 1.0)


def _entries(
    first: IntArray | FloatArray, second: IntArray, value: FloatArray | float
) -> FloatArray:
    out = np.empty((len(first), 3))
    out[:, 0], out[:, 1], out[:, 2] = first, second, value
    return out


def _sorted(entries: FloatArray) -> FloatArray:
    ordered: FloatArray = entries[np.lexsort((entries[:, 1], entries[:, 0]))]
    return ordered
