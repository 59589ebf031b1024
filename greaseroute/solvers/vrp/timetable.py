"""From orders to a timetable: the shortest ways in time, stores placed exactly, every leg timed."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from greaseroute.solvers.vrp.layout import FAR_MS, CrewArrays
from greaseroute.solvers.vrp.problem import IntArray
from greaseroute.solvers.vrp.solution import TechnicianRound, Visit

MOST_LABELS = 64  # pairs of time and length kept per way; the earliest is always kept


@dataclass(frozen=True, slots=True, eq=False)
class Legs:
    """Legs to one point: arrival, departure, phase walked by, length; one entry per leg."""

    arrive: IntArray
    depart: IntArray
    phase: IntArray
    length: IntArray


def legs_to(a: CrewArrays, t: int, *, points: IntArray, goal: IntArray, ready: IntArray) -> Legs:
    """(points, goals) earliest arrivals; the rule of ``Phase`` written for arrays."""
    phases, end = a.phase_from.size, np.append(a.phase_from[1:], 2**62)
    points, goal, ready = np.broadcast_arrays(points[:, None], goal[None, :], ready[:, None])
    best = Legs(np.full_like(ready, FAR_MS), ready.copy(), np.zeros_like(ready), ready * 0)
    for k in range(phases):
        depart = ready if k == 0 else np.maximum(ready, a.phase_from[k])
        walk, by = a.travel[k, t, points, goal].copy(), np.full_like(ready, k)
        for j in range(k + 1, phases):
            touched = (walk < FAR_MS) & (depart + walk > end[j - 1])
            longer = touched & (a.travel[j, t, points, goal] > walk)
            walk[longer], by[longer] = a.travel[j, t, points, goal][longer], j
        arrive = depart + walk
        better = (depart < end[k]) & (arrive < best.arrive)
        best.arrive[better], best.depart[better] = arrive[better], depart[better]
        best.phase[better] = by[better]
    best.length[:] = a.length[best.phase, points, goal]
    return best


@dataclass(frozen=True, slots=True, eq=False)
class _Labels:
    """Labels of one stop: way, time of leaving, length so far, label before."""

    way: IntArray
    left: IntArray
    walk: IntArray
    came: IntArray


class Chains:
    """Ways for an order of levels, start and finish included; see ``shortest``."""

    def __init__(self, a: CrewArrays, t: int, levels: list[int]) -> None:
        start, zero = int(a.level_first[levels[0]]), np.zeros(1, dtype=np.int64)
        self._steps = [_Labels(zero + start, zero + a.start_ms[t], zero, zero)]
        for level in levels[1:]:
            self._steps.append(_step(a, t, self._steps[-1], level=level))

    def shortest(self, cap: int) -> tuple[int, ...]:
        """The ways of least length that end not after ``cap``; of least time where all do."""
        last = self._steps[-1]
        in_time = np.flatnonzero(last.left <= max(cap, int(last.left.min())))
        at = int(in_time[np.lexsort((last.left[in_time], last.walk[in_time]))[0]])
        chain = []
        for labels in reversed(self._steps):
            chain.append(int(labels.way[at]))
            at = int(labels.came[at])
        return tuple(reversed(chain))


def _step(a: CrewArrays, t: int, before: _Labels, *, level: int) -> _Labels:
    ways = np.arange(a.level_first[level], a.level_first[level + 1])
    ways = ways[a.way_ms[t, ways] >= 0]
    legs = legs_to(a, t, points=a.way_leave[before.way], goal=a.way_enter[ways], ready=before.left)
    lefts = np.maximum(legs.arrive, a.way_lo[ways]) + a.way_ms[t, ways]
    walks = before.walk[:, None] + legs.length
    in_time = (lefts <= a.way_hi[ways]) & (legs.arrive < FAR_MS)
    found = []
    for k, way in enumerate(ways):
        left, walk = lefts[:, k], walks[:, k]
        order = np.lexsort((walk, left))
        order = order[in_time[order, k]]
        shortest = np.minimum.accumulate(walk[order])
        first = np.append(True, shortest[1:] < shortest[:-1])[: order.size]
        kept = order[first][:MOST_LABELS]
        found.append(_Labels(np.full_like(kept, way), left[kept], walk[kept], kept))
    return _Labels(
        np.concatenate([f.way for f in found]),
        np.concatenate([f.left for f in found]),
        np.concatenate([f.walk for f in found]),
        np.concatenate([f.came for f in found]),
    )


def timetable(a: CrewArrays, t: int, chain: tuple[int, ...]) -> TechnicianRound:
    """Every leg, wait and stop of a chain of kernel ways, begun as early as possible."""
    visits: list[Visit] = []
    loads = _loads(a, t, chain)
    now, walk_ms, walk_mm, work_ms = int(a.start_ms[t]), 0, 0, 0
    depart, phase = now, 0
    for before, way in pairwise(chain):
        one = a.way_leave[[before]], a.way_enter[[way]], np.array([now], dtype=np.int64)
        legs = legs_to(a, t, points=one[0], goal=one[1], ready=one[2])
        arrive, depart, phase = legs.arrive.item(), legs.depart.item(), legs.phase.item()
        walk_ms, walk_mm = walk_ms + arrive - depart, walk_mm + legs.length.item()
        begin = max(arrive, int(a.way_lo[way]))
        now = begin + int(a.way_ms[t, way])
        if way == chain[-1]:
            break
        work_ms += now - begin
        times = (depart, arrive, begin, now, phase - 1)
        visits.append(
            _visit(a, way, times=times, loads=loads[1 + sum(v.kind == "store" for v in visits) :])
        )
    start = int(a.start_ms[t])
    return TechnicianRound(
        technician=t,
        visits=tuple(visits),
        start_ms=start,
        depart_ms=depart,
        finish_ms=now,
        walk_ms=walk_ms,
        walk_mm=walk_mm,
        work_ms=work_ms,
        wait_ms=now - start - walk_ms - work_ms,
        phase=phase - 1,
        load=loads[0],
    )


def _visit(
    a: CrewArrays,
    way: int,
    *,
    times: tuple[int, int, int, int, int],
    loads: list[tuple[int, ...]],
) -> Visit:
    depart, arrive, begin, leave, phase = times
    if way < a.way_id.size:
        level = int(np.searchsorted(a.level_first, way, side="right")) - 1
        unit = int(a.level_unit[level])
        return Visit("unit", unit, int(a.way_id[way]), -1, depart, arrive, begin, leave, phase)
    store = way - a.way_id.size
    return Visit("store", -1, -1, store, depart, arrive, begin, leave, phase, loads[0])


def _loads(a: CrewArrays, t: int, chain: tuple[int, ...]) -> list[tuple[int, ...]]:
    """Cartridges per gun kind taken at the start and at each store: what is put in until the next.

    What is left of a cartridge in the gun when the bag is filled goes on being used.
    """
    strokes = np.zeros(a.level_strokes.shape[1], dtype=np.int64)
    marks = [np.zeros_like(strokes)]
    for way in chain[1:-1]:
        if way >= a.way_id.size:
            marks.append(_put_in(a, t, strokes))
            continue
        level = int(np.searchsorted(a.level_first, way, side="right")) - 1
        strokes = strokes + a.level_strokes[level]
    marks.append(_put_in(a, t, strokes))
    return [tuple(int(x) for x in after - before) for before, after in pairwise(marks)]


def _put_in(a: CrewArrays, t: int, strokes: IntArray) -> IntArray:
    over = np.maximum(0, strokes - a.gun_left[t])
    counts: IntArray = -(-over // a.cartridge[t])
    return counts
