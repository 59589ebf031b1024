"""The crew's problem laid out for the compiled kernels: ways sorted by unit and service level.

A level is a class of ways of one unit with the same loss and the same strokes, so that an order of
levels fixes what is left undone; which way of a level is taken then follows by dynamic programming.
Stores, starts and finishes are levels of their own kind, with ways that only stand at a point, so
that the kernels know one sort of stop.

::

    levels   | levels of unit 0 | levels of unit 1 | ... | stores | T starts | T finishes |
    ways     | w w | w w w      | w                | ... | s s s  | one each | one each   |

Few arrays with named rows or columns are handed to the kernels: each array more in an argument
costs time where a kernel is compiled.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.vrp.problem import CANNOT, NO_LIMIT_MS, CrewProblem

FAR_MS = FAR  # kernels only: no path, or too late

# Rows of ``Instance.way``; the time that technician t spends on a way is in row WORK + t. Runs of
# fittings of a way are FIRST_RUN up to END_RUN, not included.
ENTER, LEAVE, OPENS, CLOSES, FIRST_RUN, END_RUN, WORK = 0, 1, 2, 3, 4, 5, 6
# Columns of ``Instance.level``: ways FIRST_WAY up to END_WAY, the weight left undone, the unit (-1
# for stores, starts and finishes); strokes of gun kind g are in column STROKES + g.
FIRST_WAY, END_WAY, LOSS, UNIT, STROKES = 0, 1, 2, 3, 4
# Columns of ``Instance.unit``: levels FIRST_LEVEL up to END_LEVEL, least loss first, the weight
# lost without a visit, the stop that the unit followed in the plan before (-1: none).
FIRST_LEVEL, END_LEVEL, SKIP_LOSS, FOLLOWS = 0, 1, 2, 3
# Columns of ``Instance.crew``: sort of walker, start (ms), cartridges in a full bag and at the
# start; of each gun kind the strokes of a cartridge, strokes left at the start, ms for a change.
WALKER, START_MS, FULL, HELD, GUNS = 0, 1, 2, 3, 4
SIZE, GUN_LEFT, CHANGE_MS, PER_GUN = 0, 1, 2, 3  # column GUNS + PER_GUN * g + one of these
# Rows of ``Instance.run``: the gun kind, strokes of each fitting, how many fittings.
RUN_GUN, RUN_STROKES, RUN_COUNT = 0, 1, 2


class Instance(NamedTuple):
    """What the kernels read; L levels of units, then one of stores, T starts, T finishes.

    Attributes
    ----------
    level : (L + 1 + 2T, 4 + G), unit : (U, 4), crew : (T, 4 + 3G)
        One row for each level, unit, technician; columns as named above.
    way : (6 + T, W + S + 2T), run : (3, R)
        One column for each way and each run of equal fittings; rows as named above.
    travel : (1 + phases, Y, P, P)
        Walking times (ms) of Y sorts of walkers; ``FAR`` where there is no path.
    length : (1 + phases, P, P)
        Walking lengths (mm).
    phase_from : (1 + phases,)
        When each table of ``travel`` begins to hold; 0 for the first.
    """

    level: IntArray
    unit: IntArray
    crew: IntArray
    way: IntArray
    run: IntArray
    travel: IntArray
    length: IntArray
    phase_from: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """A problem laid out, and what the rows were before.

    ``way_id`` (W,) gives the problem's way of a kernel way, ``point_id`` (P,) the problem's point
    of a kernel point.
    """

    inst: Instance
    way_id: IntArray
    point_id: IntArray

    @property
    def technicians(self) -> int:
        """Number of technicians T."""
        return int(self.inst.crew.shape[0])

    @property
    def units(self) -> int:
        """Number of units U."""
        return int(self.inst.unit.shape[0])

    @property
    def guns(self) -> int:
        """Number of gun kinds G."""
        return int(self.inst.level.shape[1] - STROKES)

    @property
    def store_level(self) -> int:
        """The level of the stores; levels of units come before it."""
        return int(self.inst.level.shape[0] - 1 - 2 * self.technicians)

    def start_way(self, t: int) -> int:
        """The way of a technician's start."""
        return int(self.inst.level[self.store_level + 1 + t, FIRST_WAY])

    def finish_way(self, t: int) -> int:
        """The way of a technician's finish."""
        return int(self.inst.level[self.store_level + 1 + self.technicians + t, FIRST_WAY])

    def of_guns(self, t: int, column: int) -> IntArray:
        """(G,) SIZE, GUN_LEFT or CHANGE_MS of a technician's guns."""
        row: IntArray = self.inst.crew[t, GUNS + column :: PER_GUN]
        return row


def layout_of(problem: CrewProblem) -> Layout:
    """Sort, window and renumber."""
    order, level_of = _sorted_ways(problem)
    way, run = _way_table(problem, order)
    points, place = points_in_order(way[ENTER], way[LEAVE])
    way[ENTER], way[LEAVE] = place[way[ENTER]], place[way[LEAVE]]
    walker, travel = _walkers(problem, points)
    first = np.flatnonzero(np.diff(level_of, prepend=-1))
    inst = Instance(
        level=_level_table(problem, order[first], np.bincount(level_of, minlength=first.size)),
        unit=_unit_table(problem, problem.way_unit[order[first]]),
        crew=_crew_table(problem, walker),
        way=way,
        run=run,
        travel=travel,
        length=_lengths(problem, points),
        phase_from=np.array([0, *(f.from_ms for f in problem.phases)], dtype=np.int64),
    )
    return Layout(for_kernels(inst), order, points)


def for_kernels(inst: Instance) -> Instance:
    """Own, contiguous and writable copies: one type for every kernel argument, compiled once."""
    return Instance(*(np.array(array, dtype=np.int64, order="C") for array in inst))


def _sorted_ways(problem: CrewProblem) -> tuple[IntArray, IntArray]:
    """Ways by unit, loss, strokes and number, and the level of each."""
    keys = [
        (int(unit), int(loss), tuple(strokes), way)
        for way, (unit, loss, strokes) in enumerate(
            zip(problem.way_unit, problem.way_loss, problem.way_strokes.tolist(), strict=True)
        )
    ]
    keys.sort()
    names: dict[tuple[int, int, tuple[int, ...]], int] = {}
    levels = [names.setdefault(key[:3], len(names)) for key in keys]
    ways = [key[3] for key in keys]
    return np.array(ways, dtype=np.int64), np.array(levels, dtype=np.int64)


def way_windows(problem: CrewProblem) -> IntArray:
    """Window of each way: the unit's, its own, and the operator's where a second one is needed."""
    window: IntArray = problem.window_ms[problem.way_unit].copy()
    others = [problem.way_window_ms] if problem.way_window_ms is not None else []
    if problem.way_needs_second is not None:
        second = window.copy()
        if problem.operator_ms is not None:
            second[problem.way_needs_second] = problem.operator_ms[problem.way_unit][
                problem.way_needs_second
            ]
        else:
            second[problem.way_needs_second] = 0
        others.append(second)
    for other in others:
        window[:, 0] = np.maximum(window[:, 0], other[:, 0])
        window[:, 1] = np.minimum(window[:, 1], other[:, 1])
    return window


def usable_way_ms(problem: CrewProblem) -> IntArray:
    """``way_ms`` with ``CANNOT`` where the unit is fixed to another technician."""
    if problem.unit_technician is None:
        return problem.way_ms
    fixed = problem.unit_technician[problem.way_unit]
    who = np.arange(problem.technicians)[:, None]
    return np.where((fixed == -1) | (fixed == who), problem.way_ms, CANNOT).astype(np.int64)


def _way_table(problem: CrewProblem, order: IntArray) -> tuple[IntArray, IntArray]:
    """``way`` over the problem's points (ways of units, stores, starts, finishes), and ``run``."""
    n_tech, stores = problem.technicians, problem.store_points
    ends = np.concatenate([stores, problem.start_point, problem.finish_point])
    window = way_windows(problem)[order]
    always = np.zeros(stores.size, dtype=np.int64)
    opens = [window[:, 0], always, problem.start_ms, np.zeros(n_tech, dtype=np.int64)]
    no_limit = np.full(stores.size + n_tech, NO_LIMIT_MS, dtype=np.int64)
    standing = np.zeros((n_tech, ends.size), dtype=np.int64)
    standing[:, : stores.size] = problem.reload_ms
    runs = [*(_runs_of(problem, int(way)) for way in order), *([] for _ in ends)]
    upto = bounds(np.array([len(row) for row in runs], dtype=np.int64))
    rows = [
        np.concatenate([problem.way_enter[order], ends]),
        np.concatenate([problem.way_leave[order], ends]),
        np.concatenate(opens),
        np.concatenate([window[:, 1], no_limit, problem.end_ms]),
        upto[:-1],
        upto[1:],
        *np.concatenate([usable_way_ms(problem)[:, order], standing], axis=1),
    ]
    flat = np.array([run for row in runs for run in row], dtype=np.int64).reshape(-1, 3)
    return np.stack(rows), flat.T


def _level_table(problem: CrewProblem, first: IntArray, counts: IntArray) -> IntArray:
    """``level``; ``first`` (L,) are the problem's first ways of the levels of units."""
    ends = np.array([problem.store_points.size, *([1] * (2 * problem.technicians))], np.int64)
    upto = bounds(np.concatenate([counts, ends]))
    table = np.zeros((upto.size - 1, STROKES + problem.way_strokes.shape[1]), dtype=np.int64)
    table[:, FIRST_WAY], table[:, END_WAY], table[:, UNIT] = upto[:-1], upto[1:], -1
    table[: first.size, LOSS] = problem.way_loss[first]
    table[: first.size, UNIT] = problem.way_unit[first]
    table[: first.size, STROKES:] = problem.way_strokes[first]
    return table


def _unit_table(problem: CrewProblem, unit_of_level: IntArray) -> IntArray:
    upto = bounds(np.bincount(unit_of_level, minlength=problem.units))
    follows = np.full(problem.units, -1, dtype=np.int64)
    for t, sequence in enumerate(problem.keep or ()):
        before = problem.units + t  # the stop of the technician's start
        for unit in sequence:
            follows[unit] = before
            before = unit
    return np.stack([upto[:-1], upto[1:], problem.skip_loss, follows], axis=1)


def _crew_table(problem: CrewProblem, walker: IntArray) -> IntArray:
    full = problem.bag_cartridges
    held = full if problem.bag_at_start is None else problem.bag_at_start
    size = problem.cartridge_strokes
    of_guns = [
        size,
        np.zeros_like(size) if problem.gun_left_strokes is None else problem.gun_left_strokes,
        np.zeros_like(size) if problem.change_ms is None else problem.change_ms,
    ]
    flat = np.stack(of_guns, axis=2).reshape(size.shape[0], -1)
    return np.concatenate([np.stack([walker, problem.start_ms, full, held], axis=1), flat], axis=1)


def _walkers(problem: CrewProblem, points: IntArray) -> tuple[IntArray, IntArray]:
    """Which sort of walker each technician is, and the walking times of each sort.

    Technicians who walk alike share one table: with eight of them it is most of the memory.
    """
    tables = [problem.travel_ms, *(phase.travel_ms for phase in problem.phases)]
    heads: list[int] = []
    walker = []
    for t in range(problem.technicians):
        same = (k for k, h in enumerate(heads) if all(np.array_equal(a[t], a[h]) for a in tables))
        kind = next(same, len(heads))
        if kind == len(heads):
            heads.append(t)
        walker.append(kind)
    rows, columns = points[:, None], points[None, :]
    travel = np.stack([np.stack([table[h][rows, columns] for h in heads]) for table in tables])
    travel[travel < 0] = FAR
    return np.array(walker, dtype=np.int64), travel


def _lengths(problem: CrewProblem, points: IntArray) -> IntArray:
    """(1 + phases, P, P) walking lengths, 0 where there is no path."""
    own = [problem.length_mm if f.length_mm is None else f.length_mm for f in problem.phases]
    return submatrix(np.stack([problem.length_mm, *own]), points).clip(min=0)


def _runs_of(problem: CrewProblem, way: int) -> list[tuple[int, int, int]]:
    """Gun kind, strokes and number of fittings one after another that are alike."""
    first, gun, strokes = problem.fitting_first, problem.fitting_gun, problem.fitting_strokes
    if first is None or gun is None or strokes is None:
        return [(g, 1, int(n)) for g, n in enumerate(problem.way_strokes[way]) if n > 0]
    runs: list[tuple[int, int, int]] = []
    for f in range(int(first[way]), int(first[way + 1])):
        one = (int(gun[f]), int(strokes[f]))
        if one[1] == 0:
            continue
        if runs and runs[-1][:2] == one:
            runs[-1] = (*one, runs[-1][2] + 1)
        else:
            runs.append((*one, 1))
    return runs


def points_in_order(enter: IntArray, leave: IntArray) -> tuple[IntArray, IntArray]:
    """Points in order of first use, so that the kernels read one unit's legs side by side."""
    used = list(dict.fromkeys(int(p) for pair in zip(enter, leave, strict=True) for p in pair))
    inverse = np.full(max(used) + 1, -1, dtype=np.int64)
    inverse[used] = np.arange(len(used))
    return np.array(used, dtype=np.int64), inverse


def submatrix(matrices: IntArray, points: IntArray) -> IntArray:
    """Each matrix between some points alone."""
    return np.ascontiguousarray(matrices[..., points[:, None], points[None, :]])


def bounds(counts: IntArray) -> IntArray:
    """The first of each of some rows of so many, and one past all."""
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
