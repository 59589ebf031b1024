"""The random numbers of the searches against G. Marsaglia, "Xorshift RNGs", 2003.

J. Stat. Softw. 8(14). Shifts 13, 7, 17 from his start word 88172645463325252: the words
worked out here by whole numbers without any word length, and the first of them as printed.
"""

import numpy as np

from greaseroute.solvers.xorshift import below, fraction

START = 88172645463325252
FIRST = 8748534153485358512


def words(count):
    x = START
    for _ in range(count):
        x ^= (x << 13) % 2**64
        x ^= x >> 7
        x ^= (x << 17) % 2**64
        yield x


def test_the_words():
    assert next(words(1)) == FIRST
    state = np.array([START], dtype=np.uint64)
    for word in words(200):
        assert fraction(state) == (word >> 11) / 2**53
        assert int(state[0]) == word


def test_whole_numbers_are_even_enough():
    """Chi square with 9 degrees of freedom: 27.9 at a thousandth (table value)."""
    state = np.array([START], dtype=np.uint64)
    counts = np.bincount([below(state, 10) for _ in range(20_000)], minlength=10)
    assert ((counts - 2000.0) ** 2 / 2000.0).sum() < 27.9
