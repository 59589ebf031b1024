"""Compiled: forward and backward labels joined to whole rounds.

A round is joined at the first exit that it leaves after the middle: its forward label is extended
by one arc to there, and meets the backward labels of that exit.
"""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.vrp.columns.kernels.labels import (
    OWN,
    Beyond,
    Direction,
    Label,
    Labels,
    Masks,
    Rules,
    hopeless,
    hopeless_unit,
    moved,
    use_after,
)

FORWARD, BACKWARD, TIME, PROFIT = 0, 1, 2, 3  # columns of a table of rounds


@njit(nogil=True)
def _meet(
    d: Direction, r: Rules, own: int, a: Label, b: Labels, width_ms: int, best: IntArray
) -> None:
    """Join a forward label with the backward labels at its exit; ``best`` (4,) is the best round.

    ``own`` is the profit of the unit where they meet, which both have counted.
    """
    left_ms = r.horizon_ms - a.time
    # the latest buckets have the most profit
    for bucket in range(min(left_ms // width_ms, b.begin.shape[1] - 1), -1, -1):
        wanted = max(r.least, best[PROFIT] + 1) + own - a.profit
        if b.best[a.unit, bucket] < wanted:
            continue
        for row in range(b.begin[a.unit, bucket], b.end[a.unit, bucket]):
            if b.profit[row] < wanted or b.exit[row] != a.exit or b.time[row] > left_ms:
                continue
            if b.mask[row] & a.mask != OWN or a.used + b.used[row] - d.load[a.exit] > r.room:
                continue
            best[FORWARD], best[BACKWARD] = a.before, row
            best[TIME], best[PROFIT] = a.time + b.time[row], a.profit + b.profit[row] - own
            wanted = b.profit[row] + 1


@cached_njit
def join(
    d: Direction, r: Rules, profits: IntArray, moves: Masks, beyond: Beyond, f: Labels,
    b: Labels, b_width_ms: int,
) -> IntArray:  # fmt: skip
    """The best round over each pair of units between which the middle lies.

    Answers (n, n, 4): rows of the forward and the backward label, time and profit; profit -1 where
    no round comes to ``r.least``. Labels as made by ``make_labels``, ``f`` up to ``r.until_ms``.
    """
    units = f.begin.shape[0]
    best = np.full((units, units, 4), -1, np.int64)
    for row in range(f.counts[0]):
        time, profit, x = f.time[row], f.profit[row], f.exit[row]
        here = d.exit_unit[x]
        f.counts[1] += d.first_bundle[x + 1] - d.first_bundle[x]
        for bundle in range(d.first_bundle[x], d.first_bundle[x + 1]):
            to, soonest = d.bundle_unit[bundle], time + d.bundle_ms[bundle]
            if hopeless_unit(beyond.unit, r, to, soonest, profit):
                continue
            memory = moved(moves, here, to, f.mask[row])
            if memory & OWN:
                continue
            for arc in range(d.first_arc[bundle], d.first_arc[bundle + 1]):
                y = d.arc_head[arc]
                then = max(time + d.arc_ms[arc], d.early_ms[y])
                taken = use_after(d, r, arc, f.used[row])
                # the first exit after the middle: each round is met once
                if not r.until_ms < then <= min(r.horizon_ms, d.late_ms[y]) or taken > r.room:
                    continue
                a = Label(0, to, then, profit + profits[to], taken, y, memory | OWN, row)
                if not hopeless(beyond.exit, r, a, here, profits[to]):
                    _meet(d, r, profits[to], a, b, b_width_ms, best[here, to])
    return best


@cached_njit
def join_start(d: Direction, r: Rules, profits: IntArray, b: Labels, b_width_ms: int) -> IntArray:
    """(n, 4) the best round whose first visit ends after the middle, by that unit."""
    best = np.full((b.begin.shape[0], 4), -1, np.int64)
    for k in range(d.start_exit.shape[0]):
        x, time, used = d.start_exit[k], d.start_ms[k], d.start_used[k]
        if r.until_ms < time <= min(r.horizon_ms, d.late_ms[x]) and used <= r.room:
            unit = d.exit_unit[x]
            a = Label(0, unit, time, profits[unit], used, x, OWN, -1)
            _meet(d, r, profits[unit], a, b, b_width_ms, best[unit])
    return best


@cached_njit
def join_home(d: Direction, r: Rules, f: Labels, finish_ms: IntArray) -> IntArray:
    """(n, 4) the best round of forward labels alone by its last unit, as in ``join``."""
    best = np.full((f.begin.shape[0], 4), -1, np.int64)
    for row in range(f.counts[0]):
        x = f.exit[row]
        mine = best[d.exit_unit[x]]
        time = f.time[row] + finish_ms[x]
        if time <= r.horizon_ms and f.profit[row] >= max(r.least, mine[PROFIT] + 1):
            mine[FORWARD], mine[BACKWARD] = row, -1
            mine[TIME], mine[PROFIT] = time, f.profit[row]
    return best
