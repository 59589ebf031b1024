"""Compiled: an order of all units that is late by the least sum, sought before anything else.

After da Silva and Urrutia, A general VNS heuristic for the travelling salesman problem with time
windows, Discrete Optimization 7 (2010): units may be late, the sum of lateness is made small by
moving up to three units in a row, and the best order is shaken ever harder while nothing helps.

All rounds stand in one row: the units of technician 0, the stop ``U``, the units of technician 1,
the stop ``U + 1`` and so on, so that a move within a round and one between rounds are the same.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

from typing import NamedTuple

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, IntArray, WordArray
from greaseroute.solvers.compiled import inner_njit
from greaseroute.solvers.vrp.kernels.legs import leg_end
from greaseroute.solvers.vrp.layout import (
    CLOSES,
    ENTER,
    LEAVE,
    OPENS,
    START_MS,
    WALKER,
    Instance,
)
from greaseroute.solvers.xorshift import below

MOST_MOVED = 3  # units in a row that one move takes
HARDEST = 8  # units that a shake moves at most
BARRED = FAR  # lateness of a unit at a technician who cannot serve it, or has no path to it
COUNT, LEFT = 0, 1  # of ``Row.marks``


class Row(NamedTuple):
    """Rounds in one row, and what is known at each place of it.

    ``stop``, ``time``, ``late``, ``point``, ``tech`` (U + T,): the stop, when it is left, lateness
    of the row up to and with it, the point where the next leg begins and whose leg that is.
    ``way``, ``work`` (T, U): the way by which a technician serves a unit (-1: cannot) and the time
    for it. ``marks`` (2,): places in use, places that may still be looked at before the end.
    """

    stop: IntArray
    time: IntArray
    late: IntArray
    point: IntArray
    tech: IntArray
    way: IntArray
    work: IntArray
    marks: IntArray


@inner_njit
def begin_of(inst: Instance, t: int) -> tuple[int, int, int]:
    """When and at which point a technician begins, and the technician."""
    if t >= inst.crew.shape[0]:
        return 0, 0, t
    start = inst.level[inst.level.shape[0] - 2 * inst.crew.shape[0] + t, 0]
    return inst.crew[t, START_MS], inst.way[LEAVE, start], t


@inner_njit
def go_on(
    inst: Instance, r: Row, stop: int, time: int, point: int, t: int
) -> tuple[int, int, int, int]:
    """Leave a stop: the time, the point, whose next leg it is, how late the stop was."""
    units, n_tech = inst.unit.shape[0], inst.crew.shape[0]
    r.marks[LEFT] -= 1
    if stop >= units:
        way = inst.level[inst.level.shape[0] - n_tech + t, 0]
        end = leg_end(
            inst.travel, inst.phase_from, inst.crew[t, WALKER], point, inst.way[ENTER, way], time
        )
        late = max(0, end - inst.way[CLOSES, way])
        time, point, t = begin_of(inst, t + 1)
        return time, point, t, late
    way = r.way[t, stop]
    if way < 0:
        return time, point, t, BARRED
    arrive = leg_end(
        inst.travel, inst.phase_from, inst.crew[t, WALKER], point, inst.way[ENTER, way], time
    )
    if arrive >= FAR:
        return time, point, t, BARRED
    leave = max(arrive, inst.way[OPENS, way]) + r.work[t, stop]
    return leave, inst.way[LEAVE, way], t, max(0, leave - inst.way[CLOSES, way])


@inner_njit
def before(inst: Instance, r: Row, place: int) -> tuple[int, int, int, int]:
    """Time, point, technician and lateness with which a place of the row is begun."""
    if place == 0:
        time, point, t = begin_of(inst, 0)
        return time, point, t, 0
    k = place - 1
    return r.time[k], r.point[k], r.tech[k], r.late[k]


@inner_njit
def bring_up(inst: Instance, r: Row, place: int) -> None:
    """Bring all that is known of the row up to date from a place on."""
    time, point, t, late = before(inst, r, place)
    for k in range(place, r.marks[COUNT]):
        time, point, t, more = go_on(inst, r, r.stop[k], time, point, t)
        late += more
        r.time[k], r.point[k], r.tech[k], r.late[k] = time, point, t, late


@inner_njit
def along(
    inst: Instance, r: Row, a: int, b: int, time: int, point: int, t: int, late: int, limit: int,
    meets: bool,
) -> tuple[int, int, int, int]:
    """Walk the stops at places a to b (not included); ends early at the limit of lateness.

    Where they ``meet`` the times that were, from there on all is as it was.
    """
    for k in range(a, b):
        time, point, t, more = go_on(inst, r, r.stop[k], time, point, t)
        late += more
        if late >= limit:
            return time, point, t, limit
        if meets and time == r.time[k] and point == r.point[k] and t == r.tech[k]:
            late += r.late[b - 1] - r.late[k]
            return r.time[b - 1], r.point[b - 1], r.tech[b - 1], late
    return time, point, t, late


@inner_njit
def lateness_with(inst: Instance, r: Row, i: int, length: int, j: int, limit: int) -> int:
    """Lateness of the row with the stops from place i put before place j; ``limit`` if not less."""
    count, end = r.marks[COUNT], i + length
    if j > end:
        time, point, t, late = before(inst, r, i)
        time, point, t, late = along(inst, r, end, j, time, point, t, late, limit, True)
        if late < limit:
            time, point, t, late = along(inst, r, i, end, time, point, t, late, limit, False)
        rest = j
    else:
        time, point, t, late = before(inst, r, j)
        time, point, t, late = along(inst, r, i, end, time, point, t, late, limit, False)
        if late < limit:
            time, point, t, late = along(inst, r, j, i, time, point, t, late, limit, True)
        rest = end
    if late < limit:
        time, point, t, late = along(inst, r, rest, count, time, point, t, late, limit, True)
    return min(late, limit)


@inner_njit
def move(inst: Instance, r: Row, i: int, length: int, j: int) -> None:
    """Put the stops from place i before place j."""
    for _ in range(length):
        if j > i:
            stop = r.stop[i]
            for k in range(i, j - 1):
                r.stop[k] = r.stop[k + 1]
            r.stop[j - 1] = stop
        else:
            stop = r.stop[i + length - 1]
            for k in range(i + length - 1, j, -1):
                r.stop[k] = r.stop[k - 1]
            r.stop[j] = stop
    bring_up(inst, r, min(i, j))


@inner_njit
def improve_at(inst: Instance, r: Row, i: int) -> bool:
    """Make the first move of stops from place i that makes the row less late."""
    units, count = inst.unit.shape[0], r.marks[COUNT]
    limit, last = r.late[count - 1], count - 1
    while last > 0 and r.late[last - 1] == limit:
        last -= 1  # the last late place: what changes nothing up to there does not help
    for length in range(1, MOST_MOVED + 1):
        if i + length > count or r.stop[i + length - 1] >= units:
            return False
        for k in range(1, count):
            j = i - k if i - k >= 0 else i + length + k - i
            if j >= count or min(i, j) > last:
                continue
            if lateness_with(inst, r, i, length, j, limit) < limit:
                move(inst, r, i, length, j)
                return True
    return False


@inner_njit
def improve(inst: Instance, r: Row, word: WordArray) -> None:
    """Move while it makes the row less late."""
    count, idle, i = r.marks[COUNT], 0, below(word, r.marks[COUNT])
    while idle < count and r.late[count - 1] > 0 and r.marks[LEFT] > 0:
        if r.stop[i] < inst.unit.shape[0] and improve_at(inst, r, i):
            idle = 0
        else:
            idle, i = idle + 1, (i + 1) % count


@inner_njit
def shake(inst: Instance, r: Row, word: WordArray, moves: int) -> None:
    """Put so many units anywhere."""
    count, units = r.marks[COUNT], inst.unit.shape[0]
    for _ in range(moves):
        i, j = below(word, count), below(word, count)
        if r.stop[i] < units and j not in (i, i + 1):
            move(inst, r, i, 1, j)


@njit(nogil=True)
def deal_out(inst: Instance, r: Row, sequence: IntArray) -> None:
    """Give the units of a sequence one by one to who is least late, then done first."""
    n_tech, units, count = inst.crew.shape[0], inst.unit.shape[0], 0
    holder = np.full(units, -1, np.int64)
    time, point = np.zeros(n_tech, np.int64), np.zeros(n_tech, np.int64)
    for t in range(n_tech):
        time[t], point[t], _ = begin_of(inst, t)
    for u in sequence:
        best_late, best_time, best_point, best = 2 * FAR, FAR, 0, 0
        for t in range(n_tech):
            end, there, _, late = go_on(inst, r, u, time[t], point[t], t)
            if late < best_late or (late == best_late and end < best_time):
                best_late, best_time, best_point, best = late, end, there, t
        holder[u], time[best], point[best] = best, best_time, best_point
    for t in range(n_tech):
        for u in sequence:
            if holder[u] == t:
                r.stop[count], count = u, count + 1
        r.stop[count], count = units + t, count + 1
    r.marks[COUNT] = count
    bring_up(inst, r, 0)


@cached_njit
def seek_on_time(
    inst: Instance, r: Row, sequence: IntArray, best: IntArray, word: WordArray
) -> int:
    """Make the row of a sequence as little late as can be; the lateness of ``best`` (U + T,).

    Ends when nothing is late, when no shake has helped, or when ``marks`` allows no more.
    """
    deal_out(inst, r, sequence)
    improve(inst, r, word)
    count = r.marks[COUNT]
    best[:] = r.stop
    least, moves = r.late[count - 1], 1
    while least > 0 and moves <= HARDEST and r.marks[LEFT] > 0:
        shake(inst, r, word, moves)
        improve(inst, r, word)
        moves += 1
        if r.late[count - 1] < least:
            best[:] = r.stop
            least, moves = r.late[count - 1], 1
        else:
            r.stop[:] = best
            bring_up(inst, r, 0)
    return int(least)
