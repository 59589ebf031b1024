"""The crew's problem laid out for the compiled kernels: ways sorted by unit and service level.

A level is a class of ways of one unit with the same loss and the same strokes, so that an order of
levels fixes what is left undone and what the bag must hold; which way of a level is taken then
follows exactly by dynamic programming. Stores, starts and finishes are levels of their own kind,
with ways that only stand at a point, so that the kernels know one sort of stop.
"""

from typing import NamedTuple

import numpy as np

from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.vrp.problem import CANNOT, NO_LIMIT_MS, CrewProblem, IntArray

FAR_MS = FAR  # kernels only: no path, or too late


class CrewArrays(NamedTuple):
    """What the kernels read; L levels of units, then one of stores, T starts, T finishes.

    ``way_id`` gives the problem's way of a kernel way, ``point_id`` the problem's point of a
    kernel point. ``level_first`` (L + 1 + 2T + 1,) are the bounds of each level's ways;
    ``unit_first`` (U + 1,) those of each unit's levels, least loss first. ``travel`` and
    ``length`` are (1 + phases, T, P, P) and (1 + phases, P, P); ``phase_from`` begins with 0 for
    the time before the first phase. ``bag_gone`` (T,) is what lacks of a full bag at the start;
    it counts as put in already, which comes to the same.
    """

    level_first: IntArray
    level_unit: IntArray
    level_loss: IntArray
    level_strokes: IntArray
    unit_first: IntArray
    skip_loss: IntArray
    way_enter: IntArray
    way_leave: IntArray
    way_lo: IntArray
    way_hi: IntArray
    way_ms: IntArray
    travel: IntArray
    length: IntArray
    phase_from: IntArray
    bag: IntArray
    bag_gone: IntArray
    cartridge: IntArray
    gun_left: IntArray
    start_ms: IntArray
    way_id: IntArray
    point_id: IntArray


def crew_arrays(problem: CrewProblem) -> CrewArrays:
    """Sort, window and renumber; a technician that cannot reach the finish is nobody's concern."""
    order, level_of = _sorted_ways(problem)
    level_unit, level_loss, level_strokes = _levels(problem, order, level_of)
    enter, leave, lo, hi, way_ms = _all_ways(problem, order)
    points, inverse = points_in_order(enter, leave)
    travel = np.stack([problem.travel_ms, *(f.travel_ms for f in problem.phases)])
    lengths = [
        f.length_mm if f.length_mm is not None else problem.length_mm for f in problem.phases
    ]
    length = np.stack([problem.length_mm, *lengths])
    counts = np.bincount(level_of, minlength=level_unit.size)
    tail = [problem.store_points.size, *([1] * (2 * problem.technicians))]
    laid = CrewArrays(
        level_first=bounds(np.concatenate([counts, np.array(tail, dtype=np.int64)])),
        level_unit=level_unit,
        level_loss=level_loss,
        level_strokes=level_strokes,
        unit_first=bounds(np.bincount(level_unit, minlength=problem.units)),
        skip_loss=problem.skip_loss,
        way_enter=inverse[enter],
        way_leave=inverse[leave],
        way_lo=lo,
        way_hi=hi,
        way_ms=way_ms,
        travel=submatrix(np.where(travel < 0, FAR_MS, travel), points),
        length=submatrix(np.maximum(length, 0), points),
        phase_from=np.array([0, *(f.from_ms for f in problem.phases)], dtype=np.int64),
        bag=problem.bag_cartridges,
        bag_gone=problem.bag_cartridges - _or(problem.bag_at_start, problem.bag_cartridges),
        cartridge=problem.cartridge_strokes,
        gun_left=_or(problem.gun_left_strokes, np.zeros_like(problem.cartridge_strokes)),
        start_ms=problem.start_ms,
        way_id=order,
        point_id=points,
    )
    return for_kernels(laid)


def for_kernels(laid: CrewArrays) -> CrewArrays:
    """Own, contiguous and writable copies: one type for every kernel argument, compiled once."""
    return CrewArrays(*(np.array(array, dtype=np.int64, order="C") for array in laid))


def level_of_each_way(arrays: CrewArrays) -> IntArray:
    """The level of every kernel way that serves a unit."""
    levels = arrays.level_unit.size
    sizes = np.diff(arrays.level_first[: levels + 1])
    return np.repeat(np.arange(levels), sizes).astype(np.int64)


def _sorted_ways(problem: CrewProblem) -> tuple[IntArray, IntArray]:
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


def _levels(
    problem: CrewProblem, order: IntArray, level_of: IntArray
) -> tuple[IntArray, IntArray, IntArray]:
    first = np.flatnonzero(np.diff(level_of, prepend=-1))
    ways = order[first]
    return problem.way_unit[ways], problem.way_loss[ways], problem.way_strokes[ways]


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


def _all_ways(
    problem: CrewProblem, order: IntArray
) -> tuple[IntArray, IntArray, IntArray, IntArray, IntArray]:
    n_tech, stores = problem.technicians, problem.store_points
    ends = np.concatenate([stores, problem.start_point, problem.finish_point])
    window = way_windows(problem)[order]
    always = np.zeros(stores.size, dtype=np.int64)
    lo = [window[:, 0], always, problem.start_ms, np.zeros(n_tech, dtype=np.int64)]
    no_limit = np.full(stores.size + n_tech, NO_LIMIT_MS, dtype=np.int64)
    hi = [window[:, 1], no_limit, problem.end_ms]
    standing = np.zeros((n_tech, ends.size), dtype=np.int64)
    standing[:, : stores.size] = problem.reload_ms
    return (
        np.concatenate([problem.way_enter[order], ends]),
        np.concatenate([problem.way_leave[order], ends]),
        np.concatenate(lo),
        np.concatenate(hi),
        np.concatenate([usable_way_ms(problem)[:, order], standing], axis=1),
    )


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


def _or(array: IntArray | None, other: IntArray) -> IntArray:
    return other if array is None else array
