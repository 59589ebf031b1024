"""Lengths of shortest tours through random points against Beardwood, Halton and Hammersley (1959).

L is about 0.7124 sqrt(n A) for many points; through few it is longer: means of many random squares
of side 1 are 3.84, 5.70 and 7.76 for 20, 50 and 100 points (literature, from memory).
"""

import numpy as np
import pytest

from greaseroute.solvers.gtsp.solve import solve_clusters

SQUARES = 12


@pytest.mark.parametrize(("count", "mean", "spread"), [(20, 3.84, 0.36), (50, 5.70, 0.33)])
def test_the_mean_of_random_squares(count, mean, spread):
    """Within four standard errors; ``spread`` is one square's deviation (simulated, ours)."""
    rng = np.random.default_rng(1959)
    lengths = []
    for _ in range(SQUARES):
        spots = rng.uniform(size=(count, 2))
        cost = np.rint(1e6 * np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1)))
        tour = solve_clusters(
            cost.astype(np.int64), [[k] for k in range(count)], iterations=2000, seed=1
        )
        lengths.append(tour.cost / 1e6)
    assert np.mean(lengths) == pytest.approx(mean, abs=4 * spread / SQUARES**0.5)
    assert 0.7124 < np.mean(lengths) / count**0.5 < 1.3 * 0.7124
