"""Which way three points turn, exactly, for whole arrays."""

import numpy as np

from greaseroute.walk.arrays import Floats

FILTER = 3.3306690738754716e-16  # Shewchuk 1997: (3 + 16 u) u with u = 2^-53


def orientations(a: Floats, b: Floats, c: Floats) -> Floats:
    """Row by row positive where a, b, c (n, 2) turn left, negative where right, else zero."""
    from greaseroute.walk.kernel_sight import orient

    left = (a[:, 0] - c[:, 0]) * (b[:, 1] - c[:, 1])
    right = (a[:, 1] - c[:, 1]) * (b[:, 0] - c[:, 0])
    turn: Floats = left - right
    unsure = np.flatnonzero(np.abs(turn) <= FILTER * (np.abs(left) + np.abs(right)))
    rows = np.concatenate([a[unsure], b[unsure], c[unsure]], axis=1).tolist()
    turn[unsure] = [orient(*row) for row in rows]
    return turn
