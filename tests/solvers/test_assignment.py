"""Assignments against scipy's solver, and one worked out by hand."""

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment

from greaseroute.solvers.assignment import cheapest_assignment


@pytest.mark.parametrize("seed", range(30))
def test_as_cheap_as_the_reference(seed):
    rng = np.random.default_rng(seed)
    rows = int(rng.integers(1, 20))
    cost = rng.uniform(0, 100, (rows, rows + int(rng.integers(0, 12))))
    if seed % 3 == 0:
        cost = np.round(cost / 20)  # many ties
    got = cheapest_assignment(cost)
    assert len(set(got)) == rows
    want = cost[linear_sum_assignment(cost)].sum()
    assert cost[np.arange(rows), got].sum() == pytest.approx(want, abs=1e-4 * rows)


def test_a_later_row_pushes_an_earlier_one_on():
    # row 0 would take column 0; row 1 has only that: 5 + 1 instead of 1 + 99
    assert cheapest_assignment(np.array([[1.0, 5.0], [1.0, 99.0]])) == [1, 0]


def test_nothing_to_assign():
    assert cheapest_assignment(np.zeros((0, 3))) == []
