"""Compiled: which units are taken out of the orders, and in which order they are put back.

Strings of adjacent stops as in Christiaens and Vanden Berghe, Slack induction by string removals,
Transportation Science 54 (2020). Arrays as in ``kernel_crew_route``; ``near`` (U, U) lists the
units by distance from each, itself first.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

import numpy as np
from numba import njit

from greaseroute.solvers.arrays import WordArray
from greaseroute.solvers.vrp.kernels.route import HI, HOLDER, LEVEL, MS, STOPS
from greaseroute.solvers.vrp.problem import IntArray
from greaseroute.solvers.xorshift import below, fraction

MOST_OUT = 10  # most units taken out at one place per step


@njit(nogil=True)
def take_out(seq: IntArray, tech: IntArray, slots: IntArray, unit: int, dirty: IntArray) -> None:
    """Take a unit out of its order; the caller refreshes the orders marked in ``dirty``."""
    t = slots[HOLDER, unit]
    kept = 0
    for i in range(tech[STOPS, t]):
        if seq[t, i] != unit:
            seq[t, kept] = seq[t, i]
            kept += 1
    tech[STOPS, t] = kept
    slots[HOLDER, unit] = -1
    slots[LEVEL, unit] = -1
    dirty[t] = 1


@njit(nogil=True)
def take_string(
    seq: IntArray, tech: IntArray, slots: IntArray, units: int, unit: int, length: int,
    word: WordArray, dirty: IntArray,
) -> None:
    """Take out up to ``length`` units in a row that contain ``unit``."""
    t, at = slots[HOLDER, unit], 0
    while seq[t, at] != unit:
        at += 1
    begin = max(1, at - below(word, length))
    kept = begin
    for i in range(begin, tech[STOPS, t]):
        slot = seq[t, i]
        if i < begin + length and slot < units:
            slots[HOLDER, slot] = -1
            slots[LEVEL, slot] = -1
        else:
            seq[t, kept] = slot
            kept += 1
    tech[STOPS, t] = kept
    dirty[t] = 1


@njit(nogil=True)
def ruin(
    seq: IntArray, tech: IntArray, slots: IntArray, near: IntArray, word: WordArray,
    dirty: IntArray,
) -> None:
    """Take out strings around a unit, the units near it, or any units."""
    units = near.shape[0]
    seed, mode = below(word, units), fraction(word)
    most = min(MOST_OUT, units)
    left = 1 + below(word, 3) if mode < 0.5 else 1 + below(word, most)
    for k in range(units):
        unit = near[seed, k] if mode < 0.9 else below(word, units)
        t = slots[HOLDER, unit]
        if t < 0 or left == 0:
            continue
        if mode < 0.5:
            if dirty[t] == 1:
                continue
            take_string(seq, tech, slots, units, unit, 1 + below(word, most), word, dirty)
        elif fraction(word) < 0.8:
            take_out(seq, tech, slots, unit, dirty)
        else:
            continue
        left -= 1


@njit(nogil=True)
def key_of(way: IntArray, at: int, loss: int, distance: int, mode: int, chance: float) -> float:
    """What the units left out are sorted by: chance, loss, work, latest end, or distance."""
    if mode < 3:
        return chance
    if mode < 5:
        return chance - float(loss)
    if mode < 7:
        return -float(way[MS, at])
    if mode < 8:
        return float(way[HI, at])
    return float(distance) if mode < 9 else -float(distance)


@njit(nogil=True)
def sort_out(
    way: IntArray, way_of_unit: IntArray, skip_loss: IntArray, slots: IntArray, rank: IntArray,
    word: WordArray, order: IntArray,
) -> int:
    """The units left out, in the order in which they are put back; returns how many."""
    units, found = rank.shape[0], 0
    key = np.empty(units, dtype=np.float64)
    mode, centre = below(word, 10), below(word, units)
    for u in range(units):
        if slots[HOLDER, u] >= 0:
            continue
        k = key_of(way, way_of_unit[u], skip_loss[u], rank[centre, u], mode, fraction(word))
        at = found
        while at > 0 and key[at - 1] > k:
            key[at], order[at] = key[at - 1], order[at - 1]
            at -= 1
        key[at], order[at] = k, u
        found += 1
    return found
