"""Compiled: the legs of a round, shared by the search and the exact solver.

Only what Python calls is cached; the rest is compiled into it. Constants that are handed on are
``np.int64``: numba would compile the callee once more for each bare literal.

Arrays are as in ``CrewArrays``; a time of ``FAR`` or more means that it cannot be done.
"""

from numba import njit

from greaseroute.solvers.arrays import FAR, IntArray


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
