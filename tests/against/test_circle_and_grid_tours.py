"""Shortest tours known by geometry.

Points evenly on a circle of radius R: their polygon, 2 n R sin(pi / n). Points of a unit grid with
an even number of them: one step each; with 3 x 3 points one step must be a diagonal, 8 + sqrt 2.
"""

import math

import numpy as np
import pytest

from greaseroute.solvers.gtsp.solve import solve_clusters

PER_M = 1_000_000


def shortest_m(points):
    """The length of the shortest tour through all points, proved."""
    spots = np.asarray(points, dtype=float)
    cost = np.rint(PER_M * np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1)))
    tour = solve_clusters(cost.astype(np.int64), [[k] for k in range(len(spots))], iterations=3000)
    assert tour.status == "optimal"
    return tour.cost / PER_M


@pytest.mark.parametrize(("count", "length"), [(6, 60.0), (8, 61.2293), (12, 62.1166)])
def test_round_a_circle(count, length):
    angles = 2 * math.pi * np.arange(count) / count
    order = np.random.default_rng(count).permutation(count)
    found = shortest_m(10 * np.column_stack([np.cos(angles), np.sin(angles)])[order])
    assert found == pytest.approx(2 * count * 10 * math.sin(math.pi / count), abs=1e-4)
    assert found == pytest.approx(length, abs=1e-4)


@pytest.mark.parametrize(("side", "length"), [(3, 8 + math.sqrt(2)), (4, 16.0), (6, 36.0)])
def test_on_a_grid(side, length):
    points = [(x, y) for x in range(side) for y in range(side)]
    assert shortest_m(points) == pytest.approx(length, abs=1e-4)
