"""Compiled: ruin and recreate over the orders of all technicians, accepted as in annealing.

Each step takes some units that lie together (or follow each other) out of the orders and puts them
back one by one where the finish suffers least, the ways at every stop re-chosen each time. Blinks
as in Christiaens and Vanden Berghe, Transportation Science 54 (2020). Arrays go from hand to hand
one by one: a record of arrays as an argument multiplies the time of compiling.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off
from typing import NamedTuple

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE, ONE, WordArray
from greaseroute.solvers.vrp.kernels.objective import (
    CHANGE_COST,
    FIRST_LEVEL,
    FIRST_WAY,
    FOLLOWS,
    FREE,
    GIVEN,
    LOST,
    MANY,
    SKIP_LOSS,
    STARTED,
    TIMED,
    copy_changed,
    keep_best,
    nearly_last,
    power,
    value_of,
)
from greaseroute.solvers.vrp.kernels.reloads import cartridges_along, drop_stores, fill_on_the_way
from greaseroute.solvers.vrp.kernels.route import (
    CHANGES,
    FINISH,
    HOLDER,
    LEAST_D,
    LEAST_LEFT,
    LEVEL,
    MS,
    STOPS,
    backward,
    forward,
    price,
)
from greaseroute.solvers.vrp.kernels.ruin import ruin, sort_out, take_out
from greaseroute.solvers.vrp.problem import IntArray
from greaseroute.solvers.xorshift import fraction

BLINK = 0.01  # share of places not looked at
SKIP_LEVEL = 0.05  # share of insertions that try a lesser service level first
NEAR_RANK = 24  # places beside one of so many near units are priced, on a large site


class Ground(NamedTuple):
    """What never changes: see ``CrewArrays`` and the kernels of one order.

    ``unit`` (4, U + 1) has rows SKIP_LOSS, FIRST_LEVEL, FIRST_WAY, FOLLOWS (the slot a unit
    followed before the change, -1 none); ``near`` (2, U, U) the units by distance from each and
    each one's rank in that list.
    """

    way: IntArray
    first: IntArray
    travel: IntArray
    length: IntArray
    phase_from: IntArray
    apart: IntArray
    strokes: IntArray
    loss: IntArray
    unit: IntArray
    bag: IntArray
    near: IntArray


class Routes(NamedTuple):
    """The orders of all technicians and what is known of each slot."""

    seq: IntArray  # (T, cap) slots
    tech: IntArray  # (4, T)
    slots: IntArray  # (4, slots)
    know: IntArray  # (5, slots, most ways)


class Best(NamedTuple):
    """The best orders so far; value: lost, last finish + change cost, length, spread."""

    seq: IntArray
    stops: IntArray
    level: IntArray
    value: IntArray


@njit(nogil=True)
def refresh(
    way: IntArray, first: IntArray, travel: IntArray, length: IntArray, phase_from: IntArray,
    apart: IntArray, strokes: IntArray, bag: IntArray, unit: IntArray, seq: IntArray,
    tech: IntArray, slots: IntArray, know: IntArray, t: int, at: int, end: int,
) -> bool:
    """Earliest finish after the order changed at position ``at``; false if impossible.

    Tails are brought up to date from position ``end`` back.
    """
    store, units = strokes.shape[0], unit.shape[1] - 1
    if drop_stores(seq, tech, slots, t, store):
        at, end = ONE, FAR
    used = np.empty(tech[STOPS, t], dtype=np.int64)
    cartridges_along(strokes, bag, seq, slots, t, used)
    if used[used.shape[0] - 1] > bag[t, 0]:
        slot = units + 2 * tech.shape[1] + t * units
        if not fill_on_the_way(apart, seq, tech, slots, t, used, bag[t, 0], store, slot):
            tech[FINISH, t] = FAR
            return False
        at, end = ONE, FAR
    forward(way, first, travel, length, phase_from, seq, tech, slots, know, t, at)
    backward(way, first, travel, phase_from, seq, tech, slots, know, t, end)
    changes, before, units = 0, seq[t, 0], unit.shape[1] - 1
    for i in range(1, tech[STOPS, t] - 1):
        slot = seq[t, i]
        if slot < units:
            if unit[FOLLOWS, slot] != before:
                changes += 1
            before = slot
    tech[CHANGES, t] = changes
    return bool(tech[FINISH, t] < FAR)


@njit(nogil=True)
def changes_with(seq: IntArray, tech: IntArray, unit: IntArray, t: int, i: int, u: int) -> int:
    """How many more changes if unit u came after position i."""
    units, j = unit.shape[1] - 1, i + 1
    while i > 0 and seq[t, i] >= units:
        i -= 1
    while j < tech[STOPS, t] - 1 and seq[t, j] >= units:
        j += 1
    before, after = seq[t, i], seq[t, j]
    more = 1 if unit[FOLLOWS, u] != before else 0
    if after < units:
        more += 1 if unit[FOLLOWS, after] != u else 0
        more -= 1 if unit[FOLLOWS, after] != before else 0
    return more


@njit(nogil=True)
def most_hopeful(
    seq: IntArray, slots: IntArray, apart: IntArray, near: IntArray, word: WordArray, t: int,
    level: int, u: int, work: int, hope: IntArray,
) -> int:
    """Fill ``hope`` with a lower bound of the finish per place, FAR where not looked at."""
    units, best = near.shape[1], 0
    for i in range(hope.shape[0]):
        before, after = seq[t, i], seq[t, i + 1]
        hope[i] = FAR
        wide = units > 2 * NEAR_RANK and before < units and after < units
        if wide and near[1, u, before] > NEAR_RANK and near[1, u, after] > NEAR_RANK:
            continue
        if fraction(word) < BLINK:
            continue
        on = apart[t, slots[LEVEL, before], level] + work + apart[t, level, slots[LEVEL, after]]
        hope[i] = min(FAR, slots[LEAST_LEFT, before] + on + slots[LEAST_D, after])
        if hope[i] < hope[best]:
            best = i
    return best


@njit(nogil=True)
def energy_with(
    tech: IntArray, t: int, end: int, others: int, powers: float, share: float, rules: IntArray
) -> float:
    """What the energy has of the finishes if technician t ends then; ``powers`` of the others."""
    more = share * float(end - tech[FINISH, t])
    if tech.shape[1] < MANY:
        return more + float(max(others, end))
    return more + nearly_last(powers + power(end, rules), rules)


@njit(nogil=True)
def best_place(
    way: IntArray, first: IntArray, travel: IntArray, phase_from: IntArray, apart: IntArray,
    unit: IntArray, near: IntArray, seq: IntArray, tech: IntArray, slots: IntArray, know: IntArray,
    rules: IntArray, word: WordArray, share: float, level0: int, level1: int, u: int,
) -> tuple[int, int, int]:
    """Level of a range, technician, position after which unit u is best put; t -1 if nowhere."""
    best, best_level, best_t, best_i = 1e300, level0, NOWHERE, NOWHERE
    for turn in range((level1 - level0) * tech.shape[1]):
        level, t = level0 + turn // tech.shape[1], turn % tech.shape[1]
        work, others, limit = FAR, 0, FAR
        for w in range(first[level], first[level + 1]):
            if way[MS + t, w] >= 0:
                work = min(work, way[MS + t, w])
        if rules[FREE + t] == 0 or work >= FAR:
            continue
        powers = 0.0
        for o in range(tech.shape[1]):
            if o != t and rules[FREE + o] == 1:
                others = max(others, tech[FINISH, o])
                powers += power(tech[FINISH, o], rules)
        hope = np.empty(tech[STOPS, t] - 1, dtype=np.int64)
        lead = most_hopeful(seq, slots, apart, near, word, t, level, u, work, hope)
        if rules[CHANGE_COST] == 0:
            hoped = energy_with(tech, t, hope[lead], others, powers, share, rules)
            if hope[lead] < FAR and hoped >= best:
                continue  # even at its most hopeful place it is better put elsewhere
        for k in range(-1, hope.shape[0]):
            i = lead if k < 0 else k  # the most hopeful first: its price rules out most others
            if k == lead or hope[i] >= limit:
                continue
            end = price(way, first, travel, phase_from, seq, slots, know, t, i, level, limit)
            if end >= limit:
                continue
            e = energy_with(tech, t, end, others, powers, share, rules)
            if rules[CHANGE_COST] == 0:
                limit = end
            else:
                e += float(rules[CHANGE_COST] * changes_with(seq, tech, unit, t, i, u))
            if e < best:
                best, best_level, best_t, best_i = e, level, t, i
    return best_level, best_t, best_i


@njit(nogil=True)
def put_back(
    way: IntArray, first: IntArray, travel: IntArray, length: IntArray, phase_from: IntArray,
    apart: IntArray, strokes: IntArray, loss: IntArray, bag: IntArray, unit: IntArray,
    near: IntArray, seq: IntArray, tech: IntArray, slots: IntArray, know: IntArray, rules: IntArray,
    word: WordArray, share: float, u: int, dirty: IntArray,
) -> None:
    """Put a unit where it costs least, at the least loss that has room; or leave it out."""
    level1, end_level = unit[FIRST_LEVEL, u], unit[FIRST_LEVEL, u + 1]
    while level1 < end_level:
        level0 = level1  # levels of equal loss are one choice
        while level1 < end_level and loss[level1] == loss[level0]:
            level1 += 1
        if level1 < end_level and fraction(word) < SKIP_LEVEL:
            continue
        level, t, i = best_place(
            way, first, travel, phase_from, apart, unit, near, seq, tech, slots, know, rules, word,
            share, level0, level1, u,
        )
        if t < 0:
            continue
        for j in range(tech[STOPS, t], i + 1, -1):
            seq[t, j] = seq[t, j - 1]
        seq[t, i + 1] = u
        tech[STOPS, t] += 1
        slots[LEVEL, u], slots[HOLDER, u] = level, t
        dirty[t] = 1
        at, end = i + 1, (FAR if rules[TIMED] == 1 else i + 1)
        for _ in range(2):  # once more without the unit if it does not fit after all
            fits = refresh(
                way, first, travel, length, phase_from, apart, strokes, bag, unit, seq, tech, slots,
                know, t, at, end,
            )
            if slots[HOLDER, u] < 0:
                break
            if fits:
                return
            take_out(seq, tech, slots, u, dirty)
            at, end = ONE, FAR


# Long: it takes the records of arrays apart for all that it calls.
@cached_njit
def anneal(
    g: Ground, now: Routes, trial: Routes, best: Best, rules: IntArray, word: WordArray,
    heat: tuple[float, float, float, float, float, float], steps: int,
) -> None:
    """``steps`` steps from ``now``; heat: temperature, its factor per step, the same for loss.

    ``rules``: CHANGE_COST in ms, TIMED 1 if there are windows or hours, STARTED 1 once there is
    a first plan, LOST by ``now``, SQUARED and ABOUT_MS the finishes, and FREE 1 per technician who
    can reach the finish at all.
    """
    way, first, travel, length, phase_from, apart, strokes, loss, unit, bag, near = g
    seq, tech, slots, know = trial
    temperature, cool, loss_temperature, loss_cool, share, share_cool = heat
    units, n_tech = unit.shape[1] - 1, tech.shape[1]
    dirty, value = np.zeros(n_tech, dtype=np.int64), np.zeros(4, dtype=np.int64)
    order = np.empty(units, dtype=np.int64)
    e_now = value_of(loss, unit, bag, now.tech, now.slots, rules, share, value)
    for _ in range(steps):
        if rules[STARTED] != 1:
            dirty[:] = 1
        else:
            ruin(seq, tech, slots, near[0], word, dirty)
        for t in range(n_tech):
            if dirty[t] == 1:
                fits = refresh(
                    way, first, travel, length, phase_from, apart, strokes, bag, unit, seq, tech,
                    slots, know, t, ONE, FAR,
                )
                if rules[STARTED] == 0:
                    rules[FREE + t] = 1 if fits else 0
        found = sort_out(way, unit[FIRST_WAY], unit[SKIP_LOSS], slots, near[1], word, order)
        for k in range(found):
            put_back(
                way, first, travel, length, phase_from, apart, strokes, loss, bag, unit, near, seq,
                tech, slots, know, rules, word, share, order[k], dirty,
            )
        e, chance = value_of(loss, unit, bag, tech, slots, rules, share, value), fraction(word)
        chance = -np.log(1.0 - chance)
        if value[0] == rules[LOST]:
            accept = e <= e_now + temperature * chance
        else:
            accept = float(value[0] - rules[LOST]) <= loss_temperature * chance
        given = rules[STARTED] == GIVEN
        if rules[STARTED] == 0 or ((accept or given) and value[1] < FAR):
            e_now, rules[LOST] = e, value[0]
            keep_best(seq, tech, slots, value, best.seq, best.stops, best.level, best.value)
            copy_changed(
                seq, tech, slots, know, now.seq, now.tech, now.slots, now.know, units, dirty
            )
        else:
            copy_changed(
                now.seq, now.tech, now.slots, now.know, seq, tech, slots, know, units, dirty
            )
        rules[STARTED] = 1
        for t in range(n_tech):
            dirty[t] = 0
        temperature, loss_temperature = temperature * cool, loss_temperature * loss_cool
        share *= share_cool
