"""The network over which whole rounds of one type of technician are priced.

A vertex is an exit: a point at which a unit is left, with the window for leaving it there. An arc
is the quickest way from one exit over the next unit to one of its exits: walking to a point of
entry and all work, least over the ways that end at that exit. An arc may also lead by a store,
where the bag is filled. Walking times are the least over the hours of the day; waits for windows
are kept. Times are ms from the start of the technician.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.excess import most_excess
from greaseroute.solvers.vrp.alike import alike
from greaseroute.solvers.vrp.bag import at_start
from greaseroute.solvers.vrp.entry_exit_points import least_walk
from greaseroute.solvers.vrp.layout import usable_way_ms, way_windows
from greaseroute.solvers.vrp.problem import CrewProblem

# Parts of a cartridge, in which strokes of all guns are added up, rounded down: few enough that
# many labels have used as much of the bag as another, at a loss of a quarter cartridge in 16 units.
PARTS = 64
NO_WAIT_MS = -FAR  # an exit that may be left at any time


class Network(NamedTuple):
    """Arrays over n units and X exits, sorted by unit.

    Attributes
    ----------
    unit : (n,)
        Numbers of the units in the problem, ascending.
    exit_unit : (X,)
        The row of each exit's unit in ``unit``.
    first_exit : (n + 1,)
        Where the exits of each unit begin.
    step_ms, store_step_ms : (X, X)
        From exit to exit, straight and by a store; ``FAR`` where nobody can go.
    start_ms, store_start_ms : (X,)
        From the start to exits.
    finish_ms : (X,)
        From exits to the finish.
    early_ms, late_ms : (X,)
        An exit is left not before and not after; ``NO_WAIT_MS`` and ``FAR`` for none.
    load : (X,)
        What the work takes of the bag, in ``PARTS`` of a cartridge.
    work_ms : (n,)
        The least time at each unit.
    """

    unit: IntArray
    exit_unit: IntArray
    first_exit: IntArray
    step_ms: IntArray
    store_step_ms: IntArray
    start_ms: IntArray
    store_start_ms: IntArray
    finish_ms: IntArray
    early_ms: IntArray
    late_ms: IntArray
    load: IntArray
    work_ms: IntArray


@dataclass(frozen=True, slots=True)
class TechnicianType:
    """Technicians alike in all that the bound looks at.

    They start at ``start_ms`` and have ``time_ms`` up to the end of the shift. The bag and the guns
    hold ``held`` at the start, the guns alone ``in_guns``, the bag ``full`` when it is filled, and
    both together ``most`` then, all in ``PARTS`` of a cartridge.
    """

    technicians: tuple[int, ...]
    start_ms: int
    time_ms: int
    held: int
    in_guns: int
    full: int
    most: int


def types_of(problem: CrewProblem, who: IntArray, ways: IntArray) -> list[TechnicianType]:
    """Technicians ``who`` sorted into types, in order of the first of each."""
    spent, (held, left) = usable_way_ms(problem), at_start(problem)
    ends = np.stack([problem.start_point, problem.finish_point, problem.start_ms, problem.end_ms])
    criteria = [
        [
            spent[t, ways],
            problem.travel_ms[t],
            *(phase.travel_ms[t] for phase in problem.phases),
            problem.cartridge_strokes[t],
            left[t],
            np.array([problem.bag_cartridges[t], held[t]]),
            ends[:, t],
        ]
        for t in who
    ]
    return [_type(problem, tuple(who[group].tolist())) for group in alike(criteria)]


def _type(problem: CrewProblem, technicians: tuple[int, ...]) -> TechnicianType:
    t, (held, left) = technicians[0], at_start(problem)
    start, guns = int(problem.start_ms[t]), problem.cartridge_strokes.shape[1]
    # what a gun holds counts as the part of a cartridge that it is
    in_guns = int((-(-left[t] * PARTS // problem.cartridge_strokes[t])).sum())
    full = int(problem.bag_cartridges[t]) * PARTS
    return TechnicianType(
        technicians=technicians,
        start_ms=start,
        time_ms=min(FAR // 4, int(problem.end_ms[t]) - start),
        held=int(held[t]) * PARTS + in_guns,
        in_guns=in_guns,
        full=full,
        # what is left of a cartridge in each gun is used on after the bag has been filled
        most=full + max(guns * PARTS, in_guns),
    )


def network_of(problem: CrewProblem, kind: TechnicianType, ways: IntArray) -> Network:
    """The network of one type; ``ways`` sorted by unit, exits that others always replace left out.

    Nothing is lost by an exit left out: wherever one comes from and wherever one goes, another of
    the same unit is no later, as free and takes no more of the bag.
    """
    ways = ways[usable_way_ms(problem)[kind.technicians[0], ways] >= 0]
    if not ways.size:
        return _empty()
    return _only(whole := _all_exits(problem, kind, ways), _needed(whole))


def _empty() -> Network:
    none, square = np.zeros(0, dtype=np.int64), np.zeros((0, 0), dtype=np.int64)
    return Network(
        none, none, np.zeros(1, dtype=np.int64), square, square, none, none, none, none, none, none,
        none,
    )  # fmt: skip


def _all_exits(problem: CrewProblem, kind: TechnicianType, ways: IntArray) -> Network:
    t = kind.technicians[0]
    spent = usable_way_ms(problem)[t, ways]
    unit, row = np.unique(problem.way_unit[ways], return_inverse=True)
    early, late = _leaving(problem, kind, ways)
    # ways that end at one point and bind alike are one exit
    keys = np.stack([row, problem.way_leave[ways], early, late, _load(problem, t, ways)], axis=1)
    exits, at = np.unique(keys, axis=0, return_inverse=True)
    exit_unit, point = exits[:, 0].copy(), exits[:, 1]
    # the quickest at any hour: no round takes less
    walk = least_walk(problem, t)
    into = problem.way_enter[ways]
    legs = [walk[:, into], _by_store(problem, walk)[:, into]]
    steps = [_steps(matrix, spent, at.reshape(-1)) for matrix in legs]
    own = exit_unit[:, None] == exit_unit[None, :]  # no arc leads from a unit to itself
    start = int(problem.start_point[t])
    return Network(
        unit=unit.astype(np.int64),
        exit_unit=exit_unit,
        first_exit=_first_exits(exit_unit, unit.size),
        step_ms=np.where(own, FAR, steps[0][point]),
        store_step_ms=np.where(own, FAR, steps[1][point]),
        start_ms=steps[0][start],
        store_start_ms=steps[1][start],
        finish_ms=walk[point, int(problem.finish_point[t])],
        early_ms=exits[:, 2],
        late_ms=exits[:, 3],
        load=exits[:, 4],
        work_ms=np.minimum.reduceat(spent, np.flatnonzero(np.diff(row, prepend=-1))),
    )


def _leaving(
    problem: CrewProblem, kind: TechnicianType, ways: IntArray
) -> tuple[IntArray, IntArray]:
    """When each way's unit can be left, from the technician's start."""
    window = way_windows(problem)[ways] - kind.start_ms
    spent = usable_way_ms(problem)[kind.technicians[0], ways]
    early = np.where(window[:, 0] <= 0, NO_WAIT_MS, window[:, 0] + spent)
    late = np.where(window[:, 1] >= kind.time_ms, FAR, window[:, 1])
    return early.astype(np.int64), late.astype(np.int64)


def _load(problem: CrewProblem, t: int, ways: IntArray) -> IntArray:
    """What each way takes of the bag, all guns together, rounded down."""
    parts = problem.way_strokes[ways] * PARTS // problem.cartridge_strokes[t]
    load: IntArray = parts.sum(axis=1)
    return load


def _by_store(problem: CrewProblem, walk: IntArray) -> IntArray:
    """Least walking times over a store, filling the bag included."""
    least = np.full(walk.shape, FAR, dtype=np.int64)
    for store in problem.store_points:
        least = np.minimum(least, walk[:, [store]] + problem.reload_ms + walk[[store], :])
    return np.minimum(least, FAR)


def _steps(legs: IntArray, spent: IntArray, at: IntArray) -> IntArray:
    """(points, exits) least time from points to exits; ``legs`` (points, ways) to their entries."""
    steps = np.full((legs.shape[0], int(at.max()) + 1), FAR, dtype=np.int64)
    for way, exit_ in enumerate(at):
        steps[:, exit_] = np.minimum(steps[:, exit_], legs[:, way] + spent[way])
    return np.minimum(steps, FAR)


def _first_exits(exit_unit: IntArray, units: int) -> IntArray:
    return np.searchsorted(exit_unit, np.arange(units + 1)).astype(np.int64)


def more_ms(onward: IntArray, first_exit: IntArray) -> IntArray:
    """How much later one is at most after one exit than after another of the same unit.

    ``onward`` (X, anywhere) are times from exits. Answers (X, most exits of a unit): row an exit,
    column the place of another among those of its unit; ``FAR`` where only the other leads on.
    """
    most = int(np.diff(first_exit).max(initial=0))
    more = np.full((onward.shape[0], most), FAR, dtype=np.int64)
    for begin, end in pairwise(first_exit.tolist()):
        more[begin:end, : end - begin] = most_excess(onward[begin:end].T)
    return more


def _needed(net: Network) -> IntArray:
    """Exits that no other of the same unit can always stand in for; of two alike the first."""
    columns = [net.step_ms, net.store_step_ms, net.finish_ms[:, None]]
    more = more_ms(np.concatenate(columns, axis=1), net.first_exit)
    rows = [net.step_ms, net.store_step_ms, net.start_ms[None], net.store_start_ms[None]]
    into, kept = np.concatenate(rows), np.ones(net.exit_unit.size, dtype=bool)
    place = np.arange(kept.size) - net.first_exit[net.exit_unit]
    for begin, end in pairwise(net.first_exit.tolist()):
        for b in range(begin, end):
            for a in range(begin, end):
                # only what is kept may stand in, so that no two stand in for each other
                if a == b or not (kept[a] and kept[b]) or net.load[a] > net.load[b]:
                    continue
                later = int(more[a, place[b]])
                sooner = (into[:, a] + later <= into[:, b]) | (into[:, b] >= FAR)
                kept[b] = not (sooner.all() and as_free(net, (a, b), later))
    return np.flatnonzero(kept)


def as_free(net: Network, exits: tuple[int, int], later_ms: int) -> bool:
    """Whether the window of the first exit lets one do all that the second one's does.

    One comes to the first by ``later_ms`` sooner than to the second.
    """
    a, b = exits
    early = net.early_ms[a] == NO_WAIT_MS or net.early_ms[a] + later_ms <= net.early_ms[b]
    late = net.late_ms[a] == FAR or net.late_ms[b] - later_ms <= net.late_ms[a]
    return bool(early and late)


def _only(net: Network, kept: IntArray) -> Network:
    """The network of some exits alone."""
    exit_unit = net.exit_unit[kept]
    square = np.ix_(kept, kept)
    return net._replace(
        exit_unit=exit_unit,
        first_exit=_first_exits(exit_unit, net.unit.size),
        step_ms=np.ascontiguousarray(net.step_ms[square]),
        store_step_ms=np.ascontiguousarray(net.store_step_ms[square]),
        start_ms=net.start_ms[kept],
        store_start_ms=net.store_start_ms[kept],
        finish_ms=net.finish_ms[kept],
        early_ms=net.early_ms[kept],
        late_ms=net.late_ms[kept],
        load=net.load[kept],
    )


def apart_ms(net: Network) -> IntArray:
    """(n, n) least walking time between units, in the quicker direction."""
    first = net.first_exit[:-1]
    least = np.minimum.reduceat(np.minimum.reduceat(net.step_ms, first, axis=0), first, axis=1)
    apart = least - net.work_ms[None, :]
    return np.asarray(np.minimum(apart, apart.T), dtype=np.int64)
