"""A week levelled by the minutes of its real rounds: joints moved while the longest gets shorter.

The levelling reckons with usual walks. Where rounds take little time to plan, its answer is taken
as a beginning: one joint, or two, are given other mornings of their tolerance, the rounds that
changes are planned, and what shortens the longest morning is kept. What is tried first is told by
a line fitted to the rounds known so far.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import chain, islice

import numpy as np

from greaseroute.forecast.joints import FloatArray
from greaseroute.forecast.level_week import (
    LevelWeek,
    Service,
    chain_problem,
    services_of,
    week_of,
)
from greaseroute.forecast.week_rounds import PlanMornings, asked_of
from greaseroute.forecast.windows import BEFORE, Course, CourseMaker
from greaseroute.site.model import Site
from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.cp.chains import loads
from greaseroute.units import S_PER_MIN
from greaseroute.visits.estimate import visit_seconds

Path = tuple[int, ...]  # the mornings of one joint
Rows = frozenset[int]

MOST_PATHS = 30  # of one joint
MOST_FOR_PAIRS = 80  # paths of all joints together up to which two are moved at once
LEAST_MIN = 0.01  # a longest morning shorter by less is no shorter
HOPE_MIN = 0.1  # how much the fitted line may be wrong about what is tried
TRUST = 0.05  # weight of what was reckoned beside one known round


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """Rounds planned on trial, ``most`` of them."""

    plan: PlanMornings
    most: int


@dataclass(eq=False)
class _Known:
    """Joints left out and minutes of each round known so far, by morning and joints."""

    maker: CourseMaker
    visit_s: FloatArray
    trial: Trial
    found: dict[tuple[int, Rows], tuple[int, float]] = field(default_factory=dict)
    planned: int = 0

    def plan(self, day: int, services: Sequence[Service]) -> None:
        """The round of a morning, where it is not known."""
        key = day, frozenset(s.row for s in services)
        if key in self.found or not services:
            return
        (done,) = self.trial.plan([asked_of(self.maker, day, services)])
        spent = sum(t.walk_s + t.wait_s + t.work_s for t in done.technicians)
        self.found[key] = len(done.left), spent / S_PER_MIN
        self.planned += 1

    def of(self, day: int, rows: Rows) -> tuple[int, float]:
        """What is known of a morning: (joints left out, minutes)."""
        return self.found[day, rows] if rows else (0, 0.0)

    def told(self, line: FloatArray, day: int, rows: Rows) -> float:
        """Minutes of a morning: as known, or by the line."""
        if not rows or (day, rows) in self.found:
            return self.of(day, rows)[1]
        return float(self.parts(rows) @ line)

    def line(self) -> FloatArray:
        """Minutes of each joint and then of each visit: as reckoned, drawn to the known rounds."""
        # Least squares with the reckoned values as further, lighter rows.
        prior = np.array([*(s.work_s for s in self.maker.rows.services), *self.visit_s]) / S_PER_MIN
        table = np.array([self.parts(rows) for _, rows in self.found])
        minutes = np.array([spent for _, spent in self.found.values()])
        light = TRUST * np.eye(len(prior))
        both = np.vstack([table, light]), np.concatenate([minutes, TRUST * prior])
        return np.asarray(np.linalg.lstsq(*both, rcond=None)[0])

    def parts(self, rows: Rows) -> FloatArray:
        """(N + U,) which joints, and which units' visits, a morning holds."""
        count, mine = len(self.maker.rows), sorted(rows)
        held = np.zeros(count + len(self.visit_s))
        held[mine] = 1.0
        held[count + self.maker.rows.unit[mine]] = 1.0
        return held


@dataclass(frozen=True, eq=False)
class _Week:
    """The mornings of every joint."""

    courses: Mapping[int, Course]
    paths: Mapping[int, Path]
    days: int

    @cached_property
    def sets(self) -> tuple[Rows, ...]:
        """The joints of each morning."""
        mine = [[r for r, path in self.paths.items() if d in path] for d in range(self.days)]
        return tuple(frozenset(rows) for rows in mine)

    def moved(self, changes: Mapping[int, Path]) -> "_Week":
        """The same with other mornings for some joints."""
        return _Week(self.courses, {**self.paths, **changes}, self.days)

    def services(self, day: int | None = None) -> list[Service]:
        """All services, or those of one morning, in the order of joints and mornings."""
        every = (s for r in sorted(self.paths) for s in services_of(self.courses[r], self.paths[r]))
        return [s for s in every if day is None or s.day == day]

    def worth(self, known: _Known) -> tuple[int, float]:
        """(joints left out, longest morning) as walked; every morning has to be known."""
        each = [known.of(day, rows) for day, rows in enumerate(self.sets)]
        return sum(left for left, _ in each), max(spent for _, spent in each)


def level_walked(
    site: Site, maker: CourseMaker, level: LevelWeek, *, capacity_ms: IntArray, trial: Trial
) -> LevelWeek:
    """The same with the shortest longest morning that is found, no service outside its tolerance.

    No more than ``trial.most`` rounds are planned beside those of the beginning. The same comes
    back where nothing is better, and where joints go together or are late for want of room.
    """
    courses = maker.courses(apart=True)
    begun = level.answer.mornings
    if len(courses) != len(begun) or level.late or (level.answer.load_ms > capacity_ms).any():
        return level
    rows = (course.rows[0] for course in courses)
    paths = dict(zip(rows, begun, strict=True))
    known = _Known(maker, visit_seconds(site), trial)
    best = _Week(dict(zip(paths, courses, strict=True)), paths, len(capacity_ms))
    _walk(best, known)
    most = known.planned + trial.most
    while known.planned < most and (better := _better(best, known, most=most)) is not None:
        best = better
    problem = chain_problem(site, maker.rows, courses, capacity_ms=capacity_ms)
    mornings = tuple(best.paths.values())
    load_ms, visits = loads(problem, mornings)
    if mornings == begun or (load_ms > capacity_ms).any():
        return level
    answer = replace(level.answer, mornings=mornings, load_ms=load_ms, visits=visits,
                     status="bounded")  # fmt: skip
    return week_of(problem, courses, answer)


def _walk(week: _Week, known: _Known) -> None:
    for day in range(week.days):
        known.plan(day, week.services(day))


def _better(week: _Week, known: _Known, *, most: int) -> _Week | None:
    """The first change that shortens the longest morning, likely ones first; None without one."""
    now, line = week.worth(known), known.line()
    likely = []
    for changes in _changes(week, known):
        other = week.moved(changes)
        told = max(known.told(line, day, rows) for day, rows in enumerate(other.sets))
        if told < now[1] + HOPE_MIN:
            likely.append((told, sorted(changes.items()), other))
    for _, _, other in sorted(likely, key=lambda each: each[:2]):
        if known.planned >= most:
            return None
        _walk(other, known)
        left, longest = other.worth(known)
        if left <= now[0] and longest < now[1] - LEAST_MIN:
            return other
    return None


def _changes(week: _Week, known: _Known) -> Iterator[dict[int, Path]]:
    """Other mornings for one joint of the longest morning, and for any second joint as well."""
    spent = [known.of(day, rows)[1] for day, rows in enumerate(week.sets)]
    longest = int(np.argmax(spent))
    every = {row: list(islice(_paths(course), MOST_PATHS)) for row, course in week.courses.items()}
    pairs = sum(map(len, every.values())) <= MOST_FOR_PAIRS
    for row in sorted(week.sets[longest]):
        for path in every[row]:
            if longest in path:
                continue
            yield {row: path}
            for second in (r for r in every if pairs and r != row):
                yield from ({row: path, second: p} for p in every[second]
                            if p != week.paths[second])  # fmt: skip


def _paths(course: Course, at: int = BEFORE) -> Iterator[Path]:
    """Every choice of mornings for one joint from a service on."""
    ends = max(chain.from_iterable(arcs.to for arcs in course.arcs.values()))
    for day in course.arcs[at].to:
        if day == ends:
            yield ()
        else:
            yield from ((day, *rest) for rest in _paths(course, day))
