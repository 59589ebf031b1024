"""First orders where the hour matters: a search of its own for rounds in which nobody is late.

It sees one way of each unit for each technician, the one that is open longest, and counts cartridge
changes as a share for each stroke; stores are left to the search that goes on from its order.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.vrp.kernels.lateness import LEFT, Row, seek_on_time
from greaseroute.solvers.vrp.layout import (
    CHANGE_MS,
    CLOSES,
    END_WAY,
    FIRST_WAY,
    OPENS,
    SIZE,
    STROKES,
    UNIT,
    WORK,
    Layout,
)
from greaseroute.solvers.xorshift import start_word

TRIES = 8  # sequences begun with: by closing, by opening, by the middle of the window, at random
LOOKS, LOOKS_PER_UNIT = 2_000_000, 200_000  # places of rounds looked at before the search ends


@dataclass(frozen=True, slots=True)
class OnTime:
    """Units of each technician in order; ``late_ms`` the sum of lateness, 0 where none is late."""

    units: tuple[tuple[int, ...], ...]
    late_ms: int


def order_on_time(layout: Layout, *, seed: int) -> OnTime:
    """The order of all units (but those that nobody can serve) that is late by the least sum."""
    row = row_of(layout)
    able = np.flatnonzero((row.way >= 0).any(axis=0)).astype(np.int64)
    row.marks[LEFT] = LOOKS + LOOKS_PER_UNIT * layout.units
    rng, word = np.random.default_rng(seed), start_word(seed)
    best, found = np.zeros_like(row.stop), OnTime(tuple(() for _ in range(layout.technicians)), -1)
    for k in range(TRIES):
        sequence = able[np.argsort(_keys(layout, row, kind=k, rng=rng)[able], kind="stable")]
        late = int(seek_on_time(layout.inst, row, sequence, best, word))
        if found.late_ms < 0 or late < found.late_ms:
            found = OnTime(_rounds(layout, best[: able.size + layout.technicians]), late)
        if late == 0 or row.marks[LEFT] <= 0:
            break
    return found


def row_of(layout: Layout) -> Row:
    """Room for a row, and the way by which each technician serves each unit."""
    n_tech, units = layout.technicians, layout.units
    way, work = np.full((n_tech, units), -1, np.int64), np.zeros((n_tech, units), np.int64)
    for t in range(n_tech):
        each = _changing_ms(layout, t)
        for u, (w, strokes) in _widest(layout, t).items():
            way[t, u] = w
            work[t, u] = layout.inst.way[WORK + t, w] + int(strokes @ each)
    stop, time, late, point, tech = np.zeros((5, units + n_tech), np.int64)
    return Row(stop, time, late, point, tech, way, work, np.zeros(2, np.int64))


def _changing_ms(layout: Layout, t: int) -> IntArray:
    """(G,) time of cartridge changes for each stroke, rounded up to whole milliseconds."""
    share: IntArray = -(-layout.of_guns(t, CHANGE_MS) // layout.of_guns(t, SIZE))
    return share


def _widest(layout: Layout, t: int) -> dict[int, tuple[int, IntArray]]:
    """Way and strokes by unit: of the least loss that can be served, the way open longest."""
    inst, found = layout.inst, {}
    for level in inst.level[: layout.store_level]:
        ways = np.arange(level[FIRST_WAY], level[END_WAY])
        ways = ways[inst.way[WORK + t, ways] >= 0]
        if ways.size and int(level[UNIT]) not in found:
            room = inst.way[CLOSES, ways] - inst.way[OPENS, ways] - inst.way[WORK + t, ways]
            found[int(level[UNIT])] = int(ways[room.argmax()]), level[STROKES:]
    return found


def _keys(layout: Layout, row: Row, *, kind: int, rng: np.random.Generator) -> IntArray:
    """(U,) what a sequence is sorted by."""
    ways = row.way.max(axis=0)
    opens, closes = layout.inst.way[OPENS, ways], layout.inst.way[CLOSES, ways]
    if kind < 3:
        keys: IntArray = (closes, opens, opens // 2 + closes // 2)[kind]
        return keys
    return rng.permutation(layout.units).astype(np.int64)


def _rounds(layout: Layout, row: IntArray) -> tuple[tuple[int, ...], ...]:
    ends = np.flatnonzero(row >= layout.units)
    parts = np.split(row, ends)
    return tuple(tuple(int(u) for u in part if u < layout.units) for part in parts[:-1])
