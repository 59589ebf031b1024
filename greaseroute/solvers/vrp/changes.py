"""Cartridge changes as shares: what bounds count that cannot see whole cartridges.

After s strokes of a kind at least (s - left) / n cartridges have been put in, for a gun that held
``left`` strokes at the start and n strokes a cartridge. So each stroke costs its share of a change,
and what the guns held is given back at the start: a technician begins the earlier.
"""

from dataclasses import replace

import numpy as np

from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.solvers.vrp.bag import at_start
from greaseroute.solvers.vrp.layout import usable_way_ms
from greaseroute.solvers.vrp.problem import CANNOT, NO_LIMIT_MS, CrewProblem

EPSILON = 1e-6  # ms: sums of products in floating point are rounded to the safe side


def changes_take_time(problem: CrewProblem) -> bool:
    """Whether putting in a cartridge takes time."""
    return problem.change_ms is not None and bool(problem.change_ms.any())


def with_shares(problem: CrewProblem, who: IntArray, ways: IntArray) -> tuple[CrewProblem, int]:
    """The problem in which strokes take their share of a change and changes no time.

    Any plan in which ``who`` visit units by some of ``ways`` is one of that problem, every moment
    later by what is answered as well (ms).
    """
    if problem.change_ms is None or not changes_take_time(problem):
        return problem, 0
    # a stroke's share is rounded down, what guns spare is rounded up
    rates = problem.change_ms / problem.cartridge_strokes
    share = np.floor(rates @ problem.way_strokes.T - EPSILON).astype(np.int64)
    spared = np.zeros(problem.technicians, dtype=np.int64)
    spared[who] = _spared_ms(problem, who, ways=ways, rates=rates)
    most = int(spared.max())
    ways_open, at_hand = problem.way_window_ms, problem.operator_ms
    way_ms = np.where(problem.way_ms >= 0, problem.way_ms + np.maximum(0, share), CANNOT)
    shared = replace(
        problem,
        way_ms=way_ms.astype(np.int64),
        change_ms=None,
        # windows open as early as for one whose guns hold nothing, and close with the shift
        start_ms=problem.start_ms + most - spared,
        end_ms=problem.end_ms + most,
        window_ms=_closing_later(problem.window_ms, most),
        way_window_ms=None if ways_open is None else _closing_later(ways_open, most),
        operator_ms=None if at_hand is None else _closing_later(at_hand, most),
    )
    return shared, most


def _spared_ms(
    problem: CrewProblem, who: IntArray, *, ways: IntArray, rates: FloatArray
) -> IntArray:
    """(who,) what the guns hold at the start spares at most: of guns that some way asks for."""
    _, left = at_start(problem)
    asked = (usable_way_ms(problem)[:, ways] >= 0).astype(np.int64) @ problem.way_strokes[ways]
    # a gun that no way asks for spares nothing
    used = np.minimum(left, asked)[who]
    spared = np.ceil((used * rates[who]).sum(axis=1) + EPSILON).astype(np.int64)
    return np.where(used.any(axis=1), spared, 0)


def _closing_later(window_ms: IntArray, more_ms: int) -> IntArray:
    """Windows that close later; who has no end has none."""
    closing = window_ms.copy()
    closing[:, 1] = np.minimum(NO_LIMIT_MS, window_ms[:, 1] + more_ms)
    return closing
