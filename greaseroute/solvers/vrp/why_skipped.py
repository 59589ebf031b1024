"""Why a unit is not visited: what would stop a technician who had this unit alone to visit."""

import numpy as np

from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.vrp.kernels.clock import ARRIVE, LEFT_AT, PUT_IN, times_of
from greaseroute.solvers.vrp.layout import (
    CLOSES,
    END_LEVEL,
    END_WAY,
    FIRST_LEVEL,
    FIRST_WAY,
    FULL,
    WORK,
    Layout,
)

NOBODY = "no technician has the gun or the skill for it"
CUT_OFF = "no path leads to it"
NO_BAG = "it takes more cartridges than a full bag holds"
WINDOW = "its window is too short or too early for anyone to work in it"
SHIFT = "the shift ends before anyone could be back from it"
NO_TIME = "no time is left for it beside what weighs more"


def why_skipped(layout: Layout, unit: int) -> str:
    """The first thing in the way that no technician and no way gets past."""
    inst = layout.inst
    begin, end = inst.unit[unit, FIRST_LEVEL], inst.unit[unit, END_LEVEL]
    if begin == end:
        return NOBODY
    ways = range(int(inst.level[begin, FIRST_WAY]), int(inst.level[end - 1, END_WAY]))
    able = [(t, w) for w in ways for t in range(layout.technicians) if inst.way[WORK + t, w] >= 0]
    if not able:
        return NOBODY
    furthest = max(_furthest(layout, t, way) for t, way in able)
    return (CUT_OFF, NO_BAG, WINDOW, SHIFT, NO_TIME)[furthest]


def _furthest(layout: Layout, t: int, way: int) -> int:
    """How many of the hurdles path, bag, window, shift end are taken when going there alone."""
    inst, start, finish = layout.inst, layout.start_way(t), layout.finish_way(t)
    times = times_of(inst, t, np.array([start, way, finish], dtype=np.int64))
    if times[-1, ARRIVE] >= FAR:
        return 0
    if int(times[1, PUT_IN:].sum()) > int(inst.crew[t, FULL]):
        return 1
    if times[1, LEFT_AT] > inst.way[CLOSES, way]:
        return 2
    return 3 if times[-1, ARRIVE] > inst.way[CLOSES, finish] else 4
