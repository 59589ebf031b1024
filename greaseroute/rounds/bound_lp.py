"""The linear program over node arcs behind the bound, with rows and columns added as found.

Variables are arcs between nodes of different clusters. Rows: one arc leaves each cluster; what
enters a node leaves it; cuts ``x(out of S) - x(out of w) >= 0`` for a node ``w`` outside a node set
``S`` that holds a whole cluster, or ``x(out of S) >= 1`` where a whole cluster lies outside as well
(generalised sub-tour elimination, Fischetti, Salazar Gonzalez and Toth 1997).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import highspy
import numpy as np
from numpy.typing import NDArray

from greaseroute.rounds.clusters_problem import ClusterProblem, Ints

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

DUAL_SIMPLEX, PRIMAL_SIMPLEX = 1, 4
START_ARCS = 8  # arcs in and out of every node that the first program holds


@dataclass(frozen=True, slots=True)
class Cut:
    """One cut: the node set ``inside``, and the node ``credit`` (or -1: right side is 1)."""

    inside: Bools
    credit: int


@dataclass(frozen=True, slots=True)
class Point:
    """What the program says: arc values, duals of clusters, of nodes, of cuts."""

    tail: Ints
    head: Ints
    value: Floats
    objective: float
    cluster_dual: Floats
    node_dual: Floats
    cut_dual: Floats


class ArcProgram:
    """The restricted program, warm from one solve to the next."""

    def __init__(self, problem: ClusterProblem, allowed: Bools) -> None:
        self.problem = problem
        self.cuts: list[Cut] = []
        self.tail = np.zeros(0, np.int64)
        self.head = np.zeros(0, np.int64)
        self.present = np.zeros_like(allowed)
        self._owner = problem.cluster_of
        self._solver = highspy.Highs()
        self._solver.setOptionValue("output_flag", False)
        self._solver.setOptionValue("threads", 1)
        right = np.concatenate([np.ones(problem.size), np.zeros(len(problem.nodes))])
        self._add_rows(right, right, np.zeros((0, 3)))

    def add_arcs(self, tail: Ints, head: Ints) -> None:
        """Add these arcs as columns, with their places in the rows there are."""
        count = len(tail)
        if not count:
            return
        self.present[tail, head] = True
        size, nodes = self.problem.size, len(self.problem.nodes)
        column = np.arange(count)
        parts = [
            _entries(column, self._owner[tail], 1.0),
            _entries(column, size + tail, -1.0),
            _entries(column, size + head, 1.0),
        ]
        for number, cut in enumerate(self.cuts):
            at, weight = _cut_weights(cut, tail, head)
            parts.append(_entries(at, size + nodes + number, weight))
        entries = _sorted(np.concatenate(parts))
        starts = np.searchsorted(entries[:, 0], column).astype(np.int32)
        self._solver.addCols(
            count, self.problem.cost[tail, head].astype(float), np.zeros(count),
            np.full(count, highspy.kHighsInf), len(entries), starts,
            entries[:, 1].astype(np.int32), np.ascontiguousarray(entries[:, 2]),
        )  # fmt: skip
        self.tail = np.concatenate([self.tail, tail])
        self.head = np.concatenate([self.head, head])

    def add_cuts(self, cuts: Sequence[Cut]) -> None:
        """Add these cuts as rows over the arcs there are."""
        parts = []
        for number, cut in enumerate(cuts):
            at, weight = _cut_weights(cut, self.tail, self.head)
            parts.append(_entries(np.full(len(at), number), at, weight))
        right = np.array([1.0 if cut.credit < 0 else 0.0 for cut in cuts])
        self._add_rows(right, np.full(len(cuts), highspy.kHighsInf), np.concatenate(parts))
        self.cuts.extend(cuts)

    def drop_cuts(self, numbers: Ints) -> None:
        """Take these cuts out again."""
        offset = self.problem.size + len(self.problem.nodes)
        self._solver.deleteRows(len(numbers), (numbers + offset).astype(np.int32))
        gone = set(numbers.tolist())
        self.cuts = [cut for number, cut in enumerate(self.cuts) if number not in gone]

    def solve(self, *, primal: bool = False) -> Point | None:
        """Solve; None where the solver did not reach an optimum."""
        self._solver.setOptionValue("simplex_strategy", PRIMAL_SIMPLEX if primal else DUAL_SIMPLEX)
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = self._solver.getSolution()
        dual = np.array(solution.row_dual)
        size, nodes = self.problem.size, len(self.problem.nodes)
        return Point(
            self.tail, self.head, np.array(solution.col_value),
            float(self._solver.getInfo().objective_function_value),
            dual[:size], dual[size : size + nodes], dual[size + nodes :],
        )  # fmt: skip

    def set_time_limit(self, seconds: float) -> None:
        """Let no single solve run longer than this (wall seconds from now on)."""
        self._solver.setOptionValue("time_limit", self._solver.getRunTime() + max(seconds, 0.01))

    def _add_rows(self, low: Floats, high: Floats, entries: Floats) -> None:
        count = len(low)
        entries = _sorted(entries)
        starts = np.searchsorted(entries[:, 0], np.arange(count)).astype(np.int32)
        self._solver.addRows(
            count, low, high, len(entries), starts,
            entries[:, 1].astype(np.int32), np.ascontiguousarray(entries[:, 2]),
        )  # fmt: skip


def first_arcs(problem: ClusterProblem, allowed: Bools, tour: Ints) -> tuple[Ints, Ints]:
    """The cheapest arcs in and out of every node, and those of a tour (so it stays feasible)."""
    far = np.where(allowed, problem.cost, np.iinfo(np.int64).max)
    chosen = np.zeros_like(allowed)
    count = min(START_ARCS, len(far) - 1)
    row = np.arange(len(far))
    chosen[row[:, None], np.argpartition(far, count, axis=1)[:, :count]] = True
    chosen[np.argpartition(far, count, axis=0)[:count], row[None, :]] = True
    chosen &= allowed
    chosen[tour, np.roll(tour, -1)] = True
    tail, head = np.nonzero(chosen)
    return tail, head


def _entries(first: Ints, second: Ints | int, value: Floats | float) -> Floats:
    out = np.empty((len(first), 3))
    out[:, 0], out[:, 1], out[:, 2] = first, second, value
    return out


def _sorted(entries: Floats) -> Floats:
    return entries[np.lexsort((entries[:, 1], entries[:, 0]))]


def _cut_weights(cut: Cut, tail: Ints, head: Ints) -> tuple[Ints, Floats]:
    weight = (cut.inside[tail] & ~cut.inside[head]).astype(float)
    if cut.credit >= 0:
        weight -= tail == cut.credit
    at = np.flatnonzero(weight)
    return at, weight[at]
