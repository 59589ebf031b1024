"""Which way three points turn, exactly, for whole arrays."""

from fractions import Fraction

import numpy as np

from greaseroute.walk.arrays import Floats

FILTER = 3.3306690738754716e-16  # Shewchuk 1997: (3 + 16 u) u with u = 2^-53


def orientations(a: Floats, b: Floats, c: Floats) -> Floats:
    """Row by row positive where a, b, c (n, 2) turn left, negative where right, else zero."""
    left = (a[:, 0] - c[:, 0]) * (b[:, 1] - c[:, 1])
    right = (a[:, 1] - c[:, 1]) * (b[:, 0] - c[:, 0])
    turn: Floats = left - right
    for i in np.flatnonzero(np.abs(turn) <= FILTER * (np.abs(left) + np.abs(right))):
        turn[i] = _exact_sign(a[i], b[i], c[i])
    return turn


def _exact_sign(a: Floats, b: Floats, c: Floats) -> int:
    """The sign by rational arithmetic: rare, so it may be slow."""
    (ax, ay), (bx, by), (cx, cy) = ([Fraction(float(v)) for v in p] for p in (a, b, c))
    turn = (ax - cx) * (by - cy) - (ay - cy) * (bx - cx)
    return (turn > 0) - (turn < 0)
