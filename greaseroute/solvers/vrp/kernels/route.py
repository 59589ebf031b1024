"""Compiled: one technician's order of stops, its earliest finish, and what an insertion costs.

Stops are slots: unit u is slot u, technician t starts in slot U + t and finishes in U + T + t,
store visits have slots from U + 2T on. For every way of every stop is kept: the earliest time of
leaving it (LEFT) and the length walked up to then (WALK), and the finish of the rest of the order
as a function of the time one is there: max(time + TAIL_D, TAIL_E), for times not after TAIL_L.
The tail is exact without windows; with them it follows the chain of ways that is best at the
present time, so it prices an insertion and never decides whether it is possible: forward does
that, exactly.

``way`` has rows ENTER, LEAVE, LO, HI and one row of times per technician from MS on. ``slots`` has
rows LEVEL, HOLDER, LEAST_LEFT, LEAST_D; ``tech`` rows STOPS, FINISH, CHANGES, LENGTH. ``apart``
(T, levels, levels) is the least walking time between any ways of two levels, in any phase.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, NOWHERE
from greaseroute.solvers.vrp.kernels.legs import leg
from greaseroute.solvers.vrp.problem import IntArray

ENTER, LEAVE, LO, HI, MS = 0, 1, 2, 3, 4
LEFT, TAIL_D, TAIL_E, TAIL_L, WALK = 0, 1, 2, 3, 4
LEVEL, HOLDER, LEAST_LEFT, LEAST_D = 0, 1, 2, 3
STOPS, FINISH, CHANGES, LENGTH = 0, 1, 2, 3


@cached_njit
def least_apart(way: IntArray, first: IntArray, travel: IntArray, apart: IntArray) -> None:
    """Fill ``apart``: least walking time from any way of one level to any of another."""
    levels = first.shape[0] - 1
    for k in range(travel.shape[0]):
        for t in range(travel.shape[1]):
            for b in range(levels):
                for c in range(levels):
                    least = apart[t, b, c]
                    for v in range(first[b], first[b + 1]):
                        p = way[LEAVE, v]
                        for w in range(first[c], first[c + 1]):
                            least = min(least, travel[k, t, p, way[ENTER, w]])
                    apart[t, b, c] = least


@njit(nogil=True)
def forward(
    way: IntArray, first: IntArray, travel: IntArray, length: IntArray, phase_from: IntArray,
    seq: IntArray, tech: IntArray, slots: IntArray, know: IntArray, t: int, begin: int,
) -> None:
    """Earliest leaving times from position ``begin`` (at least 1) on to the finish."""
    left, walked, walk_ms, walk_mm = know[LEFT], know[WALK], travel[0, t], length[0]
    plain = travel.shape[0] == 1  # one matrix: read at once, which is what most of the time is
    for i in range(begin, tech[STOPS, t]):
        prev, slot = seq[t, i - 1], seq[t, i]
        p0, p1 = first[slots[LEVEL, prev]], first[slots[LEVEL, prev] + 1]
        w0, w1 = first[slots[LEVEL, slot]], first[slots[LEVEL, slot] + 1]
        least = FAR
        for w in range(w0, w1):
            at, walk, q, lo, spent = FAR, FAR, way[ENTER, w], way[LO, w], way[MS + t, w]
            for v in range(p0, p1):
                ready = left[prev, v - p0]
                if ready > at or spent < 0 or ready >= FAR:
                    continue
                p = way[LEAVE, v]
                if plain:
                    end, far = max(ready + walk_ms[p, q], lo), walk_mm[p, q]
                else:
                    end, _, phase = leg(travel, phase_from, t, p, q, ready)
                    end, far = max(end, lo), length[phase, p, q]
                if end > at or end >= FAR:
                    continue
                far += walked[prev, v - p0]
                if end < at or far < walk:
                    at, walk = end, far
            at += spent
            if at > way[HI, w]:
                at = FAR
            left[slot, w - w0] = at
            walked[slot, w - w0] = walk
            least = min(least, at)
        slots[LEAST_LEFT, slot] = least
    last = seq[t, tech[STOPS, t] - 1]
    tech[FINISH, t] = left[last, 0]
    tech[LENGTH, t] = walked[last, 0]


@njit(nogil=True)
def backward(
    way: IntArray, first: IntArray, travel: IntArray, phase_from: IntArray, seq: IntArray,
    tech: IntArray, slots: IntArray, know: IntArray, t: int, begin: int,
) -> None:
    """Tails from position ``begin`` back to the start."""
    left, tail_d, tail_e, tail_l = know[LEFT], know[TAIL_D], know[TAIL_E], know[TAIL_L]
    stops, walk_ms, plain = tech[STOPS, t], travel[0, t], travel.shape[0] == 1
    for i in range(min(begin, stops - 1), -1, -1):
        slot = seq[t, i]
        w0, w1 = first[slots[LEVEL, slot]], first[slots[LEVEL, slot] + 1]
        if i == stops - 1:
            tail_d[slot, 0], tail_e[slot, 0], tail_l[slot, 0] = 0, way[LO, w0], way[HI, w0]
            slots[LEAST_D, slot] = 0
            continue
        after = seq[t, i + 1]
        n0, n1 = first[slots[LEVEL, after]], first[slots[LEVEL, after] + 1]
        least = FAR
        for w in range(w0, w1):
            spent, lo, p = way[MS + t, w], way[LO, w], way[LEAVE, w]
            best, best_d, best_e, best_l = FAR, FAR, FAR, NOWHERE
            now = left[slot, w - w0]
            if now >= FAR:
                now = lo + spent  # not reached in the present order: priced from its opening
            for v in range(n0, n1):
                if plain:
                    there = now + walk_ms[p, way[ENTER, v]]
                else:
                    there = leg(travel, phase_from, t, p, way[ENTER, v], now)[0]
                on, last = spent + there - now, tail_l[after, v - n0]
                if spent < 0 or lo + on > last:
                    continue
                d = on + tail_d[after, v - n0]
                e = max(lo + d, tail_e[after, v - n0])
                end, latest = max(now - spent + d, e), min(way[HI, w] - spent, last - on)
                if end < best or (end == best and latest > best_l):
                    best, best_d, best_e, best_l = end, d, e, latest
            tail_d[slot, w - w0], tail_e[slot, w - w0] = best_d, best_e
            tail_l[slot, w - w0] = best_l
            least = min(least, best_d)
        slots[LEAST_D, slot] = least


@njit(nogil=True)
def price(
    way: IntArray, first: IntArray, travel: IntArray, phase_from: IntArray, seq: IntArray,
    slots: IntArray, know: IntArray, t: int, i: int, level: int, limit: int,
) -> int:
    """Finish if ``level`` came between positions i and i + 1; not sought above ``limit``."""
    left, tail_d, tail_e, tail_l = know[LEFT], know[TAIL_D], know[TAIL_E], know[TAIL_L]
    prev, after, walk_ms, plain = seq[t, i], seq[t, i + 1], travel[0, t], travel.shape[0] == 1
    p0, p1 = first[slots[LEVEL, prev]], first[slots[LEVEL, prev] + 1]
    n0, n1 = first[slots[LEVEL, after]], first[slots[LEVEL, after] + 1]
    least_d = slots[LEAST_D, after]
    for w in range(first[level], first[level + 1]):
        spent, q, p = way[MS + t, w], way[ENTER, w], way[LEAVE, w]
        at = FAR
        if spent < 0:
            continue
        for v in range(p0, p1):
            ready = left[prev, v - p0]
            if ready < at:
                if plain:
                    at = min(at, ready + walk_ms[way[LEAVE, v], q])
                else:
                    at = min(at, leg(travel, phase_from, t, way[LEAVE, v], q, ready)[0])
        at = max(at, way[LO, w]) + spent
        if at > way[HI, w] or at + least_d >= limit:
            continue
        for v in range(n0, n1):
            if plain:
                there = at + walk_ms[p, way[ENTER, v]]
            else:
                there = leg(travel, phase_from, t, p, way[ENTER, v], at)[0]
            if there <= tail_l[after, v - n0]:
                limit = min(limit, max(there + tail_d[after, v - n0], tail_e[after, v - n0]))
    return limit
