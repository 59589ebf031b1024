"""Compiled: cartridge changes and store visits along the routes of the search.

All ways of a level count as pumping the fittings of its first way in that order. Ways may differ in
the order alone, so that a change may fall one fitting earlier or later; the timetable of a plan
counts each way's own.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

from typing import NamedTuple

from greaseroute.solvers.arrays import FAR, NOWHERE, IntArray
from greaseroute.solvers.compiled import inner_njit
from greaseroute.solvers.vrp.kernels.cartridges import pump
from greaseroute.solvers.vrp.kernels.route import AFTER, CHANGE, HOLDER, LEVEL, price, price_clock
from greaseroute.solvers.vrp.kernels.state import (
    CHANGING,
    CLOCK,
    FINISH,
    PUMPED,
    STORES,
    USED,
    State,
    put_in,
    remember,
    take_out,
    update,
)
from greaseroute.solvers.vrp.layout import (
    CHANGE_MS,
    FIRST_WAY,
    FULL,
    GUN_LEFT,
    GUNS,
    HELD,
    PER_GUN,
    SIZE,
    STROKES,
    WALKER,
    Instance,
)

ORDER, ALONG, COST, CAME = 0, 1, 2, 3  # rows of ``Bags.tour``
LEFT, FRESH = 0, 1  # rows of ``Bags.guns``


class Bags(NamedTuple):
    """Room for counting cartridges along one route.

    ``tour`` (4, U + 2), by position without stores: the stop, cartridges put in up to and with it,
    least detour by stores with a filling just before it, the filling before that. ``guns`` (2, G):
    strokes left, cartridges put in at one stop.
    """

    tour: IntArray
    guns: IntArray


@inner_njit
def changes_with(inst: Instance, tech: IntArray, t: int, level: int) -> int:
    """Time of cartridge changes that the strokes of a level would add to a route, about."""
    more = 0
    for gun in range(inst.level.shape[1] - STROKES):
        column = GUNS + PER_GUN * gun
        size, over = inst.crew[t, column + SIZE], tech[PUMPED + gun, t]
        over -= inst.crew[t, column + GUN_LEFT]
        before = max(0, over + size - 1) // size
        after = max(0, over + inst.level[level, STROKES + gun] + size - 1) // size
        more += (after - before) * inst.crew[t, column + CHANGE_MS]
    return int(more)


@inner_njit
def count_along(inst: Instance, s: State, bags: Bags, most: int, t: int) -> int:
    """Walk a route without its stores, count cartridges and times of changes; number of stops.

    ``CHANGE`` of each stop and the sums in ``tech`` are brought up to date, with a clock the labels
    as well.
    """
    stops, units, n_tech = s.stops, inst.unit.shape[0], s.tech.shape[1]
    n, used, total, guns = 0, 0, 0, bags.guns.shape[1]
    for gun in range(guns):
        bags.guns[LEFT, gun] = inst.crew[t, GUNS + PER_GUN * gun + GUN_LEFT]
    stop = units + t
    while stop >= 0:
        if stop < units + 2 * n_tech:
            spent = 0
            if stop < units:
                for gun in range(guns):
                    bags.guns[FRESH, gun] = 0
                first_way = inst.level[stops[stop, LEVEL], FIRST_WAY]
                left, fresh = bags.guns[LEFT], bags.guns[FRESH]
                pump(inst.way, inst.run, inst.crew, t, first_way, left, fresh)
                for gun in range(guns):
                    used += bags.guns[FRESH, gun]
                    spent += bags.guns[FRESH, gun] * inst.crew[t, GUNS + PER_GUN * gun + CHANGE_MS]
            if stops[stop, CHANGE] != spent:
                remember(stops, s.undo, s.marks, stop)
                stops[stop, CHANGE] = spent
                if s.marks[CLOCK] == 1:
                    update(inst, s, most, t, stop, stop)
            total += spent
            bags.tour[ORDER, n], bags.tour[ALONG, n] = stop, used
            n += 1
        stop = stops[stop, AFTER]
    if s.marks[CLOCK] == 0:
        s.tech[FINISH, t] += total - s.tech[CHANGING, t]
    s.tech[CHANGING, t], s.tech[USED, t] = total, used
    return n


@inner_njit
def detour(inst: Instance, s: State, most: int, t: int, p: int) -> int:
    """How much later a route ends by way of the best store after stop p."""
    store, y = inst.level.shape[0] - 1 - 2 * inst.crew.shape[0], inst.crew[t, WALKER]
    if s.marks[CLOCK] == 0:
        return price(inst.travel, inst.way, inst.level, s.stops, most, y, t, p, store)
    end, walking = price_clock(
        inst.travel, inst.way, inst.level, inst.phase_from, s.stops, most, y, t, p, store, 0
    )
    if end >= FAR:
        return FAR
    return int(max(end - s.tech[FINISH, t], 0) + max(walking, 0))


@inner_njit
def cheapest_fillings(inst: Instance, s: State, bags: Bags, most: int, t: int, n: int) -> int:
    """Least sum of detours to stores by which the bag lasts: the stop before the last filling.

    Dynamic programming over the position in ``order`` before which the bag was last filled; 0
    stands for the start. NOWHERE if the bag cannot last.
    """
    held, full = inst.crew[t, HELD], inst.crew[t, FULL]
    used, cost, came = bags.tour[ALONG], bags.tour[COST], bags.tour[CAME]
    for i in range(n - 1):
        cost[i] = FAR if i > 0 else 0
    for i in range(1, n - 1):
        by_store = detour(inst, s, most, t, bags.tour[ORDER, i - 1])
        for k in range(i - 1, -1, -1):
            taken = used[i - 1] - (used[k - 1] if k > 0 else 0)
            if taken > full:
                break
            if taken <= (full if k > 0 else held) and cost[k] + by_store < cost[i]:
                cost[i], came[i] = cost[k] + by_store, k
    last = NOWHERE
    for k in range(n - 1):
        taken = used[n - 1] - (used[k - 1] if k > 0 else 0)
        lasts = taken <= (full if k > 0 else held) and cost[k] < FAR
        if lasts and (last < 0 or cost[k] < cost[last]):
            last = k
    return last


@inner_njit
def settle(inst: Instance, s: State, bags: Bags, most: int, t: int) -> bool:
    """Count the cartridges of a route and put store visits where they cost the least.

    False if the bag cannot last, or the shift or a window is overrun on the way to a store.
    """
    units, n_tech = inst.unit.shape[0], s.tech.shape[1]
    first = units + 2 * n_tech + t * units
    stop = first
    while s.tech[STORES, t] > 0:
        if s.stops[stop, HOLDER] >= 0:
            take_out(inst, s, most, stop)
        stop += 1
    n = count_along(inst, s, bags, most, t)
    if s.tech[USED, t] <= inst.crew[t, HELD]:
        return True
    k = cheapest_fillings(inst, s, bags, most, t, n)
    stop = first
    while k > 0:
        p = bags.tour[ORDER, k - 1]
        later = detour(inst, s, most, t, p)
        if later >= FAR:
            return False
        store = inst.level.shape[0] - 1 - 2 * inst.crew.shape[0]
        put_in(inst, s, most, stop, store, t, p, later)
        k, stop = bags.tour[CAME, k], stop + 1
    return bool(k == 0)
