"""Compiled: by how much legs to or from one point are dearer than to or from another."""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

import numpy as np
from numba import njit
from numpy.typing import NDArray

from greaseroute.rounds.kernel_crew import FAR
from greaseroute.rounds.problem import IntArray

Flags = NDArray[np.bool_]


@njit(cache=True, nogil=True)
def most_dearer(travel: IntArray, t: int, points: IntArray, own: Flags, dearer: IntArray) -> None:
    """Fill ``dearer`` (2, n, n): how much dearer at most legs are at the first point of a pair.

    Legs of technician t in any phase of ``travel`` (phases, T, P, P), from anywhere (row 0) and to
    anywhere (row 1) but the points in ``own`` (P,); FAR where only the second can be reached.
    """
    n, size = points.shape[0], travel.shape[2]
    legs = np.empty((2, n), dtype=np.int64)
    dearer[:] = -FAR
    for k in range(travel.shape[0]):
        for p in range(size):
            if own[p]:
                continue
            for a in range(n):
                legs[0, a] = travel[k, t, p, points[a]]
                legs[1, a] = travel[k, t, points[a], p]
            for side in range(2):
                for a in range(n):
                    for b in range(n):
                        if legs[side, b] >= FAR:
                            continue
                        more = FAR if legs[side, a] >= FAR else legs[side, a] - legs[side, b]
                        dearer[side, a, b] = max(dearer[side, a, b], more)
