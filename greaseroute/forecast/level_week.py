"""Courses and mornings as the levelling's integers, and its answer back as services."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.forecast.joints import JointRows
from greaseroute.forecast.windows import BEFORE, Course, CourseMaker
from greaseroute.site.model import Site
from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.cp.chains import Chain, ChainProblem, Levelled, loads
from greaseroute.solvers.cp.chains_model import level
from greaseroute.units import ms
from greaseroute.visits.estimate import visit_seconds

WEIGHT_UNIT = 100
FEW_JOINTS = 150  # up to so many each joint goes its own way; above, those greased together stay


@dataclass(frozen=True, slots=True)
class Service:
    """One service of joint ``row`` on morning ``day``, after one on morning ``begun``.

    ``due``: the first morning on which it is owed (D: after the span). ``over``: no morning keeps
    its tolerance; ``late``: for want of room; ``backlog``: over already when the week begins.
    """

    row: int
    day: int
    begun: int
    due: int
    over: bool = False
    late: bool = False
    backlog: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class LevelWeek:
    """The answer for the week: every service, the loads, beside greasing each joint when due.

    ``cannot`` are joints whose next service, after the last one in the span, is over too.
    """

    answer: Levelled
    services: tuple[Service, ...]
    due_load_ms: IntArray
    due_visits: int
    late: tuple[int, ...]
    cannot: tuple[int, ...]


def _weight(rows: JointRows, mine: Sequence[int]) -> int:
    item = rows.items[mine[0]]
    weight = WEIGHT_UNIT * item.critical * max(1.0, min(item.overdue_ratio, 20.0))
    return max(1, round(weight)) * len(mine)


def chain_problem(
    site: Site, rows: JointRows, courses: Sequence[Course], *, capacity_ms: IntArray
) -> ChainProblem:
    """The week's courses as integers."""
    chains = tuple(
        Chain(
            unit=course.unit,
            work_ms=sum(ms(rows.services[row].work_s) for row in course.rows),
            weight=_weight(rows, course.rows),
            arcs={b: arcs.to for b, arcs in course.arcs.items()},
            late=course.late,
        )
        for course in courses
    )
    visit_ms = np.array([ms(s) for s in visit_seconds(site)], dtype=np.int64)
    return ChainProblem(chains, visit_ms, capacity_ms, any(len(c.rows) > 1 for c in courses))


def level_week(
    site: Site,
    maker: CourseMaker,
    *,
    capacity_ms: IntArray,
    seed: int = 1,
    work: float = 1.0,
) -> LevelWeek:
    """Give every service a morning of its tolerance; what has no room there is put back as little
    as the mornings allow, and said to be late."""
    rows, apart = maker.rows, len(maker.rows) <= FEW_JOINTS
    courses = maker.courses(apart=apart)
    problem = chain_problem(site, rows, courses, capacity_ms=capacity_ms)
    answer = level(problem, seed=seed, work=work)
    if (answer.load_ms > capacity_ms).any():
        courses = maker.courses(apart=apart, relief=True)
        problem = chain_problem(site, rows, courses, capacity_ms=capacity_ms)
        answer = level(problem, seed=seed, work=work)
    return week_of(problem, courses, answer)


def week_of(problem: ChainProblem, courses: Sequence[Course], answer: Levelled) -> LevelWeek:
    """The services of an answer, beside greasing each joint when due."""
    on_due = [_due_path(course, problem.days) for course in courses]
    due_load, due_visits = loads(problem, on_due)
    services = sorted(
        (s for course, mine in zip(courses, answer.mornings, strict=True)
         for s in services_of(course, mine)),
        key=lambda s: (s.row, s.day),
    )  # fmt: skip
    ends = [(c, (BEFORE, *mine)[-1]) for c, mine in zip(courses, answer.mornings, strict=True)]
    cannot = [row for c, last in ends if c.arcs[last].over for row in c.rows]
    late = tuple(row for k in answer.late for row in courses[k].rows)
    return LevelWeek(answer, tuple(services), due_load, due_visits, late, tuple(sorted(cannot)))


def services_of(course: Course, mornings: Sequence[int]) -> list[Service]:
    """The services of a course on the mornings chosen, joint by joint."""
    found = []
    for begun, day in zip([BEFORE, *mornings], mornings, strict=False):
        arcs = course.arcs[begun]
        late = day not in arcs.to
        found += [
            Service(row, day, begun, arcs.due, over=arcs.over, late=late, backlog=arcs.backlog)
            for row in course.rows
        ]
    return found


def _due_path(course: Course, days: int) -> tuple[int, ...]:
    """The mornings of a course that is served when it falls due, as far as its arcs allow."""
    mine, at = list[int](), BEFORE
    while True:
        arcs = course.arcs[at]
        options = [m for m in arcs.to if m <= max(arcs.due, min(arcs.to))]
        at = max(options)
        if at >= days:
            return tuple(mine)
        mine.append(at)
