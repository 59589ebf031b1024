"""The random numbers of the compiled searches: xorshift64 (Marsaglia 2003, shifts 13, 7, 17).

The state is one 64-bit word, not 0, in an array that the caller owns: a search with the same first
word takes the same steps on any machine.
"""

import numpy as np
from numba import njit

from greaseroute.solvers.arrays import WordArray

_LEFT, _RIGHT, _LEFT_AGAIN = np.uint64(13), np.uint64(7), np.uint64(17)
_TOP = np.uint64(11)  # 53 bits are left: as many as a float64 holds
_TO_FRACTION = 2.0**-53


def start_word(seed: int) -> WordArray:
    """(1,) the state for a seed: any whole number; near seeds give words far apart."""
    return np.random.SeedSequence(seed).generate_state(1, np.uint64) | np.uint64(1)


@njit(nogil=True)
def fraction(word: WordArray) -> float:
    """Return a number in [0, 1) and move the state on."""
    x = word[0]
    x ^= x << _LEFT
    x ^= x >> _RIGHT
    x ^= x << _LEFT_AGAIN
    word[0] = x
    return float(x >> _TOP) * _TO_FRACTION


@njit(nogil=True)
def below(word: WordArray, end: int) -> int:
    """Return a whole number in 0 .. end - 1 and move the state on."""
    return int(fraction(word) * end)
