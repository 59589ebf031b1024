"""Which service on which morning: least left out, shortest longest morning, fewest visits.

Integers only: no unit, no joint, no clock. Solved by CP-SAT in three steps, each step keeping
what the one before it reached; with one worker and a count-like limit it repeats exactly.
"""

from dataclasses import dataclass

import numpy as np
from ortools.sat.python import cp_model

from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.cp.levelling import (
    LEFT_OUT,
    Levelling,
    LevellingProblem,
    bundled,
    check,
    fewest_visits,
    loads,
    span_bound_ms,
    spread,
    visits_within,
)
from greaseroute.solvers.cp.step import set_hints, solved

FEW = 150  # services; up to so many each is free to go its own way, above, bundles are kept


class _LevellingModel:
    """Variables and constraints, one rule a method; each step sets its own objective."""

    def __init__(self, problem: LevellingProblem, *, lower_ms: int, leave_out: bool) -> None:
        self.problem = problem
        self.leave_out = leave_out
        self.lower_ms = lower_ms
        self.model = cp_model.CpModel()
        self.serve: list[dict[int, cp_model.IntVar]] = []
        self.visit: dict[tuple[int, int], cp_model.IntVar] = {}
        self._each_service_once_or_left_out()
        self._a_service_needs_a_visit()
        self._no_morning_overruns()
        # Counts of visits by the windows hold only where nothing is left out.
        if not leave_out:
            self._as_many_visits_as_the_windows_ask()

    def _each_service_once_or_left_out(self) -> None:
        """One morning inside its window, or none where leaving out is allowed."""
        for i in range(len(self.problem.work_ms)):
            days = range(int(self.problem.first[i]), int(self.problem.last[i]) + 1)
            row = {day: self.model.new_bool_var(f"s{i}_{day}") for day in days}
            if self.leave_out:
                self.model.add_at_most_one(row.values())
            else:
                self.model.add_exactly_one(row.values())
            self.serve.append(row)

    def _a_service_needs_a_visit(self) -> None:
        """A unit is visited on each morning on which one of its services is done."""
        for i, row in enumerate(self.serve):
            unit = int(self.problem.unit[i])
            for day, var in row.items():
                if (unit, day) not in self.visit:
                    self.visit[unit, day] = self.model.new_bool_var(f"v{unit}_{day}")
                self.model.add_implication(var, self.visit[unit, day])

    def _no_morning_overruns(self) -> None:
        """Work and visits of a morning stay within its time."""
        capacity = self.problem.capacity_ms
        self.longest = self.model.new_int_var(self.lower_ms, int(capacity.max()), "longest")
        for day, limit in enumerate(capacity):
            load = self.load(day)
            self.model.add(load <= int(limit))
            self.model.add(load <= self.longest)

    def _as_many_visits_as_the_windows_ask(self) -> None:
        """What no assignment can go below; it follows from the rest, and proves bounds early."""
        for (unit, a, b), count in visits_within(self.problem).items():
            inside = [self.visit[unit, d] for d in range(a, b + 1) if (unit, d) in self.visit]
            self.model.add(cp_model.LinearExpr.sum(inside) >= count)

    def load(self, day: int) -> cp_model.LinearExprT:
        """Work and visits of one morning."""
        # Services that may be done on this morning, and the units visited on it.
        work = [
            (row[day], int(self.problem.work_ms[i]))
            for i, row in enumerate(self.serve)
            if day in row
        ]
        visits = [
            (var, int(self.problem.visit_ms[unit]))
            for (unit, d), var in self.visit.items()
            if d == day
        ]
        terms = work + visits
        return cp_model.LinearExpr.weighted_sum([v for v, _ in terms], [c for _, c in terms])

    def left_weight(self) -> cp_model.LinearExprT:
        """Weight of the services left out."""
        total = int(self.problem.weight.sum())
        pairs = [
            (v, int(self.problem.weight[i])) for i, r in enumerate(self.serve) for v in r.values()
        ]
        done = cp_model.LinearExpr.weighted_sum([v for v, _ in pairs], [w for _, w in pairs])
        return total - done

    def visits(self) -> cp_model.LinearExprT:
        """Number of visits."""
        return cp_model.LinearExpr.sum(list(self.visit.values()))


@dataclass(frozen=True, slots=True)
class _Assigned:
    """An assignment (N,), what it reached and what is proved."""

    value: int
    bound: int
    proved: bool
    morning: IntArray


def _hint(model: _LevellingModel, morning: IntArray) -> None:
    """Begin with an assignment, and with the visits it needs."""
    used = {(int(u), int(d)) for u, d in zip(model.problem.unit, morning, strict=True)}
    served = [
        (var, bool(morning[i] == day))
        for i, row in enumerate(model.serve)
        for day, var in row.items()
    ]
    set_hints(model.model, served + [(var, key in used) for key, var in model.visit.items()])


def _minimise(
    model: _LevellingModel, goal: cp_model.LinearExprT, *, work: float, seed: int
) -> _Assigned | None:
    """Best value of ``goal`` found with the given amount of work; None where none was found."""
    model.model.minimize(goal)
    step = solved(model.model, work=work, seed=seed)
    if step is None:
        return None
    # The assignment is read off the services; a service without a morning is left out.
    morning = np.full(len(model.serve), LEFT_OUT, dtype=np.int64)
    for i, row in enumerate(model.serve):
        for day, var in row.items():
            if step.solver.value(var):
                morning[i] = day
    return _Assigned(step.value, min(step.value, step.bound), step.proved, morning)


def _empty(problem: LevellingProblem) -> Levelling:
    zero = np.zeros(len(problem.capacity_ms), dtype=np.int64)
    return Levelling(np.zeros(0, dtype=np.int64), zero, 0, 0, 0, 0, 0, "optimal")


@dataclass(frozen=True, slots=True)
class _Found:
    """An assignment and what was proved of it."""

    morning: IntArray
    lower_ms: int
    proved: bool


def _shorten(model: _LevellingModel, start: IntArray, *, work: float, seed: int) -> _Found:
    """The shortest longest morning, then the fewest visits, from an assignment that is allowed."""
    # The longest morning; its value is then held.
    _hint(model, start)
    first = _minimise(model, model.longest, work=work, seed=seed)
    if first is None:
        return _Found(start, model.lower_ms, False)
    # The visits.
    model.model.add(model.longest <= first.value)
    _hint(model, first.morning)
    fewest = _minimise(model, model.visits(), work=work, seed=seed)
    if fewest is None:
        return _Found(first.morning, first.bound, False)
    return _Found(fewest.morning, first.bound, first.proved and fewest.proved)


def _all_served(problem: LevellingProblem, start: IntArray, *, work: float, seed: int) -> _Found:
    """Where all can be served: bundles first, then each service free where there are few."""
    # Bundles: far fewer variables, and rarely worse.
    lower_ms = span_bound_ms(problem)
    tied, bundle = bundled(problem)
    found = _Found(start, lower_ms, False)
    tied_start = spread(tied)
    if (tied_start != LEFT_OUT).all():
        model = _LevellingModel(tied, lower_ms=lower_ms, leave_out=False)
        tied_found = _shorten(model, tied_start, work=work, seed=seed)
        found = _Found(tied_found.morning[bundle], lower_ms, False)
    # Services on their own, from what the bundles gave.
    if len(problem.work_ms) > FEW and found.morning is not start:
        return found
    model = _LevellingModel(problem, lower_ms=lower_ms, leave_out=False)
    return _shorten(model, found.morning, work=work, seed=seed)


def _some_left(problem: LevellingProblem, start: IntArray, *, work: float, seed: int) -> _Found:
    """Where the quick assignment left some out: the least weight first."""
    model = _LevellingModel(problem, lower_ms=0, leave_out=True)
    _hint(model, start)
    # The least weight left out; where nothing need be, the model without leaving out is closer.
    least = _minimise(model, model.left_weight(), work=work, seed=seed)
    if least is None:
        return _Found(start, 0, False)
    if least.value == 0:
        return _all_served(problem, least.morning, work=work, seed=seed)
    # No more weight than that, and the other two wishes.
    model.model.add(model.left_weight() <= least.value)
    found = _shorten(model, least.morning, work=work, seed=seed)
    return _Found(found.morning, found.lower_ms, found.proved and least.proved)


def level(problem: LevellingProblem, *, seed: int = 1, work: float = 1.0) -> Levelling:
    """Assign every service to a morning of its window.

    Lexicographic: least weight left out, shortest longest morning, fewest visits.

    Parameters
    ----------
    problem : LevellingProblem
    seed : int
        Random seed of CP-SAT.
    work : float
        CP-SAT's deterministic time for each step (about seconds).

    Returns
    -------
    Levelling
        With what is proved about the longest morning and the visits.

    Raises
    ------
    UnfitProblem
        As `check`.
    """
    check(problem)
    if len(problem.work_ms) == 0:
        return _empty(problem)
    start = spread(problem)
    search = _some_left if (start == LEFT_OUT).any() else _all_served
    return _answer(problem, search(problem, start, work=work, seed=seed))


def _answer(problem: LevellingProblem, found: _Found) -> Levelling:
    # Told from the assignment itself, not from the model.
    load, visits = loads(problem, found.morning)
    longest = int(load.max())
    # Bounds by hand may prove what the solver had no time to prove.
    fewest = 0 if (found.morning == LEFT_OUT).any() else fewest_visits(problem)
    met = longest <= found.lower_ms and visits <= fewest
    return Levelling(
        morning=found.morning,
        load_ms=load,
        longest_ms=longest,
        visits=visits,
        left_weight=int(problem.weight[found.morning == LEFT_OUT].sum()),
        lower_ms=min(longest, found.lower_ms),
        fewest_visits=fewest,
        status="optimal" if found.proved or met else "bounded",
    )
