"""Linear programs that grow: the HiGHS driver, and the restricted master of all three bounds.

Every bound here solves a linear program over arcs between nodes, of which only some arcs are
columns and only some sub-tour cuts are rows. The rest is generated::

                 fixed columns       arcs, added as they price out
               +----------------+---------------------------------->
    fixed rows | row set's own  | _arc_entries(tail, head)
               +----------------+----------------------------------
    cuts       | _cut_entries_  | _cut_entries(cuts, tail, head)
    (added)    |   of_fixed     |
               v

A subclass states what the fixed rows and columns are (its row set). A bound never relies on the
numbers of the program: its duals are rounded and proved again in whole numbers.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import highspy
import numpy as np
from numpy.typing import NDArray

from greaseroute.solvers.arrays import FloatArray, IntArray

INFINITY = highspy.kHighsInf
NO_ENTRIES = np.zeros((0, 3))

IndexArray = NDArray[np.int32]  # as HiGHS takes them
CutT = TypeVar("CutT")


class QuietSolver(highspy.Highs):
    """HiGHS on one thread, without output and without its callbacks.

    Setting the callbacks up prints a banner to the terminal.
    """

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.setOptionValue("output_flag", False)
        self.setOptionValue("threads", 1)
        # Duals of the unperturbed program: with 400 units, 70 programs took a sixth less time with
        # perturbation, but their bound ended 12 s later.
        self.setOptionValue("dual_simplex_cost_perturbation_multiplier", 0.0)

    def enableCallbacks(self) -> None:  # noqa: N802 - the library's name
        """Leave the callbacks off; nothing here uses them."""


@dataclass(frozen=True, slots=True)
class Optimum:
    """An optimum of a restricted master.

    Attributes
    ----------
    objective : float
        Its value.
    fixed, arc : (F,), (E,)
        Values of the fixed columns and of the arcs.
    dual : list of (rows,)
        Duals of each block of fixed rows; the last entry holds those of the cuts.
    """

    objective: float
    fixed: FloatArray
    arc: FloatArray
    dual: list[FloatArray]


class RestrictedMaster(Generic[CutT]):
    """A linear program over arcs, warm from one solve to the next; columns and cuts are added.

    Parameters
    ----------
    sizes : sequence of int
        Number of rows in each block of fixed rows; ``row[k]`` is then the first row of block k and
        ``row[-1]`` the first cut.
    low, high : (rows,)
        Bounds of the fixed rows.
    """

    def __init__(self, sizes: Sequence[int], low: FloatArray, high: FloatArray) -> None:
        self.cuts: list[CutT] = []
        self.tail = np.zeros(0, dtype=np.int64)
        self.head = np.zeros(0, dtype=np.int64)
        self.row = [0, *np.cumsum(sizes).tolist()]
        self.first_arc = 0
        self._solver = QuietSolver()
        self._add_rows(low, high, NO_ENTRIES)

    def add_fixed(self, cost: FloatArray, blocks: Sequence[FloatArray]) -> None:
        """Add columns that are not arcs, from 0 upwards; all of them before the first arc."""
        self._add_columns(cost, np.concatenate(blocks))
        self.first_arc += cost.size

    def add_arcs(self, tail: IntArray, head: IntArray) -> None:
        """Add arcs (E,) as columns, with their entries in all rows and cuts there are."""
        if not tail.size:
            return
        # A new column gets its entries in every row, the cuts included.
        cut, arc, value = self._cut_entries(self.cuts, tail, head)
        blocks = [*self._arc_entries(tail, head), entries(arc, self.row[-1] + cut, value)]
        self._add_columns(self._arc_costs(tail, head), np.concatenate(blocks))
        self.tail = np.concatenate([self.tail, tail])
        self.head = np.concatenate([self.head, head])

    def add_cuts(self, cuts: Sequence[CutT]) -> None:
        """Add rows "at least" over the arcs and fixed columns there are."""
        if not cuts:
            return
        # A new row gets its entries in every column, fixed ones included.
        cut, arc, value = self._cut_entries(cuts, self.tail, self.head)
        blocks = [entries(cut, self.first_arc + arc, value), *self._cut_entries_of_fixed(cuts)]
        low = self._cut_sides(cuts)
        self._add_rows(low, np.full(low.size, INFINITY), np.concatenate(blocks))
        self.cuts.extend(cuts)

    def drop_cuts(self, numbers: IntArray) -> None:
        """Take cuts out again, by their numbers."""
        if not numbers.size:
            return
        self._solver.deleteRows(numbers.size, (self.row[-1] + numbers).astype(np.int32))
        # Rows after those deleted move up: the list of cuts does the same.
        gone = set(numbers.tolist())
        self.cuts = [cut for k, cut in enumerate(self.cuts) if k not in gone]

    def bound_columns(self, columns: IntArray, low: FloatArray, high: FloatArray) -> None:
        """Set the range of some columns."""
        self._solver.changeColsBounds(columns.size, columns.astype(np.int32), low, high)

    def bound_row(self, row: int, low: float, high: float) -> None:
        """Set the range of one row."""
        self._solver.changeRowBounds(row, low, high)

    def limit_time(self, seconds: float) -> None:
        """Let no single solve run longer than this, in wall seconds from now on."""
        self._solver.setOptionValue("time_limit", self._solver.getRunTime() + max(seconds, 0.01))

    def optimum(self) -> Optimum | None:
        """The optimum of the restricted program; None where HiGHS does not reach one, even cold."""
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = self._solver.getSolution()
        # Fixed columns come first; duals are split by block, the cuts last.
        value = np.array(solution.col_value)
        return Optimum(
            float(self._solver.getInfo().objective_function_value),
            value[: self.first_arc],
            value[self.first_arc :],
            np.split(np.array(solution.row_dual), self.row[1:]),
        )

    def forget_basis(self) -> None:
        """Solve from the beginning the next time."""
        self._solver.clearSolver()

    def _arc_costs(self, tail: IntArray, head: IntArray) -> FloatArray:
        """(E,) the cost of each arc."""
        raise NotImplementedError

    def _arc_entries(self, tail: IntArray, head: IntArray) -> list[FloatArray]:
        """Blocks of entries (arc, fixed row, value)."""
        raise NotImplementedError

    def _cut_entries(
        self, cuts: Sequence[CutT], tail: IntArray, head: IntArray
    ) -> tuple[IntArray, IntArray, FloatArray]:
        """Numbers of cuts and arcs, and what the arc counts in the cut."""
        raise NotImplementedError

    def _cut_entries_of_fixed(self, cuts: Sequence[CutT]) -> list[FloatArray]:
        """Blocks of entries (cut, fixed column, value)."""
        return []

    def _cut_sides(self, cuts: Sequence[CutT]) -> FloatArray:
        """(cuts,) what each cut is at least."""
        raise NotImplementedError

    def _add_rows(self, low: FloatArray, high: FloatArray, block: FloatArray) -> None:
        self._solver.addRows(low.size, low, high, *compressed(block, low.size))

    def _add_columns(self, cost: FloatArray, block: FloatArray) -> None:
        zero, high = np.zeros(cost.size), np.full(cost.size, INFINITY)
        self._solver.addCols(cost.size, cost, zero, high, *compressed(block, cost.size))


def entries(first: IntArray, second: IntArray, value: FloatArray | float) -> FloatArray:
    """(n, 3) entries: number of the new row or column, number across, value."""
    block = np.empty((first.size, 3))
    block[:, 0], block[:, 1], block[:, 2] = first, second, value
    return block


def compressed(block: FloatArray, count: int) -> tuple[int, IndexArray, IndexArray, FloatArray]:
    """Entries in the order HiGHS takes them: how many, first of each, numbers across, values."""
    block = block[np.lexsort((block[:, 1], block[:, 0]))]
    begin = np.searchsorted(block[:, 0], np.arange(count)).astype(np.int32)
    return len(block), begin, block[:, 1].astype(np.int32), block[:, 2].copy()
