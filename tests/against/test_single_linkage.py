"""Nested sets of places against scipy's single linkage.

J. C. Gower and G. J. S. Ross, "Minimum spanning trees and single linkage cluster analysis",
J. R. Stat. Soc. C 18(1), 1969: the clusters of single linkage are those that Kruskal's order joins.
"""

import numpy as np
import pytest
from scipy.cluster.hierarchy import linkage
from scipy.spatial.distance import squareform

from greaseroute.solvers.nested_sets import nested_sets


@pytest.mark.parametrize("seed", range(10))
def test_the_same_clusters_in_the_same_order(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(3, 25))
    spots = rng.uniform(0.0, 1e6, (count, 2))
    distance = np.rint(np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1)))
    members = [frozenset([k]) for k in range(count)]
    for a, b, *_ in linkage(squareform(distance), "single"):
        members.append(members[int(a)] | members[int(b)])
    ours = [frozenset(np.flatnonzero(rows)) for rows in nested_sets(distance.astype(np.int64))]
    assert ours == members[count:]
