"""Compiled: ruin and recreate over the routes of all technicians, accepted as in annealing.

Each step takes some units that follow each other out of the routes and puts them back one by one
where the energy suffers least; beside units that lie near, and at both ends of every route. Blinks
as in Christiaens and Vanden Berghe, Transportation Science 54 (2020).
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

from typing import NamedTuple

import numpy as np

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, FloatArray, IntArray, WordArray
from greaseroute.solvers.compiled import inner_njit
from greaseroute.solvers.vrp.kernels.objective import (
    LOST,
    Best,
    Weights,
    count_moved,
    energy,
    keep_best,
    last_finish,
    power,
    slope,
)
from greaseroute.solvers.vrp.kernels.reloads import Bags, changes_with, settle
from greaseroute.solvers.vrp.kernels.route import (
    AFTER,
    BACK,
    BEFORE,
    HOLDER,
    LABELS,
    LEVEL,
    SEEN,
    price,
    price_clock,
)
from greaseroute.solvers.vrp.kernels.ruin import Neighbours, Removed, add_left_out, ruin, sort_out
from greaseroute.solvers.vrp.kernels.state import (
    CARTRIDGES,
    CHANGING,
    CLOCK,
    DIRTY,
    FINISH,
    LOOK,
    TAKES_PART,
    State,
    begin_step,
    is_feasible,
    put_in,
    take_back,
    take_out,
    update,
)
from greaseroute.solvers.vrp.layout import (
    CLOSES,
    END_LEVEL,
    END_WAY,
    FIRST_LEVEL,
    FIRST_WAY,
    FOLLOWS,
    LOSS,
    SKIP_LOSS,
    START_MS,
    WALKER,
    WORK,
    Instance,
)
from greaseroute.solvers.xorshift import fraction

BLINK = 0.01  # share of places not looked at
SKIP_LEVEL = 0.05  # share of insertions that try a lesser service level first
STALE = 0.2  # part by which the last finish may move before finishes are weighed anew
BATCH = 256  # steps between looks at the last finish and the temperatures


class Cooling(NamedTuple):
    """From where to where the search cools over ``steps`` steps, geometrically.

    ``hot_ms``, ``cool_ms``: temperatures of the energy; ``loss_hot``, ``loss_cool`` of the weight
    lost; ``share`` of the sum of finishes; ``squared`` as in ``Weights``, arithmetically.
    ``about_ms``: finishes are told by no less than this, however few units have a route yet.
    """

    steps: int
    hot_ms: float
    cool_ms: float
    loss_hot: float
    loss_cool: float
    share_first: float
    share_last: float
    squared_first: int
    squared_last: int
    about_ms: float


# Rows of ``Places.whole``: how much later the route ends, the stop before the place, the level; 1
# for who can serve the level at hand, time of cartridge changes that it would add.
LATER, AT, OF_LEVEL, ABLE, ALLOW = 0, 1, 2, 3, 4
# Rows of ``Places.real``: what places of one route are compared by, what else they add to the
# energy; power of the present finish, what a millisecond of it weighs.
SCORE, EXTRA, POWER, WEIGHT = 0, 1, 2, 3


class Places(NamedTuple):
    """The best place found in each route: ``whole`` (5, T), ``real`` (4, T), rows as above."""

    whole: IntArray
    real: FloatArray


@inner_njit
def more_moved(s: State, unit: IntArray, p: int, u: int) -> int:
    """How many more units follow another than in the plan before, with unit u after stop p."""
    units, after = unit.shape[0], s.stops[p, AFTER]
    while p >= units and s.stops[p, BEFORE] >= 0:
        p = s.stops[p, BEFORE]
    while after >= units and s.stops[after, AFTER] >= 0:
        after = s.stops[after, AFTER]
    more = 1 if unit[u, FOLLOWS] != p else 0
    if after < units:
        more += 1 if unit[after, FOLLOWS] != u else 0
        more -= 1 if unit[after, FOLLOWS] != p else 0
    return more


@inner_njit
def look_behind(
    inst: Instance, s: State, places: Places, most: int, w: Weights, p: int,
    level: int, u: int,
) -> None:
    """Price unit u at a level after stop p, and keep the place if it is the route's best."""
    t = s.stops[p, HOLDER]
    y, levels, allow, walking = inst.crew[t, WALKER], inst.level, places.whole[ALLOW, t], 0
    if s.marks[CLOCK] == 0:
        later = price(inst.travel, inst.way, levels, s.stops, most, y, t, p, level) + allow
        finish = levels[levels.shape[0] - s.tech.shape[1] + t, FIRST_WAY]
        if s.tech[FINISH, t] + later > inst.way[CLOSES, finish]:
            return
    else:
        end, walking = price_clock(
            inst.travel, inst.way, levels, inst.phase_from, s.stops, most, y, t, p, level, allow
        )
        if end >= FAR:
            return
        later = end - s.tech[FINISH, t]
    extra = w.share * float(later + max(0, walking))
    if w.change_cost_ms > 0:
        extra += float(w.change_cost_ms * more_moved(s, inst.unit, p, u))
    score = places.real[WEIGHT, t] * float(later) + extra
    if score < places.real[SCORE, t]:
        places.real[SCORE, t], places.whole[LATER, t], places.real[EXTRA, t] = score, later, extra
        places.whole[AT, t], places.whole[OF_LEVEL, t] = p, level


@inner_njit
def look_around(
    inst: Instance, s: State, near: Neighbours, places: Places, most: int,
    w: Weights, word: WordArray, level: int, u: int,
) -> None:
    """Look for a place for unit u at a level beside near units and at the ends of all routes."""
    units, n_tech, beside = inst.unit.shape[0], s.tech.shape[1], near.beside.shape[1]
    s.marks[LOOK] += 1
    for t in range(n_tech):
        places.whole[ABLE, t] = 0
        if s.tech[TAKES_PART, t] == 1:
            for v in range(inst.level[level, FIRST_WAY], inst.level[level, END_WAY]):
                if inst.way[WORK + t, v] >= 0:
                    places.whole[ABLE, t] = 1
        places.whole[ALLOW, t] = changes_with(inst, s.tech, t, level)
    for k in range(2 * (beside + n_tech)):
        if k < 2 * beside:
            p = near.beside[u, k // 2]
            if s.stops[p, HOLDER] < 0:
                continue
        else:
            p = units + k // 2 - beside + (n_tech if k % 2 == 1 else 0)
        if k % 2 == 1:  # before the unit, or before the finish
            p = s.stops[p, BEFORE]
        if s.stops[p, SEEN] == s.marks[LOOK]:
            continue
        s.stops[p, SEEN] = s.marks[LOOK]
        if places.whole[ABLE, s.stops[p, HOLDER]] == 1 and fraction(word) >= BLINK:
            look_behind(inst, s, places, most, w, p, level, u)


@inner_njit
def best_route(s: State, places: Places, w: Weights, gain: float) -> int:
    """The technician whose best place adds the least energy; -1 if there is none."""
    best, found = 1e300, -1
    for t in range(s.tech.shape[1]):
        if places.real[SCORE, t] < 1e300:
            end = s.tech[FINISH, t] + places.whole[LATER, t]
            more = gain * (power(end, w.about_ms, w.squared) - places.real[POWER, t])
            more += places.real[EXTRA, t]
            if more < best:
                best, found = more, t
    return found


@inner_njit
def put_back(
    inst: Instance, s: State, near: Neighbours, places: Places, most: int,
    w: Weights, word: WordArray, gain: float, u: int,
) -> bool:
    """Put a unit where it costs least, at the least loss that has room; false if left out."""
    level, end_level = inst.unit[u, FIRST_LEVEL], inst.unit[u, END_LEVEL]
    steep = gain * 2.0**w.squared
    while level < end_level:
        loss = inst.level[level, LOSS]
        for t in range(s.tech.shape[1]):
            places.real[SCORE, t] = 1e300
            finish = max(1.0, float(s.tech[FINISH, t]))
            places.real[WEIGHT, t] = steep * places.real[POWER, t] / finish
        passed = end_level - level > 1 and fraction(word) < SKIP_LEVEL
        while level < end_level and inst.level[level, LOSS] == loss:  # they are one choice
            if not passed or level == end_level - 1:
                look_around(inst, s, near, places, most, w, word, level, u)
            level += 1
        t = best_route(s, places, w, gain)
        if t < 0:
            continue
        at, later = places.whole[AT, t], places.whole[LATER, t]
        put_in(inst, s, most, u, places.whole[OF_LEVEL, t], t, at, later)
        s.tech[CHANGING, t] += places.whole[ALLOW, t]
        if is_feasible(inst, s, t):
            places.real[POWER, t] = power(s.tech[FINISH, t], w.about_ms, w.squared)
            return True
        take_out(inst, s, most, u)
    return False


@inner_njit
def settle_route(
    inst: Instance, s: State, bags: Bags, most: int, t: int, removed: Removed, count: int
) -> None:
    """Count cartridges and place stores; units put in by this step go again until it works."""
    k = count
    while not (settle(inst, s, bags, most, t) and is_feasible(inst, s, t)):
        k -= 1
        while k >= 0 and s.stops[removed.unit[k], HOLDER] != t:
            k -= 1
        if k < 0:
            return
        take_out(inst, s, most, removed.unit[k])


@inner_njit
def weight_of(inst: Instance, s: State, removed: Removed, count: int) -> int:
    """Weight that the units of this step leave undone as they are now."""
    lost = 0
    for k in range(count):
        u = removed.unit[k]
        if s.stops[u, HOLDER] < 0:
            lost += inst.unit[u, SKIP_LOSS]
        else:
            lost += inst.level[s.stops[u, LEVEL], LOSS]
    return int(lost)


@inner_njit
def step(
    inst: Instance, s: State, near: Neighbours, bags: Bags, places: Places,
    removed: Removed, most: int, w: Weights, word: WordArray, left_out: int,
) -> tuple[int, int, bool]:
    """One ruin and recreate: weight lost more, units left out more, whether it is feasible."""
    units, n_tech = inst.unit.shape[0], s.tech.shape[1]
    begin_step(s)
    taken = ruin(inst, s, near, most, word, removed.unit)
    before, count = 0, taken
    for k in range(taken):
        before += inst.level[s.stops[removed.unit[k], LEVEL], LOSS]
    if left_out > 0:
        count = add_left_out(s, word, removed.unit, taken, units)
        for k in range(taken, count):
            before += inst.unit[removed.unit[k], SKIP_LOSS]
    sort_out(inst, near, word, removed, count)
    gain = slope(s, w, places.real[POWER])
    for k in range(count):
        put_back(inst, s, near, places, most, w, word, gain, removed.unit[k])
    feasible, out = True, 0
    for t in range(n_tech):
        if s.tech[DIRTY, t] == 1:
            if s.marks[CARTRIDGES] == 1:
                settle_route(inst, s, bags, most, t, removed, count)
            if w.change_cost_ms > 0:
                count_moved(s, inst.unit, t)
            feasible = feasible and is_feasible(inst, s, t)
    for k in range(count):
        out += 1 if s.stops[removed.unit[k], HOLDER] < 0 else 0
    return weight_of(inst, s, removed, count) - before, out - (count - taken), feasible


@inner_njit
def first_unreachable(s: State, most: int, t: int, units: int) -> int:
    """The unit of a route that is too late, or the last one; -1 if there is none."""
    stop, unit = s.stops[units + t, AFTER], -1
    while stop >= 0:
        if stop < units:
            unit = stop
            earliest = FAR
            for k in range(most):
                earliest = min(earliest, s.stops[stop, LABELS + k])
            if earliest >= FAR:
                break
        stop = s.stops[stop, AFTER]
    return unit


@inner_njit
def sum_back(stops: IntArray, stop: int) -> int:
    """Time from a stop to the finish by the quickest ways, without a clock; ``FAR`` for none."""
    total = 0
    while stop >= 0:
        total = min(FAR, total + stops[stop, BACK])
        stop = stops[stop, AFTER]
    return int(total)


@inner_njit
def adopt(inst: Instance, s: State, bags: Bags, most: int, t: int, removed: Removed) -> None:
    """Make labels for a route whose stops were linked from outside.

    Units that cannot be reached in time are taken out of it.
    """
    units, n_tech, count = inst.unit.shape[0], s.tech.shape[1], 0
    start, finish = units + t, units + n_tech + t
    begin_step(s)
    if s.marks[CLOCK] == 1:
        s.stops[start, LABELS] = inst.crew[t, START_MS]
        way = inst.level[s.stops[finish, LEVEL], FIRST_WAY]
        s.stops[finish, LABELS + 3 * most] = inst.way[CLOSES, way]
    update(inst, s, most, t, s.stops[start, AFTER], s.stops[finish, BEFORE])
    if s.marks[CLOCK] == 0:
        s.tech[FINISH, t] = inst.crew[t, START_MS] + sum_back(s.stops, start)
    while not is_feasible(inst, s, t):
        unit = first_unreachable(s, most, t, units)
        if unit < 0:
            s.tech[TAKES_PART, t] = 0
            return
        take_out(inst, s, most, unit)
    s.tech[TAKES_PART, t] = 1
    stop = s.stops[start, AFTER]
    while stop >= 0:
        if stop < units:
            removed.unit[count] = stop
            count += 1
        stop = s.stops[stop, AFTER]
    if s.marks[CARTRIDGES] == 1:
        settle_route(inst, s, bags, most, t, removed, count)
    count_moved(s, inst.unit, t)


# Long: one loop; what it carries from step to step would be handed in and out of each part.
@cached_njit
def anneal(
    inst: Instance, s: State, near: Neighbours, bags: Bags, places: Places,
    removed: Removed, best: Best, most: int, cooling: Cooling, change_cost_ms: int,
    word: WordArray, fresh: bool, done: int, steps: int,
) -> None:
    """``steps`` steps from where the routes are, of a cooling of which ``done`` are behind.

    Where they are ``fresh``, stops are linked and have no labels yet.
    """
    if fresh:
        for t in range(s.tech.shape[1]):
            adopt(inst, s, bags, most, t, removed)
    lost, left_out = 0, 0
    for u in range(inst.unit.shape[0]):
        if s.stops[u, HOLDER] < 0:
            lost, left_out = lost + inst.unit[u, SKIP_LOSS], left_out + 1
        else:
            lost += inst.level[s.stops[u, LEVEL], LOSS]
    w, now, hot, loss_hot = Weights(1.0, 1, 0.0, change_cost_ms), 0.0, 1.0, 1.0
    keep_best(s, best, lost, w)
    stale = True
    for k in range(steps):
        if k % BATCH == 0 or stale:
            x = min(1.0, float(done + k) / float(cooling.steps))
            squared = cooling.squared_first + int(
                (cooling.squared_last - cooling.squared_first) * x + 0.5
            )
            share = cooling.share_first * (cooling.share_last / cooling.share_first) ** x
            about_ms = max(cooling.about_ms, float(last_finish(s)))
            w = Weights(about_ms, squared, share, change_cost_ms)
            now = energy(s, w)
            hot = cooling.hot_ms * (cooling.cool_ms / cooling.hot_ms) ** x
            loss_hot = cooling.loss_hot * (cooling.loss_cool / cooling.loss_hot) ** x
            stale = False
        more_lost, more_out, feasible = step(
            inst, s, near, bags, places, removed, most, w, word, left_out
        )
        chance = -np.log(1.0 - fraction(word))
        accept = feasible
        if feasible:
            after = energy(s, w)
            if more_lost == 0:
                accept = after <= now + hot * chance
            else:
                accept = float(more_lost) <= loss_hot * chance
        if accept:
            now, lost, left_out = after, lost + more_lost, left_out + more_out
            about_ms = max(cooling.about_ms, float(last_finish(s)))
            stale = abs(about_ms / w.about_ms - 1.0) > STALE
            if lost <= best.value[LOST]:
                keep_best(s, best, lost, w)
        else:
            take_back(s)
