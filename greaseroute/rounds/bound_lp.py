"""The linear program over node arcs behind the bound, with rows and columns added as found.

Variables are arcs between nodes of different clusters. Rows: one arc leaves each cluster; what
enters a node leaves it; cuts ``x(out of S) - x(out of w) >= 0`` for a node ``w`` outside a node set
``S`` that holds a whole cluster, or ``x(out of S) >= 1`` where a whole cluster lies outside as well
(generalised sub-tour elimination, Fischetti, Salazar Gonzalez and Toth 1997).

Where costs are symmetric a column is an edge: the mean of its two arcs. The rows of the nodes then
cancel out, which leaves a far smaller program with the same value.
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
GIVEN_AWAY = 0.2  # of one cost unit: what arcs left out may take off the bound in all
START_ARCS = 4  # arcs in and out of every node that the first program holds


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


class _QuietSolver(highspy.Highs):
    """The solver without its callbacks: setting them up prints a banner to the terminal."""

    def enableCallbacks(self) -> None:  # noqa: N802 - the library's name
        """Leave the callbacks off; nothing here uses them."""


class ArcProgram:
    """The restricted program, warm from one solve to the next.

    Column 0 relieves every row whose right side is 1, at the cost ``relief``: the program always
    has a solution, and where it is drawn upon no tour below ``relief`` is left.
    """

    def __init__(self, problem: ClusterProblem, allowed: Bools, *, relief: int) -> None:
        self.problem = problem
        self.cuts: list[Cut] = []
        self.tail = np.zeros(0, np.int64)
        self.head = np.zeros(0, np.int64)
        self.present = np.zeros_like(allowed)
        self.symmetric = bool(np.array_equal(*_both_ways(problem.cost, allowed)))
        self._owner = problem.cluster_of
        self._solver = _QuietSolver()  # type: ignore[no-untyped-call]
        self._solver.setOptionValue("output_flag", False)
        self._solver.setOptionValue("threads", 1)
        self._solver.setOptionValue("dual_simplex_cost_perturbation_multiplier", 0.0)
        node_rows = 0 if self.symmetric else len(problem.nodes)
        self._standing = problem.size + node_rows
        right = np.concatenate([np.ones(problem.size), np.zeros(node_rows)])
        self._solver.addCols(
            1, np.array([float(relief)]), np.zeros(1), np.full(1, highspy.kHighsInf), 0,
            np.zeros(1, np.int32), np.zeros(0, np.int32), np.zeros(0),
        )  # fmt: skip
        eased = np.arange(problem.size)
        self._add_rows(right, right, _entries(eased, np.zeros(problem.size, np.int64), 1.0))

    def add_arcs(self, tail: Ints, head: Ints) -> None:
        """Add these arcs as columns, with their places in the rows there are."""
        if self.symmetric:
            self.present[head, tail] = True
            tail, head = _as_edges(tail, head)
        count = len(tail)
        if not count:
            return
        self.present[tail, head] = True
        column = np.arange(count)
        cut, at, weight = self._cut_entries(self.cuts, tail, head)
        parts = self._standing_entries(column, tail, head)
        parts.append(_entries(at, self._standing + cut, weight))
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
        row, at, weight = self._cut_entries(cuts, self.tail, self.head)
        right = np.array([1.0 if cut.credit < 0 else 0.0 for cut in cuts])
        eased = np.flatnonzero(right)
        parts = [_entries(eased, np.zeros_like(eased), 1.0), _entries(row, at + 1, weight)]
        self._add_rows(right, np.full(len(cuts), highspy.kHighsInf), np.concatenate(parts))
        self.cuts.extend(cuts)

    def drop_cuts(self, numbers: Ints) -> None:
        """Take these cuts out again."""
        self._solver.deleteRows(len(numbers), (numbers + self._standing).astype(np.int32))
        gone = set(numbers.tolist())
        self.cuts = [cut for number, cut in enumerate(self.cuts) if number not in gone]

    def open_only(self, opened: Bools, forced: Bools) -> None:
        """Let only these arcs be used, and the forced ones be used in full."""
        count = len(self.tail)
        high = np.where(opened, highspy.kHighsInf, 0.0)
        column = np.arange(1, count + 1, dtype=np.int32)
        self._solver.changeColsBounds(count, column, forced.astype(float), high)

    def drop_arcs(self, gone: Bools) -> None:
        """Take these arcs out for good."""
        number = np.flatnonzero(gone)
        self._solver.deleteCols(len(number), (number + 1).astype(np.int32))
        self.tail, self.head = self.tail[~gone], self.head[~gone]

    def solve(self, *, primal: bool = False) -> Point | None:
        """Solve; None where the solver did not reach an optimum."""
        self._solver.setOptionValue("simplex_strategy", PRIMAL_SIMPLEX if primal else DUAL_SIMPLEX)
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = self._solver.getSolution()
        tail, head, value = self.tail, self.head, np.array(solution.col_value)[1:]
        if self.symmetric:
            tail, head = np.concatenate([tail, head]), np.concatenate([head, tail])
            value = np.tile(value / 2, 2)
        dual = np.array(solution.row_dual)
        size = self.problem.size
        return Point(
            tail, head, value, float(self._solver.getInfo().objective_function_value),
            dual[:size], dual[size : self._standing], dual[self._standing :],
        )  # fmt: skip

    def set_time_limit(self, seconds: float) -> None:
        """Let no single solve run longer than this (wall seconds from now on)."""
        self._solver.setOptionValue("time_limit", self._solver.getRunTime() + max(seconds, 0.01))

    def _standing_entries(self, column: Ints, tail: Ints, head: Ints) -> list[Floats]:
        """Places of new columns in the rows of clusters and nodes."""
        size = self.problem.size
        if self.symmetric:
            return [_entries(column, self._owner[end], 0.5) for end in (tail, head)]
        return [
            _entries(column, self._owner[tail], 1.0),
            _entries(column, size + tail, -1.0),
            _entries(column, size + head, 1.0),
        ]

    def _cut_entries(
        self, cuts: Sequence[Cut], tail: Ints, head: Ints
    ) -> tuple[Ints, Ints, Floats]:
        weight = self.cut_weights(cuts, tail, head)
        row, at = np.nonzero(weight)
        return row, at, weight[row, at]

    def cut_weights(self, cuts: Sequence[Cut], tail: Ints, head: Ints) -> Floats:
        """(cuts, arcs) what each arc, or edge, counts in each cut."""
        weight: Floats = np.zeros((len(cuts), len(tail)))
        if not cuts:
            return weight
        inside = np.array([cut.inside for cut in cuts])
        credit = np.array([cut.credit for cut in cuts])[:, None]
        weight += inside[:, tail] & ~inside[:, head]
        weight -= credit == tail[None, :]
        if self.symmetric:
            weight += inside[:, head] & ~inside[:, tail]
            weight -= credit == head[None, :]
            weight /= 2
        return weight

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
    ordered: Floats = entries[np.lexsort((entries[:, 1], entries[:, 0]))]
    return ordered


def _both_ways(cost: Ints, allowed: Bools) -> tuple[Ints, Ints]:
    known = np.where(allowed, cost, -1)
    return known, known.T


def _as_edges(tail: Ints, head: Ints) -> tuple[Ints, Ints]:
    """Each pair once, smaller node first."""
    pairs = np.unique(np.sort(np.stack([tail, head], axis=1), axis=1), axis=0)
    return pairs[:, 0], pairs[:, 1]
