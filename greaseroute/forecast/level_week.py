"""Services and mornings as the levelling's integers, and its answer back as mornings."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.forecast.joints import JointRows
from greaseroute.forecast.windows import DueService
from greaseroute.site.model import Site
from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.cp.levelling import LEFT_OUT, Levelling, LevellingProblem, loads
from greaseroute.solvers.cp.levelling_model import level
from greaseroute.units import ms
from greaseroute.visits.estimate import visit_seconds

WEIGHT_UNIT = 100


@dataclass(frozen=True, slots=True, eq=False)
class LevelWeek:
    """The answer for the week: ``morning`` of each service, ``LEFT_OUT`` where none had room.

    ``late`` are services put back beyond their window for want of room.
    """

    problem: LevellingProblem
    answer: Levelling
    due_load_ms: IntArray
    due_visits: int
    late: tuple[int, ...]


def _weight(rows: JointRows, service: DueService) -> int:
    item = rows.items[service.row]
    return max(1, round(WEIGHT_UNIT * item.critical * max(1.0, min(item.overdue_ratio, 20.0))))


def levelling_problem(
    site: Site, rows: JointRows, services: Sequence[DueService], *, capacity_ms: IntArray
) -> LevellingProblem:
    """The week's services as integers."""

    def column(values: Sequence[int]) -> IntArray:
        return np.array(values, dtype=np.int64)

    return LevellingProblem(
        work_ms=column([ms(rows.services[s.row].work_s) for s in services]),
        unit=column([int(rows.unit[s.row]) for s in services]),
        first=column([s.first for s in services]),
        last=column([s.last for s in services]),
        weight=column([_weight(rows, s) for s in services]),
        visit_ms=column([ms(s) for s in visit_seconds(site)]),
        capacity_ms=capacity_ms,
    )


def _put_back(problem: LevellingProblem, answer: Levelling) -> LevellingProblem:
    """The windows of what had no room opened to the end of the span."""
    left = answer.morning == LEFT_OUT
    last = np.where(left, len(problem.capacity_ms) - 1, problem.last)
    return replace(problem, last=last)


def level_week(
    site: Site,
    rows: JointRows,
    services: Sequence[DueService],
    *,
    capacity_ms: IntArray,
    seed: int = 1,
    work: float = 1.0,
) -> LevelWeek:
    """Give every service a morning of its window; what has no room there is put back as little as
    the mornings allow, and said to be late."""
    problem = levelling_problem(site, rows, services, capacity_ms=capacity_ms)
    answer = level(problem, seed=seed, work=work)
    if (answer.morning == LEFT_OUT).any():
        answer = level(_put_back(problem, answer), seed=seed, work=work)
    late = np.flatnonzero(answer.morning > problem.last)
    due = np.array([s.due for s in services], dtype=np.int64)
    due_load, due_visits = loads(problem, due)
    return LevelWeek(problem, answer, due_load, due_visits, tuple(int(i) for i in late))
