"""Compiled: what the routes are worth to the search, and keeping the best of them.

The energy is close to the last finish: a p-norm of the finishes, p = 2**squared, which steepens as
the search cools. By the last finish alone a search would see no difference where one of several
late technicians ends sooner. A share of the mean finish makes routes short that are not the last,
and with a clock a share of the walking time does.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

from typing import NamedTuple

import numpy as np

from greaseroute.solvers.arrays import FAR, FloatArray, IntArray
from greaseroute.solvers.compiled import inner_njit
from greaseroute.solvers.vrp.kernels.route import AFTER, HOLDER, LEVEL
from greaseroute.solvers.vrp.kernels.state import FINISH, MOVED, TAKES_PART, WALKED, State
from greaseroute.solvers.vrp.layout import FOLLOWS

# A finish counts up to so many times the last one, e to this over the power: later ones are as bad,
# and no sum of powers overflows (e**600 is 1e260).
MOST_EXPONENT = 600.0
LOST, LAST, TOTAL = 0, 1, 2  # of ``Best.value``


class Best(NamedTuple):
    """The best routes so far: columns AFTER, HOLDER, LEVEL of all stops, and their value.

    ``value`` (3,): weight lost, last finish with the cost of changes to a former plan, and the sum
    of finishes (with a clock of walking times as well), in ms.
    """

    stops: IntArray
    value: IntArray


class Weights(NamedTuple):
    """How finishes count at this moment of the search.

    ``about_ms`` the last finish; finishes over it are ``squared`` so many times; ``share`` weighs
    the sum of finishes. ``change_cost_ms`` is the cost of each unit that follows another than in
    the plan before.
    """

    about_ms: float
    squared: int
    share: float
    change_cost_ms: int


@inner_njit
def power(finish: int, about_ms: float, squared: int) -> float:
    """A finish over the last one, squared some times."""
    x = min(float(finish) / about_ms, 1.0 + MOST_EXPONENT / 2.0**squared)
    for _ in range(squared):
        x *= x
    return x


@inner_njit
def root(powers: float, about_ms: float, squared: int) -> float:
    """The norm of a sum of powers, in ms."""
    for _ in range(squared):
        powers = np.sqrt(powers)
    return float(powers * about_ms)


@inner_njit
def last_finish(s: State) -> int:
    """The last finish of those who take part."""
    last = 0
    for t in range(s.tech.shape[1]):
        if s.tech[TAKES_PART, t] == 1:
            last = max(last, s.tech[FINISH, t])
    return int(last)


@inner_njit
def total_ms(s: State) -> int:
    """Sum of the finishes of those who take part, and of their walking times with a clock."""
    total = 0
    for t in range(s.tech.shape[1]):
        if s.tech[TAKES_PART, t] == 1:
            total += s.tech[FINISH, t] + s.tech[WALKED, t]
    return int(total)


@inner_njit
def moved_units(s: State) -> int:
    """How many units follow another than in the plan before."""
    moved = 0
    for t in range(s.tech.shape[1]):
        moved += s.tech[MOVED, t]
    return int(moved)


@inner_njit
def energy(s: State, w: Weights) -> float:
    """What the search makes small, in ms."""
    powers = 0.0
    for t in range(s.tech.shape[1]):
        if s.tech[TAKES_PART, t] == 1:
            powers += power(s.tech[FINISH, t], w.about_ms, w.squared)
    changes = float(w.change_cost_ms * moved_units(s))
    return root(powers, w.about_ms, w.squared) + w.share * float(total_ms(s)) + changes


@inner_njit
def slope(s: State, w: Weights, powers: FloatArray) -> float:
    """Fill the powers (T,) of all finishes; the energy's gain for a small gain of their sum."""
    total = 0.0
    for t in range(s.tech.shape[1]):
        powers[t] = 0.0
        if s.tech[TAKES_PART, t] == 1:
            powers[t] = power(s.tech[FINISH, t], w.about_ms, w.squared)
        total += powers[t]
    total = max(total, 1.0)  # as if somebody ended at the time that finishes are told by
    return root(total, w.about_ms, w.squared) / (2.0**w.squared * total)


@inner_njit
def count_moved(s: State, unit: IntArray, t: int) -> None:
    """Count the units of a route that follow another than in the plan before."""
    before, moved, stop = unit.shape[0] + t, 0, s.stops[unit.shape[0] + t, AFTER]
    while stop >= 0:
        if stop < unit.shape[0]:
            moved += 1 if unit[stop, FOLLOWS] != before else 0
            before = stop
        stop = s.stops[stop, AFTER]
    s.tech[MOVED, t] = moved


@inner_njit
def keep_best(s: State, best: Best, lost: int, w: Weights) -> bool:
    """Keep the routes if they lose less, end sooner, or are shorter; true if kept."""
    if lost > best.value[LOST]:
        return False
    last = last_finish(s) + w.change_cost_ms * moved_units(s)
    if last >= FAR or (lost == best.value[LOST] and last > best.value[LAST]):
        return False
    total = total_ms(s)
    if lost == best.value[LOST] and last == best.value[LAST] and total >= best.value[TOTAL]:
        return False
    best.value[LOST], best.value[LAST], best.value[TOTAL] = lost, last, total
    for stop in range(s.stops.shape[0]):
        best.stops[stop, 0] = s.stops[stop, AFTER]
        best.stops[stop, 1] = s.stops[stop, HOLDER]
        best.stops[stop, 2] = s.stops[stop, LEVEL]
    return True
