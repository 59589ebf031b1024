"""Compiled: labels of partial rounds in order of time, with ng-route memory and dominance.

A label is a partial round that has just left a unit at one of its exits: the time, the profit of
the units visited, what has been used of the bag, and a mask of the units near by that are
remembered and may not be visited again. One label dominates another at the same unit if it is no
later (what its exit is behind the other's counted), has no less profit, has used no more of the bag
and remembers no more. The same kernel runs forward from the start and, on the network turned round,
backward from the finish.

    start ──arc──▶ exit of unit a ──arc──▶ exit of unit b ──▶ ...  forward, times from the start
    finish ─arc──▶ exit of unit z ──arc──▶ exit of unit y ──▶ ...  backward, times to the horizon

Labels are made bucket by bucket: an arc takes at least ``width_ms``, so that no label leads to
another in its own bucket, and all that could dominate it are known when it is extended.
"""

from typing import NamedTuple, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import IntArray

Masks = NDArray[np.uint16]
Rows = NDArray[np.int32]

OWN = cast(int, np.uint16(1))  # bit 0 of a mask stands for the unit where the label is
LOW_BYTE = cast(int, np.uint16(255))
MOST, BEFORE, SECOND = 0, 1, 2  # of a completion bound, see ``Beyond``
NO_UNIT = -1  # follows or goes before: a round begins or ends there
ANYWHERE = -3  # as the unit before the last: a completion may go to every unit, or home
LOOKS = 24  # pending labels that a new one is compared with before it is put on their list


class Direction(NamedTuple):
    """Arcs and windows of one direction; exits (X,) sorted by unit, arcs (A,) by exit.

    The arcs of an exit to one unit are a bundle: ``first_bundle`` (X + 1,) are the bounds of each
    exit's bundles, ``bundle_unit`` and ``bundle_ms`` the unit and the quickest arc, ``first_arc``
    (bundles + 1,) the bounds of each bundle's arcs. ``arc_store`` is 1 where the bag is filled on
    the way. ``start_exit``, ``start_ms``, ``start_used`` are the first visits of a round.
    ``more_ms`` (X, places): how much later one is at most after an exit than after another of its
    unit, ``place`` (X,) of that other among them.
    """

    exit_unit: IntArray
    first_bundle: IntArray
    bundle_unit: IntArray
    bundle_ms: IntArray
    first_arc: IntArray
    arc_head: IntArray
    arc_ms: IntArray
    arc_store: IntArray
    start_exit: IntArray
    start_ms: IntArray
    start_used: IntArray
    early_ms: IntArray
    late_ms: IntArray
    load: IntArray
    more_ms: IntArray
    place: IntArray


class Rules(NamedTuple):
    """Numbers that a run goes by.

    No round takes longer than ``horizon_ms``; labels are kept up to ``until_ms``, in buckets of
    ``width_ms``; a cell of the completion bound is ``cell_ms``. No label is kept that cannot come
    to a profit of ``least``. Use of the bag is at most ``room``; filling it takes off ``full``, but
    not below ``least_use``. Dominance looks at the bits ``memory`` of masks, and at the use of the
    bag if ``use`` is 1: with fewer of these fewer labels are kept, and the best may be missed. A
    run is given up after so many ``arcs`` tried.
    """

    horizon_ms: int
    until_ms: int
    width_ms: int
    cell_ms: int
    least: int
    room: int
    full: int
    least_use: int
    memory: int
    use: int
    arcs: int


class Labels(NamedTuple):
    """Labels kept, by bucket and unit.

    ``begin``, ``end`` (n, buckets) are the rows of a bucket of a unit, ``best`` the most profit of
    them. ``before`` is the row of the label extended, -1 at a first visit. ``counts`` holds the
    number of labels and of arcs tried.
    """

    time: IntArray
    profit: IntArray
    used: IntArray
    exit: Rows
    mask: Masks
    before: Rows
    begin: Rows
    end: Rows
    best: IntArray
    counts: IntArray


def empty_labels(most: int, *, units: int, buckets: int) -> Labels:
    """Room for ``most`` labels; memory is taken from the system as it is used."""
    return Labels(
        time=np.empty(most, np.int64),
        profit=np.empty(most, np.int64),
        used=np.empty(most, np.int64),
        exit=np.empty(most, np.int32),
        mask=np.empty(most, np.uint16),
        before=np.empty(most, np.int32),
        begin=np.zeros((units, buckets), np.int32),
        end=np.zeros((units, buckets), np.int32),
        best=np.full((units, buckets), -1, np.int64),
        counts=np.zeros(2, np.int64),
    )


class Pending(NamedTuple):
    """Labels not yet compared with all others: lists by unit and bucket, linked by ``next``.

    ``top`` holds the number of rows ever used and the first of the rows free again.
    """

    time: IntArray
    profit: IntArray
    used: IntArray
    exit: Rows
    mask: Masks
    before: Rows
    next: Rows
    head: Rows
    top: IntArray


class Label(NamedTuple):
    """One label: bucket and unit, then as in ``Labels``."""

    bucket: int
    unit: int
    time: int
    profit: int
    used: int
    exit: int
    mask: int
    before: int


@njit(nogil=True)
def _no_pending(most: int, units: int, buckets: int) -> Pending:
    return Pending(
        np.empty(most, np.int64), np.empty(most, np.int64), np.empty(most, np.int64),
        np.empty(most, np.int32), np.empty(most, np.uint16), np.empty(most, np.int32),
        np.empty(most, np.int32), np.full((units, buckets), -1, np.int32),
        np.array([0, -1], np.int64),
    )  # fmt: skip


@njit(nogil=True)
def _put(p: Pending, a: Label) -> bool:
    """Put a label on its list; false if there is no room left."""
    # a row that is free again, else a new one
    row = p.top[1]
    if row >= 0:
        p.top[1] = p.next[row]
    else:
        row = p.top[0]
        if row >= p.time.shape[0]:
            return False
        p.top[0] += 1
    p.time[row], p.profit[row], p.used[row] = a.time, a.profit, a.used
    p.exit[row], p.mask[row], p.before[row] = a.exit, a.mask, a.before
    p.next[row] = p.head[a.unit, a.bucket]
    p.head[a.unit, a.bucket] = row
    return True


@njit(nogil=True)
def _pending_dominates(d: Direction, r: Rules, p: Pending, a: Label) -> bool:
    """Whether one of the first labels on the list dominates."""
    row, looks, place = p.head[a.unit, a.bucket], 0, d.place[a.exit]
    while row >= 0 and looks < LOOKS:
        if (
            p.profit[row] >= a.profit
            and p.time[row] <= a.time
            and p.time[row] + d.more_ms[p.exit[row], place] <= a.time
            and (p.used[row] <= a.used or r.use == 0)
            and p.mask[row] & ~a.mask & r.memory == 0
        ):
            return True
        row, looks = p.next[row], looks + 1
    return False


@njit(nogil=True)
def _kept_dominates(d: Direction, r: Rules, k: Labels, a: Label, rows: tuple[int, int]) -> bool:
    """Whether one of some rows of labels kept dominates; the latest are the likeliest."""
    place = d.place[a.exit]
    for row in range(rows[1] - 1, rows[0] - 1, -1):
        if (
            k.profit[row] >= a.profit
            and k.time[row] + d.more_ms[k.exit[row], place] <= a.time
            and (k.used[row] <= a.used or r.use == 0)
            and k.mask[row] & ~a.mask & r.memory == 0
        ):
            return True
    return False


@njit(nogil=True)
def _dominated(d: Direction, r: Rules, k: Labels, a: Label, end: int) -> bool:
    """Whether a label kept in this bucket, up to row ``end``, or in an earlier one dominates."""
    bucket, rows = a.bucket, (k.begin[a.unit, a.bucket], end)
    while True:
        if _kept_dominates(d, r, k, a, rows):
            return True
        bucket -= 1
        while bucket >= 0 and k.best[a.unit, bucket] < a.profit:
            bucket -= 1
        if bucket < 0:
            return False
        rows = (k.begin[a.unit, bucket], k.end[a.unit, bucket])


@njit(nogil=True)
def _take_list(p: Pending, unit: int, bucket: int) -> IntArray:
    """Rows of a list in order of time; the list is empty then, and its rows are free again."""
    count, row = 0, p.head[unit, bucket]
    while row >= 0:
        count, row = count + 1, p.next[row]
    rows, times = np.empty(count, np.int64), np.empty(count, np.int64)
    row = p.head[unit, bucket]
    for i in range(count):
        rows[i], times[i] = row, p.time[row]
        following = p.next[row]
        p.next[row], p.top[1] = p.top[1], row
        row = following
    p.head[unit, bucket] = -1
    return rows[np.argsort(times)]


@njit(nogil=True)
def _keep(d: Direction, r: Rules, k: Labels, p: Pending, unit: int, bucket: int) -> bool:
    """Keep the labels of a list that no other dominates; false if there is no room left."""
    end = k.counts[0]
    k.begin[unit, bucket] = end
    for row in _take_list(p, unit, bucket):
        a = Label(
            bucket, unit, p.time[row], p.profit[row], p.used[row], p.exit[row], p.mask[row],
            p.before[row],
        )  # fmt: skip
        if _dominated(d, r, k, a, end):
            continue
        if end >= k.time.shape[0]:
            return False
        k.time[end], k.profit[end], k.used[end] = a.time, a.profit, a.used
        k.exit[end], k.mask[end], k.before[end] = a.exit, a.mask, a.before
        k.best[unit, bucket] = max(k.best[unit, bucket], a.profit)
        end += 1
    k.end[unit, bucket] = end
    k.counts[0] = end
    return True


@njit(nogil=True)
def moved(moves: NDArray[np.uint16], unit: int, to: int, mask: int) -> int:
    """What is remembered at one unit, as remembered at another."""
    low, high = moves[0, unit, to, mask & LOW_BYTE], moves[1, unit, to, mask >> 8]
    return low | high  # type: ignore[no-any-return]


class Beyond(NamedTuple):
    """Completion bounds: the most profit from an exit (cells, X, 4) or a unit (cells, n) on.

    Of an exit: the most, the unit that follows then, and the most if another unit follows. The
    profit of the unit itself is included; -1 where nobody comes home from there in time.
    """

    exit: IntArray
    unit: IntArray


@njit(nogil=True)
def hopeless_unit(most: IntArray, r: Rules, unit: int, time: int, before: int) -> bool:
    """Whether no completion from a unit on brings a round to the least profit.

    ``most`` (cells, n), ``before`` the profit of all units before.
    """
    if time > r.horizon_ms:
        return True
    more = most[(r.horizon_ms - time) // r.cell_ms, unit]
    return more < 0 or before + more < r.least  # type: ignore[no-any-return]


@njit(nogil=True)
def hopeless(most: IntArray, r: Rules, a: Label, from_: int, own: int) -> bool:
    """Whether no completion brings a label to the least profit.

    ``most`` (cells, X, 4) from exits on, ``from_`` the unit before the last (a completion does not
    go straight back there), ``own`` the profit of the last unit, which both count.
    """
    cell = (r.horizon_ms - a.time) // r.cell_ms
    part = SECOND if most[cell, a.exit, BEFORE] == from_ else MOST
    more = most[cell, a.exit, part]
    return more < 0 or a.profit - own + more < r.least  # type: ignore[no-any-return]


@njit(nogil=True)
def _first_visits(d: Direction, r: Rules, profits: IntArray, beyond: Beyond, p: Pending) -> bool:
    for k in range(d.start_exit.shape[0]):
        x, time, used = d.start_exit[k], d.start_ms[k], d.start_used[k]
        if time > min(d.late_ms[x], r.until_ms) or used > r.room:
            continue
        unit = d.exit_unit[x]
        a = Label(time // r.width_ms, unit, time, profits[unit], used, x, OWN, -1)
        if not hopeless(beyond.exit, r, a, ANYWHERE, profits[unit]) and not _put(p, a):
            return False
    return True


@njit(nogil=True)
def _extend(
    d: Direction, r: Rules, profits: IntArray, moves: Masks, beyond: Beyond, k: Labels,
    p: Pending, row: int,
) -> bool:  # fmt: skip
    """Extend a label along every arc; false if there is no room left."""
    time, profit, x, mask = k.time[row], k.profit[row], k.exit[row], k.mask[row]
    here = d.exit_unit[x]
    k.counts[1] += d.first_bundle[x + 1] - d.first_bundle[x]
    for bundle in range(d.first_bundle[x], d.first_bundle[x + 1]):
        to, soonest = d.bundle_unit[bundle], time + d.bundle_ms[bundle]
        if soonest > r.until_ms or hopeless_unit(beyond.unit, r, to, soonest, profit):
            continue
        memory = moved(moves, here, to, mask)
        if memory & OWN:  # the unit is remembered
            continue
        k.counts[1] += d.first_arc[bundle + 1] - d.first_arc[bundle]
        for arc in range(d.first_arc[bundle], d.first_arc[bundle + 1]):
            y = d.arc_head[arc]
            then = max(time + d.arc_ms[arc], d.early_ms[y])
            taken = use_after(d, r, arc, k.used[row])
            if then > min(r.until_ms, d.late_ms[y]) or taken > r.room:
                continue
            bucket = then // r.width_ms
            a = Label(bucket, to, then, profit + profits[to], taken, y, memory | OWN, row)
            if hopeless(beyond.exit, r, a, here, profits[to]) or _pending_dominates(d, r, p, a):
                continue
            rows = (k.begin[to, bucket - 1], k.end[to, bucket - 1]) if bucket > 0 else (0, 0)
            if not _kept_dominates(d, r, k, a, rows) and not _put(p, a):
                return False
    return True


@njit(nogil=True)
def use_after(d: Direction, r: Rules, arc: int, used: int) -> int:
    """What has been used of the bag after the visit that an arc leads to."""
    before = max(used - r.full, r.least_use) if d.arc_store[arc] else used
    return before + d.load[d.arc_head[arc]]  # type: ignore[no-any-return]


@cached_njit
def make_labels(
    d: Direction, r: Rules, profits: IntArray, moves: Masks, beyond: Beyond, k: Labels
) -> bool:
    """Fill ``k`` with the labels of one direction up to ``until_ms``; false if it is given up.

    ``profits`` (n,) of units, ``moves`` (2, n, n, 256) as in ``NgSets``.
    """
    units, buckets = k.begin.shape
    p = _no_pending(k.time.shape[0], units, buckets)
    if not _first_visits(d, r, profits, beyond, p):
        return False
    for bucket in range(buckets):
        # all of a bucket is there before any of it is extended
        for unit in range(units):
            if not _keep(d, r, k, p, unit, bucket):
                return False
        for unit in range(units):
            for row in range(k.begin[unit, bucket], k.end[unit, bucket]):
                if not _extend(d, r, profits, moves, beyond, k, p, row):
                    return False
            # the time allowed is counted in arcs, so that the same input ends the same way
            if k.counts[1] > r.arcs:
                return False
    return True
