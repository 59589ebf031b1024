"""Which technicians are alike: groups of equal arrays, whatever the criteria of the caller."""

from collections.abc import Sequence

import numpy as np

from greaseroute.solvers.arrays import IntArray


def alike(arrays: Sequence[Sequence[IntArray]]) -> list[IntArray]:
    """Group members whose arrays are equal one by one, shapes included.

    Parameters
    ----------
    arrays : sequence of sequences of arrays
        One sequence for each member: all that tells it from another.

    Returns
    -------
    list of (k,)
        Numbers of the members of each group, ascending; groups in the order of their first.
    """
    groups: dict[bytes, list[int]] = {}
    for number, mine in enumerate(arrays):
        # Shapes first: two arrays may hold the same numbers in other shapes.
        key = b"".join(np.array(a.shape).tobytes() + a.tobytes() for a in mine)
        groups.setdefault(key, []).append(number)
    return [np.array(group, dtype=np.int64) for group in groups.values()]
