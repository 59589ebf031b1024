"""By how much one point is costlier than another at most, from any origin: for dominance."""

import numpy as np

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, IntArray


def most_excess(legs: IntArray) -> IntArray:
    """Compare the columns of a matrix of legs.

    Parameters
    ----------
    legs : (o, n)
        From each origin to each of n points; ``FAR`` (or near it) where there is none.

    Returns
    -------
    (n, n) by how much a leg to the row's point is longer at most than one to the column's: ``FAR``
    where an origin reaches only the second, -``FAR`` where none reaches it.
    """
    excess = np.full((legs.shape[1], legs.shape[1]), -FAR, dtype=np.int64)
    fill_excess(np.ascontiguousarray(legs, dtype=np.int64), excess)
    return excess


@cached_njit
def fill_excess(legs: IntArray, excess: IntArray) -> None:
    """Raise ``excess`` (n, n) by the rows of ``legs`` (o, n)."""
    for o in range(legs.shape[0]):
        for b in range(legs.shape[1]):
            # An origin that does not reach the second point says nothing about it.
            if legs[o, b] >= FAR // 2:
                continue
            for a in range(legs.shape[1]):
                more = FAR if legs[o, a] >= FAR // 2 else legs[o, a] - legs[o, b]
                excess[a, b] = max(excess[a, b], more)
