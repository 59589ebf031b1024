"""Compiled: labels along the ways of a round, for a given order and for every order.

A label is one way of getting to the end of a stop: when, how long the walk was, how many cartridges
are left in the bag, how many strokes in each gun. It is dropped where another one at the same way
is as good in everything (see ``dominates``), so that what is left decides the finish exactly.
Labels of one bucket hang on a chain: ``head[bucket]`` is the last one added, column NEXT the one
before it.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE, IntArray
from greaseroute.solvers.compiled import inner_njit
from greaseroute.solvers.vrp.kernels.cartridges import pump
from greaseroute.solvers.vrp.kernels.legs import leg
from greaseroute.solvers.vrp.layout import (
    CHANGE_MS,
    CLOSES,
    END_WAY,
    ENTER,
    FIRST_WAY,
    FULL,
    GUN_LEFT,
    GUNS,
    HELD,
    LEAVE,
    OPENS,
    PER_GUN,
    START_MS,
    STROKES,
    WALKER,
    WORK,
    Instance,
)

# Columns of a label; strokes left in gun g are in column LEFT + g, and after those of all guns the
# cartridges put in at this stop. CAME is the label before, STORE the way of the store that was
# visited in between or NOWHERE.
TIME, WALK, BAG, WAY, CAME, STORE, NEXT, LEFT = 0, 1, 2, 3, 4, 5, 6, 7
MOST_LABELS = 64  # kept in one bucket; the earliest is never dropped, so times stay exact
ADD, UNIT = 0, 1  # rows of ``level``: what a level adds to a state, its unit
MULT, BASE = 0, 1  # rows of ``digit``: weight and base of a unit's digit


@inner_njit
def dominates(label: IntArray, a: int, b: int, crew: IntArray, t: int) -> bool:
    """Whether label a can stand for label b: no later, no longer, no fewer cartridges.

    A gun with fewer strokes left may take one change more than the other, once.
    """
    late, spare = label[b, TIME] - label[a, TIME], label[a, BAG] - label[b, BAG]
    for gun in range((crew.shape[1] - GUNS) // PER_GUN):
        if label[a, LEFT + gun] < label[b, LEFT + gun]:
            late -= crew[t, GUNS + PER_GUN * gun + CHANGE_MS]
            spare -= 1
    return bool(late >= 0 and spare >= 0 and label[a, WALK] <= label[b, WALK])


@inner_njit
def unhook(label: IntArray, head: IntArray, bucket: int, row: int) -> None:
    """Take a label off the chain of its bucket."""
    k, last = head[bucket], NOWHERE
    while k != row:
        last, k = k, label[k, NEXT]
    if last < 0:
        head[bucket] = label[row, NEXT]
    else:
        label[last, NEXT] = label[row, NEXT]


@inner_njit
def hang_up(
    label: IntArray, count: int, head: IntArray, bucket: int, crew: IntArray, t: int
) -> int:
    """Hang the label in row ``count`` into a bucket unless one dominates it; the new count."""
    held, latest, k = 0, NOWHERE, head[bucket]
    while k >= 0:
        following = label[k, NEXT]
        if dominates(label, k, count, crew, t):
            return count
        if dominates(label, count, k, crew, t):
            unhook(label, head, bucket, k)
        else:
            held += 1
            if latest < 0 or label[k, TIME] > label[latest, TIME]:
                latest = k
        k = following
    if held >= MOST_LABELS:
        if label[count, TIME] >= label[latest, TIME]:
            return count
        unhook(label, head, bucket, latest)
    label[count, NEXT] = head[bucket]
    head[bucket] = count
    return count + 1


@inner_njit
def add_way(
    inst: Instance, t: int, label: IntArray, count: int, head: IntArray, bucket: int, a: int,
    w: int, store: int,
) -> int:
    """Add the label of way ``w`` after label ``a``, by a store or not (NOWHERE); the new count."""
    travel, way, crew, y = inst.travel, inst.way, inst.crew, inst.crew[t, WALKER]
    spent, p = way[WORK + t, w], way[LEAVE, label[a, WAY]]
    time, walk = label[a, TIME], label[a, WALK]
    if spent < 0:
        return count
    bag = label[a, BAG]
    if store >= 0:
        q = way[ENTER, store]
        time, _, phase = leg(travel, inst.phase_from, y, p, q, time)
        time, walk, p = time + way[WORK + t, store], walk + inst.length[phase, p, q], q
        bag = crew[t, FULL]
    time, _, phase = leg(travel, inst.phase_from, y, p, way[ENTER, w], time)
    if time >= FAR:
        return count
    guns = inst.level.shape[1] - STROKES
    left, put_in = label[count, LEFT : LEFT + guns], label[count, LEFT + guns :]
    for gun in range(guns):
        left[gun], put_in[gun] = label[a, LEFT + gun], 0
    pump(way, inst.run, crew, t, w, left, put_in)
    time = max(time, way[OPENS, w]) + spent
    for gun in range(guns):
        time += put_in[gun] * crew[t, GUNS + PER_GUN * gun + CHANGE_MS]
        bag -= put_in[gun]
    if bag < 0 or time > way[CLOSES, w]:
        return count
    label[count, TIME], label[count, BAG], label[count, WAY] = time, bag, w
    label[count, WALK] = walk + inst.length[phase, p, way[ENTER, w]]
    label[count, CAME], label[count, STORE] = a, store
    return hang_up(label, count, head, bucket, inst.crew, t)


@njit(nogil=True)
def begin(inst: Instance, t: int, guns: int) -> tuple[IntArray, int]:
    """Room for labels, and in its first row the label of the start; the number of labels."""
    label = np.zeros((256, LEFT + 2 * guns), dtype=np.int64)
    crew, start = inst.crew, inst.level.shape[0] - 2 * inst.crew.shape[0] + t
    label[0, TIME], label[0, BAG] = crew[t, START_MS], crew[t, HELD]
    label[0, WAY] = inst.level[start, FIRST_WAY]
    label[0, CAME], label[0, STORE], label[0, NEXT] = NOWHERE, NOWHERE, NOWHERE
    for gun in range(guns):
        label[0, LEFT + gun] = crew[t, GUNS + PER_GUN * gun + GUN_LEFT]
    return label, 1


@njit(nogil=True)
def roomy(label: IntArray, count: int, more: int) -> IntArray:
    """The labels with room for so many more."""
    if count + more <= label.shape[0]:
        return label
    wider = np.zeros((2 * (count + more), label.shape[1]), dtype=np.int64)
    for k in range(count):
        for column in range(label.shape[1]):
            wider[k, column] = label[k, column]
    return wider


@cached_njit
def along_order(
    inst: Instance, t: int, levels: IntArray, by_stores: bool
) -> tuple[IntArray, int]:
    """All labels of one technician's order of levels, start and finish included.

    With ``by_stores`` a store may be visited before any stop but the first. Returns the labels and
    the last one at the finish (-1 if it cannot be reached); the others there follow by NEXT.
    """
    store_level = inst.level.shape[0] - 1 - 2 * inst.crew.shape[0]
    s0, s1 = inst.level[store_level, FIRST_WAY], inst.level[store_level, END_WAY]
    s1 = s1 if by_stores else s0
    label, count = begin(inst, t, inst.level.shape[1] - STROKES)
    before, head = np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
    for i in range(1, levels.shape[0]):
        w0, w1 = inst.level[levels[i], FIRST_WAY], inst.level[levels[i], END_WAY]
        before, head = head, np.full(w1 - w0, NOWHERE, dtype=np.int64)
        for v in range(before.shape[0]):
            a = before[v]
            while a >= 0:
                label = roomy(label, count, (w1 - w0) * (1 + s1 - s0))
                for s in range(s0 - 1, s1):
                    by = NOWHERE if s < s0 else s
                    for w in range(w0, w1):
                        count = add_way(inst, t, label, count, head, w - w0, a, w, by)
                a = label[a, NEXT]
    return label[:count], head[0]


@cached_njit
def all_orders(
    inst: Instance, t: int, level: IntArray, digit: IntArray, states: int, by_stores: bool
) -> tuple[IntArray, IntArray]:
    """All labels of one technician over every order of every set of units, by dynamic programming.

    A state is a number in mixed radix: unit u's digit is 0, or 1 + the row of the service level
    taken. A bucket is a state and the way left last; bucket of ``state`` and way ``w`` is
    state * (ways + 1) + w, the last one of a state is for having reached the finish. Returns the
    labels and the heads of the buckets. ``level`` and ``digit`` have rows ADD, UNIT and MULT, BASE.
    """
    n_tech = inst.crew.shape[0]
    levels = inst.level.shape[0] - 1 - 2 * n_tech
    ways, s1 = inst.level[levels, FIRST_WAY], inst.level[levels, END_WAY]
    s1 = s1 if by_stores else ways
    finish = inst.level[levels + 1 + n_tech + t, FIRST_WAY]
    label, count = begin(inst, t, inst.level.shape[1] - STROKES)
    head = np.full(states * (ways + 1), NOWHERE, dtype=np.int64)
    for state in range(states):
        for bucket in range(state * (ways + 1), state * (ways + 1) + max(ways, 1)):
            a = head[bucket] if state > 0 else (0 if bucket == 0 else NOWHERE)
            while a >= 0:
                label = roomy(label, count, (ways + 1) * (1 + s1 - ways))
                for s in range(ways - 1, s1):
                    by = NOWHERE if s < ways else s
                    count = add_way(
                        inst, t, label, count, head, state * (ways + 1) + ways, a, finish, by
                    )
                    for goal in range(levels):
                        u = level[UNIT, goal]
                        if (state // digit[MULT, u]) % digit[BASE, u] != 0:
                            continue
                        after = (state + level[ADD, goal]) * (ways + 1)
                        for w in range(inst.level[goal, FIRST_WAY], inst.level[goal, END_WAY]):
                            count = add_way(inst, t, label, count, head, after + w, a, w, by)
                a = label[a, NEXT] if state > 0 else NOWHERE
    return label[:count], head
