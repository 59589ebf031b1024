"""The assignment problem: a column for each row, all different, at the least cost."""

import numpy as np
from numpy.typing import NDArray
from ortools.graph.python.linear_sum_assignment import SimpleLinearSumAssignment

STEPS = 1_000_000  # costs are whole numbers to the solver: so many to the costliest one


def cheapest_assignment(cost: NDArray[np.float64]) -> list[int]:
    """The column of each row, so that the sum of costs is least.

    Parameters
    ----------
    cost : (n, m) float array, m >= n
        Finite and not negative.

    Returns
    -------
    list of int
        Different columns; the sum is least to a millionth of the costliest cost for each row.
    """
    rows, columns = cost.shape if cost.size else (0, 0)
    if not rows:
        return []
    scale = STEPS / max(float(cost.max()), 1e-12)
    # The solver wants as many rows as columns: those that are missing cost nothing.
    whole = np.zeros((columns, columns), dtype=np.int64)
    whole[:rows] = np.rint(cost * scale)
    left, right = np.indices(whole.shape).reshape(2, -1)
    solver = SimpleLinearSumAssignment()
    solver.add_arcs_with_cost(left, right, whole.ravel())
    solver.solve()
    return [solver.right_mate(row) for row in range(rows)]
