"""Compiled: which units are taken out of the routes, and in which order they are put back.

Strings of adjacent stops around one place, as in Christiaens and Vanden Berghe, Slack induction by
string removals, Transportation Science 54 (2020); now and then units that lie together, or any.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

from typing import NamedTuple

from greaseroute.solvers.arrays import FloatArray, IntArray, WordArray
from greaseroute.solvers.compiled import inner_njit
from greaseroute.solvers.vrp.kernels.route import AFTER, BEFORE, HOLDER
from greaseroute.solvers.vrp.kernels.state import CLOCK, DIRTY, State, take_out, unlink, update
from greaseroute.solvers.vrp.layout import (
    CLOSES,
    FIRST_LEVEL,
    FIRST_WAY,
    SKIP_LOSS,
    WORK,
    Instance,
)
from greaseroute.solvers.xorshift import below, fraction

MEAN_OUT = 8.0  # units taken out by strings per step, about
LONGEST = 10  # units of one string
STRINGS, TOGETHER = 0.85, 0.95  # shares of the steps: strings up to here, near units up to here
SPLIT, KEEP_ON = 0.5, 0.5  # of the strings leave a part in the middle; chance of one unit more
MOST_LEFT_OUT = 10  # of the units that no route has, so many are tried again in one step


class Neighbours(NamedTuple):
    """Which units lie near which.

    ``beside`` (U, N): the nearest of each unit, for places to put it; ``near`` (U, M): more of
    them, itself first, for what is taken out together; ``away`` (U,) ms from the first start.
    """

    beside: IntArray
    near: IntArray
    away: IntArray


class Removed(NamedTuple):
    """Units to be put back: ``unit`` (U,) and what they are sorted by, ``key`` (U,)."""

    unit: IntArray
    key: FloatArray


@inner_njit
def take_string(
    inst: Instance, s: State, most: int, unit: int, length: int, word: WordArray, out: IntArray,
    count: int,
) -> int:
    """Take out ``length`` units in a row around a unit, or as many around a part that stays."""
    units, stop = inst.unit.shape[0], unit
    for _ in range(below(word, length)):
        before = s.stops[stop, BEFORE]
        if before >= units:
            break
        stop = before
    pause, stay = -1, 0
    if length > 1 and fraction(word) < SPLIT:
        pause, stay = 1 + below(word, length - 1), 1
        while fraction(word) < KEEP_ON:
            stay += 1
    t, p, timed = s.stops[unit, HOLDER], s.stops[stop, BEFORE], s.marks[CLOCK] == 1
    for k in range(length):
        if k == pause:
            while stay > 0 and stop < units:
                stop, stay = s.stops[stop, AFTER], stay - 1
        if stop >= units:
            break
        after = s.stops[stop, AFTER]
        if timed:  # labels change up to both ends of the route: once for the whole string
            unlink(inst, s, most, stop)
        else:
            take_out(inst, s, most, stop)
        out[count] = stop
        count, stop = count + 1, after
    if timed:
        update(inst, s, most, t, s.stops[p, AFTER], s.stops[stop, BEFORE])
    return count


@inner_njit
def ruin(
    inst: Instance, s: State, near: Neighbours, most: int, word: WordArray, out: IntArray
) -> int:
    """Take out strings around a unit, the units near it, or any; returns how many are out."""
    units, n_tech = inst.unit.shape[0], s.tech.shape[1]
    seed, mode, count = below(word, units), fraction(word), 0
    longest = min(LONGEST, max(1, units // n_tech))
    strings = 1 + below(word, max(1, int(4.0 * MEAN_OUT / (1 + longest))))
    left = strings if mode < STRINGS else 1 + below(word, min(LONGEST, units))
    for k in range(near.near.shape[1]):
        if left == 0:
            break
        unit = near.near[seed, k] if mode < TOGETHER else below(word, units)
        t = s.stops[unit, HOLDER]
        if t < 0:
            continue
        if mode < STRINGS:
            if s.tech[DIRTY, t] == 1:
                continue
            length = 1 + below(word, longest)
            count = take_string(inst, s, most, unit, length, word, out, count)
        else:
            take_out(inst, s, most, unit)
            out[count] = unit
            count += 1
        left -= 1
    return count


@inner_njit
def add_left_out(s: State, word: WordArray, out: IntArray, count: int, units: int) -> int:
    """Add some of the units that no route has to those taken out in this step."""
    begin, most = below(word, units), count + MOST_LEFT_OUT
    fresh = count
    for k in range(units):
        unit = (begin + k) % units
        if s.stops[unit, HOLDER] >= 0 or count == most:
            continue
        known = False
        for i in range(fresh):
            known = known or out[i] == unit
        if not known:
            out[count] = unit
            count += 1
    return count


@inner_njit
def sort_out(
    inst: Instance, near: Neighbours, word: WordArray, removed: Removed, count: int
) -> None:
    """Sort the units that are put back: by chance, loss, work, closing time or distance."""
    mode = below(word, 10)
    for i in range(count):
        unit = removed.unit[i]
        level = min(inst.unit[unit, FIRST_LEVEL], inst.level.shape[0] - 1)
        first_way = min(inst.level[level, FIRST_WAY], inst.way.shape[1] - 1)
        key = fraction(word)
        if 3 <= mode < 5:
            key -= float(inst.unit[unit, SKIP_LOSS])
        elif mode == 5:
            key -= float(inst.way[WORK, first_way])
        elif mode == 6:
            key += float(inst.way[CLOSES, first_way])
        elif mode >= 7:
            key += float(near.away[unit]) * (1.0 if mode == 7 else -1.0)
        at = i
        while at > 0 and removed.key[at - 1] > key:
            removed.key[at], removed.unit[at] = removed.key[at - 1], removed.unit[at - 1]
            at -= 1
        removed.key[at], removed.unit[at] = key, unit
