"""Compiled: what a set of orders is worth, and keeping or copying it.

Arrays as in ``kernel_crew_route``; ``rules`` are CHANGE_COST in ms, TIMED 1 if there are windows or
hours, STARTED 1 once there is a first plan (GIVEN when orders to go on from were put in), LOST by
the present plan, how often finishes are SQUARED, ABOUT_MS the last one, and from FREE on 1 for each
technician who can reach the finish at all. ``unit`` has rows SKIP_LOSS, FIRST_LEVEL, FIRST_WAY,
FOLLOWS.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

import numpy as np
from numba import njit

from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.vrp.kernels.route import CHANGES, FINISH, HOLDER, LENGTH, LEVEL, STOPS
from greaseroute.solvers.vrp.problem import IntArray

CHANGE_COST, TIMED, STARTED, LOST, SQUARED, ABOUT_MS, FREE = 0, 1, 2, 3, 4, 5, 6
GIVEN = 2
MANY = 3  # technicians from whom on all finishes count, the late ones most
MOST = 1.9  # times the last finish, in sums of powers: later ones are as bad, and none overflows
SKIP_LOSS, FIRST_LEVEL, FIRST_WAY, FOLLOWS = 0, 1, 2, 3


@njit(nogil=True)
def copy_changed(
    seq: IntArray, tech: IntArray, slots: IntArray, know: IntArray, to_seq: IntArray,
    to_tech: IntArray, to_slots: IntArray, to_know: IntArray, units: int, dirty: IntArray,
) -> None:
    """Copy the orders marked in ``dirty``, what is known of their slots, and who holds whom."""
    for u in range(units):
        to_slots[LEVEL, u] = slots[LEVEL, u]
        to_slots[HOLDER, u] = slots[HOLDER, u]
    for t in range(dirty.shape[0]):
        if dirty[t] == 0:
            continue
        for row in range(tech.shape[0]):
            to_tech[row, t] = tech[row, t]
        for i in range(tech[STOPS, t]):
            slot = seq[t, i]
            to_seq[t, i] = slot
            for row in range(slots.shape[0]):
                to_slots[row, slot] = slots[row, slot]
            for row in range(know.shape[0]):
                for k in range(know.shape[2]):
                    to_know[row, slot, k] = know[row, slot, k]


@njit(nogil=True)
def power(finish: int, rules: IntArray) -> float:
    """A finish over the last one, squared some times."""
    x = min(finish / float(rules[ABOUT_MS]), MOST)
    for _ in range(rules[SQUARED]):
        x *= x
    return x


@njit(nogil=True)
def nearly_last(powers: float, rules: IntArray) -> float:
    """Close to the last of some finishes, the closer the more often they are squared; in ms.

    Where many share the last finish, one of them ending sooner is worth something as well: by the
    last finish alone a search would see no difference.
    """
    for _ in range(rules[SQUARED]):
        powers = np.sqrt(powers)
    return float(powers * rules[ABOUT_MS])


@njit(nogil=True)
def value_of(
    loss: IntArray, unit: IntArray, bag: IntArray, tech: IntArray, slots: IntArray, rules: IntArray,
    share: float, value: IntArray,
) -> float:
    """Fill ``value``: lost, last finish + change cost, length, spread; returns the energy."""
    powers = 0.0
    lost, last, total, changes, length, longest = 0, 0, 0, 0, 0, 0
    shortest = FAR
    for u in range(unit.shape[1] - 1):
        lost += loss[slots[LEVEL, u]] if slots[HOLDER, u] >= 0 else unit[SKIP_LOSS, u]
    for t in range(tech.shape[1]):
        if rules[FREE + t] == 1:
            last, total = max(last, tech[FINISH, t]), total + tech[FINISH, t]
            powers += power(tech[FINISH, t], rules)
            changes, length = changes + tech[CHANGES, t], length + tech[LENGTH, t]
            longest = max(longest, tech[FINISH, t] - bag[t, 1])
            shortest = min(shortest, tech[FINISH, t] - bag[t, 1])
    value[0], value[1] = lost, last + rules[CHANGE_COST] * changes
    value[2], value[3] = length, longest - shortest
    if tech.shape[1] < MANY:
        return float(value[1]) + share * float(total)
    return nearly_last(powers, rules) + float(rules[CHANGE_COST] * changes) + share * float(total)


@njit(nogil=True)
def keep_best(
    seq: IntArray, tech: IntArray, slots: IntArray, value: IntArray, best_seq: IntArray,
    best_stops: IntArray, best_level: IntArray, best_value: IntArray,
) -> None:
    """Keep the orders if their value is less, compared field by field."""
    for k in range(4):
        if value[k] > best_value[k]:
            return
        if value[k] < best_value[k]:
            break
    for k in range(4):
        best_value[k] = value[k]
    for t in range(tech.shape[1]):
        best_stops[t] = tech[STOPS, t]
        for i in range(tech[STOPS, t]):
            best_seq[t, i] = seq[t, i]
    for slot in range(best_level.shape[0]):
        best_level[slot] = slots[LEVEL, slot]
