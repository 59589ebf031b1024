"""Compiled: where along an order the bag runs out, and where it is filled again.

Arrays as in ``kernel_crew_route``. ``strokes`` is (levels of units, G); ``bag`` is (T, 3 + 2G):
cartridges in a full bag, time of the start, what lacks of a full bag then, strokes per cartridge,
strokes left in the guns.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

import numpy as np
from numba import njit

from greaseroute.rounds.kernel_crew import FAR
from greaseroute.rounds.kernel_crew_route import LEVEL, STOPS
from greaseroute.rounds.problem import IntArray


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
) -> bool:
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
