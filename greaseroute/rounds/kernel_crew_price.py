"""Compiled: multipliers of sets of nodes taken off the arcs that leave them, in whole numbers."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from greaseroute.rounds.problem import IntArray


@njit(cache=True, nogil=True)
def take_off(reduced: IntArray, inside: NDArray[np.bool_], weight: IntArray) -> None:
    """Take each set's weight off ``reduced`` (N, N) where an arc leads out of it."""
    n = reduced.shape[0]
    off = np.zeros(n, np.int64)
    for k in range(weight.shape[0]):
        for w in range(n):
            off[w] = 0 if inside[k, w] else weight[k]
        for v in range(n):
            if inside[k, v]:
                for w in range(n):
                    reduced[v, w] -= off[w]
