"""The linear solver as the crew's bound uses it: quiet, one thread, rows and columns in blocks."""

import highspy
import numpy as np

from greaseroute.solvers.arrays import FloatArray, IntArray

INFINITY = highspy.kHighsInf


class QuietSolver(highspy.Highs):
    """The solver without its callbacks: setting them up prints a banner to the terminal."""

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.setOptionValue("output_flag", False)
        self.setOptionValue("threads", 1)
        # multipliers told as they are: at 400 units 70 programs took a sixth less time, and their
        # bound ended 12 s later
        self.setOptionValue("dual_simplex_cost_perturbation_multiplier", 0.0)

    def enableCallbacks(self) -> None:  # noqa: N802 - the library's name
        """Leave the callbacks off; nothing here uses them."""


def add_rows(
    solver: QuietSolver, low: FloatArray, high: FloatArray, *, entries: FloatArray
) -> None:
    """Add rows; ``entries`` (n, 3) are row of the new ones, column, value."""
    count, entries = low.size, _sorted(entries)
    begin = np.searchsorted(entries[:, 0], np.arange(count)).astype(np.int32)
    column, value = entries[:, 1].astype(np.int32), np.ascontiguousarray(entries[:, 2])
    solver.addRows(count, low, high, value.size, begin, column, value)


def add_columns(
    solver: QuietSolver, cost: FloatArray, entries: FloatArray, *, high: FloatArray
) -> None:
    """Add columns from 0 to ``high``; ``entries`` (n, 3) are column of the new ones, row, value."""
    count, entries = cost.size, _sorted(entries)
    begin = np.searchsorted(entries[:, 0], np.arange(count)).astype(np.int32)
    row, value = entries[:, 1].astype(np.int32), np.ascontiguousarray(entries[:, 2])
    solver.addCols(count, cost, np.zeros(count), high, value.size, begin, row, value)


def entries(first: IntArray, second: IntArray, value: FloatArray | float) -> FloatArray:
    """Entries (n, 3) of a block."""
    block = np.empty((first.size, 3))
    block[:, 0], block[:, 1], block[:, 2] = first, second, value
    return block


def _sorted(block: FloatArray) -> FloatArray:
    ordered: FloatArray = block[np.lexsort((block[:, 1], block[:, 0]))]
    return ordered
