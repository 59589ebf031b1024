"""Compiled: every order of a few units, by dynamic programming over what has been visited.

A state is a number in mixed radix: unit u's digit is 0 or 1 + the row of the service level taken.
A cell is a state, the cartridges put in when the bag was last filled, and the way left last; it
keeps the pairs of time and length that do not beat each other, at most LABELS of them (the
earliest is never dropped, so times are exact; lengths are unless a cell overflows).
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off
import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.vrp.kernels.legs import leg
from greaseroute.solvers.vrp.kernels.route import ENTER, HI, LEAVE, LO, MS
from greaseroute.solvers.vrp.problem import IntArray

LABELS = 8
TIME, WALK, CAME = 0, 1, 2
ADD, UNIT = 0, 1  # rows of level: what the level adds to a state, its unit
MULT, BASE = 0, 1  # rows of digit: weight and base of a unit's digit


@njit(nogil=True)
def keep(label: IntArray, count: IntArray, cell: int, time: int, walk: int, came: int) -> None:
    """Keep a label of a cell unless another is as early and as short."""
    kept = 0
    for k in range(count[cell]):
        if label[TIME, cell, k] <= time and label[WALK, cell, k] <= walk:
            return
    for k in range(count[cell]):
        if label[TIME, cell, k] < time or label[WALK, cell, k] < walk:
            for row in range(3):
                label[row, cell, kept] = label[row, cell, k]
            kept += 1
    if kept == LABELS:
        kept = 0
        for k in range(1, LABELS):
            if label[TIME, cell, k] > label[TIME, cell, kept]:
                kept = k
        if label[TIME, cell, kept] <= time:
            return
        label[TIME, cell, kept], label[WALK, cell, kept] = time, walk
        label[CAME, cell, kept] = came
        return
    label[TIME, cell, kept], label[WALK, cell, kept], label[CAME, cell, kept] = time, walk, came
    count[cell] = kept + 1


@njit(nogil=True)
def reach_level(
    way: IntArray, first: IntArray, travel: IntArray, length: IntArray, phase_from: IntArray,
    t: int, goal: int, p: int, time: int, walk: int, came: int, label: IntArray, count: IntArray,
    base: int,
) -> None:
    """From point p at ``time`` to every way of a level; ``base`` is the cell of way 0."""
    for w in range(first[goal], first[goal + 1]):
        if way[MS + t, w] < 0:
            continue
        q = way[ENTER, w]
        end, _, phase = leg(travel, phase_from, t, p, q, time)
        end = max(end, way[LO, w]) + way[MS + t, w]
        if end <= way[HI, w] and end < FAR:
            keep(label, count, base + w, end, walk + length[phase, p, q], came)


@cached_njit
def all_orders(
    way: IntArray, first: IntArray, travel: IntArray, length: IntArray, phase_from: IntArray,
    level: IntArray, digit: IntArray, used: IntArray, rules: IntArray, t: int, label: IntArray,
    count: IntArray, end_label: IntArray, end_count: IntArray,
) -> None:
    """Fill the cells of one technician and, per state, the finishes that do not beat each other.

    ``used`` (states,) are the cartridges put in; ``rules`` holds the bag, the loads kept apart,
    and the number of ways of units; one way more in a cell stands for the start. The row CAME
    holds (label before) * (1 + stores) + 1 + store, or + 0 without a store; labels count on
    over cells. The row CAME of ``end_label`` is the label before alone.
    """
    bag, loads, ways = rules[0], rules[1], rules[2]
    start = first[level.shape[1] + 1] + t
    finish = start + way.shape[0] - MS
    label[TIME, ways, 0], count[ways] = way[LO, start], 1
    for cell in range(count.shape[0]):
        load, state = (cell // (ways + 1)) % loads, cell // ((ways + 1) * loads)
        w = cell % (ways + 1)
        p = way[LEAVE, start] if w == ways else way[LEAVE, w]
        for k in range(count[cell]):
            time, walk, came = label[TIME, cell, k], label[WALK, cell, k], cell * LABELS + k
            on_from(
                way, first, travel, length, phase_from, level, digit, used, bag, loads, ways + 1, t,
                state, load, p, time, walk, came, label, count,
            )
            q = way[ENTER, finish]
            end, _, phase = leg(travel, phase_from, t, p, q, time)
            if end <= way[HI, finish] and end < FAR:
                walk += length[phase, p, q]
                keep(end_label, end_count, state, end, walk, came)


@njit(nogil=True)
def on_from(
    way: IntArray, first: IntArray, travel: IntArray, length: IntArray, phase_from: IntArray,
    level: IntArray, digit: IntArray, used: IntArray, bag: int, loads: int, ways: int, t: int,
    state: int, load: int, p: int, time: int, walk: int, came: int, label: IntArray,
    count: IntArray,
) -> None:
    """From one label to every level of every unit not yet visited, straight or by a store."""
    levels = level.shape[1]
    store0, store1 = first[levels], first[levels + 1]
    for x in range(store0 - 1, store1):
        by_store = x >= store0
        there, q, far, filled = time, p, walk, load
        if by_store:
            if loads == 1 or load == used[state]:
                continue
            q, filled = way[ENTER, x], used[state]
            there, _, phase = leg(travel, phase_from, t, p, q, time)
            there, far = there + way[MS + t, x], walk + length[phase, p, q]
            if there >= FAR:
                continue
        for goal in range(levels):
            u = level[UNIT, goal]
            after = state + level[ADD, goal]
            if (state // digit[MULT, u]) % digit[BASE, u] != 0:
                continue
            if loads == 1 or used[after] - filled <= bag:
                reach_level(
                    way, first, travel, length, phase_from, t, goal, q, there, far,
                    came * (1 + store1 - store0) + 1 + x - store0, label, count,
                    (after * loads + filled) * ways,
                )


@njit(nogil=True)
def best_end(
    end_label: IntArray, end_count: IntArray, t: int, state: int, cap: int, shortest: bool
) -> int:
    """Earliest finish of a state, or shortest (then earliest) not after ``cap``; -1 for none."""
    best = -1
    for k in range(end_count[t, state]):
        time, walk = end_label[TIME, t, state, k], end_label[WALK, t, state, k]
        if time > cap:
            continue
        if best < 0:
            best = k
            continue
        best_time, best_walk = end_label[TIME, t, state, best], end_label[WALK, t, state, best]
        if shortest and (walk < best_walk or (walk == best_walk and time < best_time)):
            best = k
        if not shortest and time < best_time:
            best = k
    return best


# Long: compiled; its pieces would hand eight arrays about.
@cached_njit
def share_out(
    end_label: IntArray, end_count: IntArray, choice: IntArray, first_choice: IntArray,
    start_ms: IntArray, cap: int, value: IntArray, pick: IntArray, states: IntArray,
) -> None:
    """Every way of giving the units to the technicians; the best goes into value and states.

    ``choice`` (4, choices) has rows: technician (-1: left out), what it adds to the state, loss,
    unit. With ``cap`` FAR the least loss and then the earliest last finish are sought (value 0,
    1), else among those of that loss and not after ``cap`` the least length, then spread (2, 3).
    """
    n_tech, units = end_count.shape[0], first_choice.shape[0] - 1
    state = np.zeros(n_tech, dtype=np.int64)
    for u in range(units):
        pick[u] = first_choice[u]
    while True:
        lost, last, walk, longest, least = 0, 0, 0, 0, FAR
        for t in range(n_tech):
            state[t] = 0
        for u in range(units):
            lost += choice[2, pick[u]]
            if choice[0, pick[u]] >= 0:
                state[choice[0, pick[u]]] += choice[1, pick[u]]
        good = lost <= value[0]
        for t in range(n_tech):
            if not good or end_count[t, 0] == 0:
                good = good and state[t] == 0
                continue
            k = best_end(end_label, end_count, t, state[t], cap, bool(cap < FAR))
            if k < 0:
                good = False
                continue
            time = end_label[TIME, t, state[t], k]
            last, walk = max(last, time), walk + end_label[WALK, t, state[t], k]
            longest, least = max(longest, time - start_ms[t]), min(least, time - start_ms[t])
        if good and cap >= FAR:
            good = lost < value[0] or last < value[1]
        elif good:
            good = walk < value[2] or (walk == value[2] and longest - least < value[3])
        if good:
            value[0], value[1], value[2], value[3] = lost, last, walk, longest - least
            for t in range(n_tech):
                states[t] = state[t]
        u = 0
        while u < units:
            pick[u] += 1
            if pick[u] < first_choice[u + 1]:
                break
            pick[u] = first_choice[u]
            u += 1
        if u == units:
            return
