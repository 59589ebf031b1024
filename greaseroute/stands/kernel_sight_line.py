"""Compiled: which convex solid cuts a straight line first."""

import numpy as np
from numpy.typing import NDArray

from greaseroute.kernel_cache import cached_njit

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LEVEL = 1e-12  # a line that nears a plane by less runs along it
HAIR = 1e-9  # a share of a line: what only touches does not cut


@cached_njit
def cut_first(
    start: Floats, end: Floats, stop: Floats, planes: Floats, first: Ints, graze_m: float,
    solid: Ints,
) -> None:  # fmt: skip
    """Fill ``solid`` (k,) with the number of the solid that cuts each line first, -1 for none.

    ``planes`` (K, 4) of all solids, those of solid h from ``first[h]`` on. Lines (k, 3) to
    (k, 3) are looked at up to the share ``stop`` (k,); what is less than ``graze_m`` inside a solid
    is no cut.
    """
    for line in range(len(start)):
        soonest = np.inf
        solid[line] = -1
        for h in range(len(first)):
            enter, leave = -np.inf, np.inf
            for p in range(first[h], first[h + 1] if h + 1 < len(first) else len(planes)):
                before = after = planes[p, 3] + graze_m
                for axis in range(3):
                    before += planes[p, axis] * start[line, axis]
                    after += planes[p, axis] * end[line, axis]
                if before > 0 and after > 0:
                    enter = np.inf
                    break
                slope = after - before
                if abs(slope) < LEVEL:
                    if before > 0:
                        enter = np.inf
                        break
                elif slope < 0:
                    enter = max(enter, -before / slope)
                else:
                    leave = min(leave, -before / slope)
            if enter < soonest and max(enter, 0.0) + HAIR < min(leave, stop[line]):
                soonest = enter
                solid[line] = h
