"""Why a unit is not visited: what would stop a technician who had this unit alone to visit."""

import numpy as np

from greaseroute.solvers.vrp.layout import FAR_MS, CrewArrays
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.timetable import legs_to

NOBODY = "no technician has the gun or the skill for it"
CUT_OFF = "no path leads to it"
NO_BAG = "it takes more cartridges than a full bag holds"
WINDOW = "its window is too short or too early for anyone to work in it"
SHIFT = "the shift ends before anyone could be back from it"
NO_TIME = "no time is left for it beside what weighs more"


def why_skipped(problem: CrewProblem, a: CrewArrays, unit: int) -> str:
    """The first thing in the way that no technician and no way gets past."""
    ways = [
        (t, way, level)
        for level in range(int(a.unit_first[unit]), int(a.unit_first[unit + 1]))
        for way in range(int(a.level_first[level]), int(a.level_first[level + 1]))
        for t in range(problem.technicians)
        if a.way_ms[t, way] >= 0
    ]
    if not ways:
        return NOBODY
    furthest = max(_furthest(a, t, way=way, level=level) for t, way, level in ways)
    return (CUT_OFF, NO_BAG, WINDOW, SHIFT, NO_TIME)[furthest]


def _furthest(a: CrewArrays, t: int, *, way: int, level: int) -> int:
    """How many of the hurdles path, bag, window, shift end are taken when going there alone."""
    levels, n_tech = a.level_unit.size, a.start_ms.size
    start = int(a.level_first[levels + 1 + t])
    finish = int(a.level_first[levels + 1 + n_tech + t])
    arrive = _arrive(a, t, start, way=way, ready=int(a.start_ms[t]))
    back = _arrive(a, t, way, way=finish, ready=min(arrive, FAR_MS))
    if arrive >= FAR_MS or back >= FAR_MS:
        return 0
    over = np.maximum(0, a.level_strokes[level] - a.gun_left[t])
    if int((-(-over // a.cartridge[t])).sum()) > int(a.bag[t]):
        return 1
    left = max(arrive, int(a.way_lo[way])) + int(a.way_ms[t, way])
    if left > int(a.way_hi[way]):
        return 2
    home = _arrive(a, t, way, way=finish, ready=left)
    return 3 if home > int(a.way_hi[finish]) else 4


def _arrive(a: CrewArrays, t: int, before: int, *, way: int, ready: int) -> int:
    points, goal = a.way_leave[[before]], a.way_enter[[way]]
    legs = legs_to(a, t, points=points, goal=goal, ready=np.array([ready]))
    return legs.arrive.item()
