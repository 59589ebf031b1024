"""From an order of units to a timetable: ways, store visits, cartridge changes placed exactly."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.vrp.kernels.clock import (
    ARRIVE,
    BEGIN,
    DEPART,
    LEFT_AT,
    LENGTH,
    PHASE,
    PUT_IN,
    times_of,
)
from greaseroute.solvers.vrp.kernels.label_setting import (
    CAME,
    NEXT,
    STORE,
    TIME,
    WALK,
    WAY,
    along_order,
)
from greaseroute.solvers.vrp.layout import (
    CHANGE_MS,
    CLOSES,
    END_RUN,
    END_WAY,
    FIRST_RUN,
    FIRST_WAY,
    HELD,
    RUN_COUNT,
    RUN_GUN,
    RUN_STROKES,
    SIZE,
    START_MS,
    STROKES,
    UNIT,
    Layout,
)
from greaseroute.solvers.vrp.solution import TechnicianRound, Visit


class OrderLabels:
    """All labels of one technician's order of levels, from which a chain of ways is taken.

    ``levels`` are those of units alone: start, finish and the stores are added.
    """

    def __init__(self, layout: Layout, t: int, levels: Sequence[int]) -> None:
        start = layout.store_level + 1 + t
        order = np.array([start, *levels, start + layout.technicians], dtype=np.int64)
        by_stores = most_cartridges(layout, t, levels) > int(layout.inst.crew[t, HELD])
        self._label, last = along_order(layout.inst, t, order, by_stores)
        self._ends: list[int] = []
        while last >= 0:
            self._ends.append(last)
            last = int(self._label[last, NEXT])

    @property
    def can_be_walked(self) -> bool:
        """Whether the finish can be reached with all rules kept."""
        return bool(self._ends)

    @property
    def earliest_ms(self) -> int:
        """The earliest finish; ``FAR`` if the order cannot be walked."""
        return min((int(self._label[k, TIME]) for k in self._ends), default=int(FAR))

    def shortest(self, cap_ms: int) -> tuple[int, ...]:
        """The kernel ways of the shortest walk that ends not after ``cap_ms``.

        The earliest one where all end later. Start, stores and finish are in it.
        """
        cap_ms = max(cap_ms, self.earliest_ms)
        in_time = [k for k in self._ends if self._label[k, TIME] <= cap_ms]
        best = min(in_time, key=lambda k: (self._label[k, WALK], self._label[k, TIME], k))
        return chain_of(self._label, best)


def chain_of(label: IntArray, last: int) -> tuple[int, ...]:
    """The kernel ways that lead to a label, stores among them."""
    chain = []
    while last >= 0:
        chain.append(int(label[last, WAY]))
        if label[last, STORE] >= 0:
            chain.append(int(label[last, STORE]))
        last = int(label[last, CAME])
    return tuple(reversed(chain))


def most_cartridges(layout: Layout, t: int, levels: Iterable[int]) -> int:
    """No order of these levels, one for each unit, puts in more cartridges than this.

    Of every cartridge at least its strokes less those of the largest fitting, plus one, are used;
    a fitting that takes more than a cartridge holds needs a whole number of them.
    """
    inst, levels = layout.inst, list(levels)
    strokes = np.zeros((layout.units, layout.guns), dtype=np.int64)
    np.maximum.at(strokes, inst.level[levels, UNIT], inst.level[levels, STROKES:])
    if not strokes.size or not levels:
        return 0
    mine = inst.run[:, [r for one in levels for r in _runs_of(layout, one)]]
    total = 0
    for gun, size in enumerate(layout.of_guns(t, SIZE).tolist()):
        each, count = mine[RUN_STROKES, mine[RUN_GUN] == gun], mine[RUN_COUNT, mine[RUN_GUN] == gun]
        small = each <= size
        wasted = int(each[small].max(initial=1)) - 1
        total += -(-int(strokes[:, gun].sum()) // (size - wasted))
        total += int((-(-each[~small] // size) * count[~small]).sum())
    return total


def _runs_of(layout: Layout, level: int) -> range:
    """The runs of fittings of all ways of a level."""
    way, row = layout.inst.way, layout.inst.level[level]
    return range(int(way[FIRST_RUN, row[FIRST_WAY]]), int(way[END_RUN, row[END_WAY] - 1]))


def timetable(layout: Layout, t: int, chain: tuple[int, ...]) -> TechnicianRound:
    """Every leg, wait and stop of a chain of kernel ways, begun as early as possible."""
    times = times_of(layout.inst, t, np.array(chain, dtype=np.int64))
    start, finish = int(layout.inst.crew[t, START_MS]), int(times[-1, ARRIVE])
    walk_ms = int((times[1:, ARRIVE] - times[1:, DEPART]).sum())
    work_ms = int((times[1:-1, LEFT_AT] - times[1:-1, BEGIN]).sum())
    at_store = [way >= layout.way_id.size for way in chain]
    put_in = times[:, PUT_IN:]
    loads = _loads(put_in, [k for k in range(1, len(chain) - 1) if at_store[k]])
    taken = iter(loads[1:])
    visits = tuple(
        _visit(layout, chain[k], times[k], load=next(taken) if at_store[k] else ())
        for k in range(1, len(chain) - 1)
    )
    return TechnicianRound(
        technician=t,
        visits=visits,
        start_ms=start,
        depart_ms=int(times[-1, DEPART]),
        finish_ms=finish,
        walk_ms=walk_ms,
        walk_mm=int(times[1:, LENGTH].sum()),
        work_ms=work_ms,
        wait_ms=finish - start - walk_ms - work_ms,
        change_ms=int((put_in * layout.of_guns(t, CHANGE_MS)).sum()),
        phase=int(times[-1, PHASE]) - 1,
        load=loads[0],
    )


def _loads(put_in: IntArray, stores: Sequence[int]) -> list[tuple[int, ...]]:
    """Cartridges per gun kind taken at the start and at each store: what is put in until the next.

    What is left of a cartridge in the gun when the bag is filled goes on being used.
    """
    marks = [0, *stores, put_in.shape[0]]
    return [tuple(put_in[a:b].sum(axis=0).tolist()) for a, b in pairwise(marks)]


def _visit(layout: Layout, way: int, times: IntArray, *, load: tuple[int, ...]) -> Visit:
    """One stop from its row of times; a store where ``way`` is one of theirs."""
    store, level = way - layout.way_id.size, layout.inst.level
    row = int(np.searchsorted(level[:, FIRST_WAY], way, side="right")) - 1
    return Visit(
        kind="unit" if store < 0 else "store",
        unit=int(level[row, UNIT]) if store < 0 else -1,
        way=int(layout.way_id[way]) if store < 0 else -1,
        store=max(-1, store),
        depart_ms=int(times[DEPART]),
        arrive_ms=int(times[ARRIVE]),
        begin_ms=int(times[BEGIN]),
        leave_ms=int(times[LEFT_AT]),
        phase=int(times[PHASE]) - 1,
        put_in=tuple(times[PUT_IN:].tolist()) if store < 0 else (),
        load=load,
    )


def reachable(layout: Layout, t: int) -> bool:
    """Whether the technician gets from start to finish in time without visiting anything."""
    ends = [layout.start_way(t), layout.finish_way(t)]
    home_ms = int(times_of(layout.inst, t, np.array(ends, dtype=np.int64))[-1, ARRIVE])
    return home_ms <= int(layout.inst.way[CLOSES, ends[1]]) and home_ms < FAR
