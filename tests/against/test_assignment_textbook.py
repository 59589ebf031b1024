"""The assignment problem against a textbook's example and a second solver.

A. Levitin, Introduction to the design and analysis of algorithms (from memory): four persons, four
jobs, least cost 13 with jobs 2, 1, 3, 4. The second solver is scipy's, after D. F. Crouse, "On
implementing 2D rectangular assignment algorithms", IEEE Trans. Aerospace 52(4), 2016.
"""

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment

from greaseroute.solvers.assignment import cheapest_assignment


def test_four_persons_four_jobs():
    cost = np.array([[9, 2, 7, 8], [6, 4, 3, 7], [5, 8, 1, 8], [7, 6, 9, 4]], dtype=float)
    assert cheapest_assignment(cost) == [1, 0, 2, 3]


@pytest.mark.parametrize("seed", range(20))
def test_as_cheap_as_a_second_solver(seed):
    rng = np.random.default_rng(seed)
    rows = int(rng.integers(1, 9))
    cost = rng.uniform(0.0, 100.0, (rows, rows + int(rng.integers(0, 5))))
    ours = cheapest_assignment(cost)
    assert len(set(ours)) == rows
    theirs = cost[linear_sum_assignment(cost)].sum()
    assert cost[range(rows), ours].sum() == pytest.approx(theirs, abs=1e-3 * rows)
