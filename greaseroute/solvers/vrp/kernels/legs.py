"""Compiled steps shared by the crew's search and its exact solver: random words and legs.

Only what Python calls is cached; the rest is compiled into it. Constants that are handed on are
``np.int64``: numba would compile the callee once more for each bare literal.

Arrays are as in ``CrewArrays``; a time of ``FAR`` or more means that it cannot be done.
"""

from typing import cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from greaseroute.solvers.vrp.layout import FAR_MS
from greaseroute.solvers.vrp.problem import IntArray

FAR = cast(int, np.int64(FAR_MS))
ZERO, ONE, NOWHERE = cast(tuple[int, int, int], (np.int64(0), np.int64(1), np.int64(-1)))
WordArray = NDArray[np.uint64]

_LEFT, _RIGHT, _LEFT_AGAIN = np.uint64(13), np.uint64(7), np.uint64(17)
_TOP = np.uint64(11)


@njit(nogil=True)
def fraction(word: WordArray) -> float:
    """A number in [0, 1) from a xorshift64 word (Marsaglia 2003, shifts 13, 7, 17)."""
    x = word[0]
    x ^= x << _LEFT
    x ^= x >> _RIGHT
    x ^= x << _LEFT_AGAIN
    word[0] = x
    return float(x >> _TOP) * 1.1102230246251565e-16  # 2 ** -53


@njit(nogil=True)
def below(word: WordArray, end: int) -> int:
    """A whole number in 0 .. end - 1."""
    return int(fraction(word) * end)


@njit(nogil=True)
def leg(
    travel: IntArray, phase_from: IntArray, t: int, p: int, q: int, ready: int
) -> tuple[int, int, int]:
    """Earliest arrival at q of one ready at p, when to depart for it, the phase walked by."""
    phases = travel.shape[0]
    k = 0
    while k + 1 < phases and phase_from[k + 1] <= ready:
        k += 1
    best, best_depart, best_phase = FAR, ready, 0
    depart = ready
    while True:
        walk, longest = travel[k, t, p, q], k
        j = k
        while j + 1 < phases and walk < FAR and depart + walk > phase_from[j + 1]:
            j += 1
            if travel[j, t, p, q] > walk:
                walk, longest = travel[j, t, p, q], j
        if depart + walk < best:
            best, best_depart, best_phase = depart + walk, depart, longest
        k += 1
        if k >= phases or phase_from[k] >= best:
            return best, best_depart, best_phase
        depart = phase_from[k]


@njit(nogil=True)
def leg_end(travel: IntArray, phase_from: IntArray, t: int, p: int, q: int, ready: int) -> int:
    """Earliest arrival at q of one ready at p; small, so that it is compiled into its callers."""
    if travel.shape[0] == 1:
        return int(ready + travel[0, t, p, q])
    return leg(travel, phase_from, t, p, q, ready)[0]
