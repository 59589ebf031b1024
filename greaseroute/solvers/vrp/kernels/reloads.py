"""Compiled: the store visits that cost an order the least time, placed exactly.

Arrays as in ``kernel_crew_route``; ``used`` are the cartridges put in up to each position, ``bag``
(T, 2) the cartridges in a full bag and the time of the start.
"""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.vrp.kernels.legs import leg_end
from greaseroute.solvers.vrp.kernels.route import ENTER, HI, LEAVE, LEVEL, LO, MS, STOPS
from greaseroute.solvers.vrp.problem import IntArray


# Long: one recursion over three indices; cut up, its loops would each need all of the arrays.
@cached_njit
def place_stores(
    way: IntArray, first: IntArray, travel: IntArray, phase_from: IntArray, seq: IntArray,
    tech: IntArray, slots: IntArray, t: int, used: IntArray, bag: IntArray, ways: int, store: int,
    slot: int,
) -> bool:  # fmt: skip
    """Put store visits into the order so that the bag lasts and the finish is earliest; exact.

    Dynamic programming over (position, position before which the bag was last filled, way);
    store slots are taken from ``slot`` on. False if no plan exists.
    """
    n = tech[STOPS, t]
    time = np.full((n, n, ways), FAR, dtype=np.int64)
    came = np.full((n, n, ways), -1, dtype=np.int64)
    time[0, 0, 0] = bag[t, 1]
    for i in range(1, n):
        prev, here = slots[LEVEL, seq[t, i - 1]], slots[LEVEL, seq[t, i]]
        for s in range(i):
            before = used[s - 1] if s > 0 else 0
            if used[i] - before <= bag[t, 0]:
                step(
                    way,
                    first,
                    travel,
                    phase_from,
                    t,
                    prev,
                    here,
                    time[i - 1, s],
                    time[i, s],
                    came[i, s],
                    0,
                )
        if i < n - 1 and used[i] - used[i - 1] <= bag[t, 0]:
            by_store(
                way,
                first,
                travel,
                phase_from,
                t,
                prev,
                here,
                store,
                time[i - 1],
                i,
                time[i, i],
                came[i, i],
            )
    load = 0
    for s in range(n):
        if time[n - 1, s, 0] < time[n - 1, load, 0]:
            load = s
    if time[n - 1, load, 0] >= FAR:
        return False
    put_stores(seq, tech, slots, t, load, came, store, slot)
    return True


@njit(nogil=True)
def step(
    way: IntArray,
    first: IntArray,
    travel: IntArray,
    phase_from: IntArray,
    t: int,
    prev: int,
    here: int,
    ready: IntArray,
    left: IntArray,
    came: IntArray,
    mark: int,
) -> None:
    """Earliest leaving times at one level from those at another; ``came`` = mark + way before."""
    p0, w0 = first[prev], first[here]
    for w in range(w0, first[here + 1]):
        if way[MS + t, w] < 0:
            continue
        at, by = FAR, -1
        for v in range(p0, first[prev + 1]):
            if ready[v - p0] < at:
                end = leg_end(travel, phase_from, t, way[LEAVE, v], way[ENTER, w], ready[v - p0])
                if end < at:
                    at, by = end, v - p0
        at = max(at, way[LO, w]) + way[MS + t, w]
        if at <= way[HI, w] and at < left[w - w0]:
            left[w - w0] = at
            came[w - w0] = mark + by


@njit(nogil=True)
def by_store(
    way: IntArray,
    first: IntArray,
    travel: IntArray,
    phase_from: IntArray,
    t: int,
    prev: int,
    here: int,
    store: int,
    ready: IntArray,
    loads: int,
    left: IntArray,
    came: IntArray,
) -> None:
    """From one level through the best store to the next; ``came`` holds load and way before."""
    ways = left.shape[0]
    there = np.full(ways, FAR, dtype=np.int64)
    by = np.full(ways, -1, dtype=np.int64)
    for s in range(loads):
        step(way, first, travel, phase_from, t, prev, store, ready[s], there, by, s * ways)
    before = np.full(ways, -1, dtype=np.int64)
    step(way, first, travel, phase_from, t, store, here, there, left, before, 0)
    for k in range(first[here + 1] - first[here]):
        if before[k] >= 0:
            came[k] = by[before[k]]


@njit(nogil=True)
def put_stores(
    seq: IntArray,
    tech: IntArray,
    slots: IntArray,
    t: int,
    load: int,
    came: IntArray,
    store: int,
    slot: int,
) -> None:
    """Walk the choices of ``place_stores`` back and write the store slots into the order."""
    n, ways = tech[STOPS, t], came.shape[2]
    before = np.zeros(n, dtype=np.int64)
    i, by, stores = n - 1, 0, 0
    while i > 0:
        at_load = load == i
        by = came[i, load, by]
        if at_load:
            before[i] = 1
            stores += 1
            load, by = by // ways, by % ways
        i -= 1
    write = n - 1 + stores
    tech[STOPS, t] = n + stores
    for i in range(n - 1, -1, -1):
        seq[t, write] = seq[t, i]
        write -= 1
        if before[i] == 1:
            seq[t, write] = slot
            slots[LEVEL, slot] = store
            slot += 1
            write -= 1


@njit(nogil=True)
def drop_stores(seq: IntArray, tech: IntArray, slots: IntArray, t: int, store: int) -> bool:
    """Take the store visits out of the order; true if there were any."""
    kept, stops = 0, tech[STOPS, t]
    for i in range(stops):
        if slots[LEVEL, seq[t, i]] != store:
            seq[t, kept] = seq[t, i]
            kept += 1
    tech[STOPS, t] = kept
    return bool(kept < stops)


@njit(nogil=True)
def cartridges_along(
    strokes: IntArray, bag: IntArray, seq: IntArray, slots: IntArray, t: int, used: IntArray
) -> None:
    """Cartridges put in up to and with each position of an order without stores."""
    guns, last = strokes.shape[1], used.shape[0] - 1
    pumped = np.zeros(guns, dtype=np.int64)
    used[0] = bag[t, 2]
    for i in range(1, last):
        total = bag[t, 2]
        for g in range(guns):
            pumped[g] += strokes[slots[LEVEL, seq[t, i]], g]
            over, size = pumped[g] - bag[t, 3 + guns + g], bag[t, 3 + g]
            if over > 0:
                total += (over + size - 1) // size
        used[i] = total
    used[last] = used[last - 1]


@njit(nogil=True)
def fill_on_the_way(
    apart: IntArray, seq: IntArray, tech: IntArray, slots: IntArray, t: int, used: IntArray,
    bag: int, store: int, slot: int,
) -> bool:  # fmt: skip
    """Put store visits into the order where they cost the least extra walking, as told by apart.

    Dynamic programming over the position before which the bag was last filled. The ways and the
    waiting are left to ``forward``; the final plan places its stores exactly. False if the bag
    cannot last.
    """
    n = tech[STOPS, t]
    cost = np.full(n, FAR, dtype=np.int64)
    came = np.zeros(n, dtype=np.int64)
    cost[0] = 0
    for i in range(1, n - 1):
        here, prev = slots[LEVEL, seq[t, i]], slots[LEVEL, seq[t, i - 1]]
        extra = apart[t, prev, store] + apart[t, store, here] - min(FAR, apart[t, prev, here])
        for s in range(i):
            before = used[s - 1] if s > 0 else 0
            if used[i - 1] - before <= bag and cost[s] + extra < cost[i]:
                cost[i], came[i] = cost[s] + extra, s
    last = 0
    for s in range(n - 1):
        before = used[s - 1] if s > 0 else 0
        if used[n - 1] - before > bag:
            cost[s] = FAR
        if cost[s] < cost[last]:
            last = s
    if cost[last] >= FAR:
        return False
    write, stores, s = n, 0, last
    while s > 0:
        write += 1
        s = came[s]
    tech[STOPS, t] = write
    for i in range(n - 1, -1, -1):
        write -= 1
        seq[t, write] = seq[t, i]
        if i > 0 and i == last:
            write -= 1
            seq[t, write] = slot + stores
            slots[LEVEL, slot + stores] = store
            stores += 1
            last = came[last]
    return True
