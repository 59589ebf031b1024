"""Sets of places that lie together, nested in one another: first guesses for sub-tour cuts."""

import numpy as np

from greaseroute.solvers.arrays import BoolArray, IntArray


def nested_sets(distance: IntArray) -> list[BoolArray]:
    """Sets of two or more places, nearest first, each the union of two before it or of places.

    Parameters
    ----------
    distance : (n, n)
        Distances; of the two directions the shorter counts.

    Returns
    -------
    list of (n,) bool
        The n - 1 clusters of single linkage, in the order in which they join.
    """
    distance, count = np.minimum(distance, distance.T), distance.shape[0]
    # Kruskal's order: the nearest pair of places in different groups joins their groups.
    group, found = np.arange(count), []
    a, b = np.triu_indices(count, 1)
    for k in np.argsort(distance[a, b], kind="stable"):
        one, other = group[a[k]], group[b[k]]
        if one != other:
            group[group == other] = one
            found.append(group == one)
    return found
