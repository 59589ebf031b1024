"""Which service on which morning: least left out, shortest longest morning, fewest visits.

Integers only: no unit, no joint, no clock. Solved by CP-SAT in three steps, each step keeping
what the one before it reached; with one worker and a count-like limit it repeats exactly.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from greaseroute.errors import UnfitProblem

IntArray = NDArray[np.int64]
Status = Literal["optimal", "bounded"]

LEFT_OUT = -1
LARGEST = 2**53


@dataclass(frozen=True, slots=True, eq=False)
class LevellingProblem:
    """N services of U units on D mornings.

    Attributes
    ----------
    work_ms : (N,)
        Time of a service, above zero.
    unit : (N,)
        Its unit, 0 to U - 1.
    first, last : (N,)
        The first and last morning it may be done on.
    weight : (N,)
        Weight lost where it is left out, above zero.
    visit_ms : (U,)
        Time of a visit whatever is done there: isolation, and the share of the walk.
    capacity_ms : (D,)
        Time there is on each morning.
    """

    work_ms: IntArray
    unit: IntArray
    first: IntArray
    last: IntArray
    weight: IntArray
    visit_ms: IntArray
    capacity_ms: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Levelling:
    """The answer: ``morning`` (N,) with ``LEFT_OUT``; ``load_ms`` (D,); what is proved.

    ``lower_ms``: no assignment that leaves out no more weight has a shorter longest morning.
    ``status`` is "optimal" where all three steps were proved.
    """

    morning: IntArray
    load_ms: IntArray
    longest_ms: int
    visits: int
    left_weight: int
    lower_ms: int
    status: Status


def loads(problem: LevellingProblem, morning: IntArray) -> tuple[IntArray, int]:
    """Time (D,) of each morning and the number of visits, of any assignment ``morning`` (N,)."""
    load = np.zeros(len(problem.capacity_ms), dtype=np.int64)
    done = morning != LEFT_OUT
    np.add.at(load, morning[done], problem.work_ms[done])
    visits = sorted(
        {(int(u), int(d)) for u, d in zip(problem.unit, morning, strict=True) if d >= 0}
    )
    for unit, day in visits:
        load[day] += problem.visit_ms[unit]
    return load, len(visits)


def _refuse(what: str, value: str, *, limit: str) -> None:
    raise UnfitProblem(
        f"levelling: {what}", value, limit=limit, next_step="mend the caller, not the data"
    )


def check(problem: LevellingProblem) -> None:
    """Raise ``UnfitProblem`` for arrays that are ragged, out of range, or too large to add up."""
    n, days, units = len(problem.work_ms), len(problem.capacity_ms), len(problem.visit_ms)
    for name in ("unit", "first", "last", "weight"):
        if getattr(problem, name).shape != (n,):
            _refuse(name, str(getattr(problem, name).shape), limit=f"({n},)")
    if days == 0:
        _refuse("capacity_ms", "no mornings", limit="one or more")
    for name, low, high in (("unit", 0, units - 1), ("first", 0, days - 1), ("last", 0, days - 1)):
        values = getattr(problem, name)
        if n and not (low <= values.min() and values.max() <= high):
            _refuse(name, f"{values.min()} to {values.max()}", limit=f"{low} to {high}")
    if n and (problem.first > problem.last).any():
        _refuse("first", "after last", limit="first <= last")
    _check_amounts(problem)


def _check_amounts(problem: LevellingProblem) -> None:
    for name, low in (("work_ms", 1), ("weight", 1), ("visit_ms", 0), ("capacity_ms", 0)):
        values = getattr(problem, name)
        if len(values) and values.min() < low:
            _refuse(name, str(values.min()), limit=f"{low} or more")
        if values.sum(dtype=object) * max(1, len(problem.capacity_ms)) > LARGEST:
            _refuse(name, f"sum {values.sum(dtype=object)}", limit="sums below 2**53")


def span_bound_ms(problem: LevellingProblem, kept: NDArray[np.bool_]) -> int:
    """A bound by hand: the services confined to mornings a..b share b - a + 1 mornings.

    Work and one visit for each unit among them, over the mornings, rounded up; the best over all
    spans. Holds for every assignment that serves all of ``kept`` (N,).
    """
    best = 0
    days = len(problem.capacity_ms)
    for a in range(days):
        for b in range(a, days):
            inside = kept & (problem.first >= a) & (problem.last <= b)
            work = int(problem.work_ms[inside].sum())
            work += int(problem.visit_ms[np.unique(problem.unit[inside])].sum())
            best = max(best, -(-work // (b - a + 1)))
    return best


class _Model:
    """Variables and constraints, one rule a method; each step sets its own objective."""

    def __init__(self, problem: LevellingProblem) -> None:
        self.problem = problem
        self.model = cp_model.CpModel()
        self.serve: list[dict[int, cp_model.IntVar]] = []
        self.visit: dict[tuple[int, int], cp_model.IntVar] = {}
        self._each_service_once_or_left_out()
        self._a_service_needs_a_visit()
        self._no_morning_overruns()

    def _each_service_once_or_left_out(self) -> None:
        """One morning inside its window, or none."""
        for i in range(len(self.problem.work_ms)):
            days = range(int(self.problem.first[i]), int(self.problem.last[i]) + 1)
            row = {day: self.model.new_bool_var(f"s{i}_{day}") for day in days}
            self.model.add_at_most_one(row.values())
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
        self.longest = self.model.new_int_var(0, int(capacity.max()), "longest")
        for day, limit in enumerate(capacity):
            load = self.load(day)
            self.model.add(load <= int(limit))
            self.model.add(load <= self.longest)

    def load(self, day: int) -> cp_model.LinearExprT:
        """Work and visits of one morning."""
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


@dataclass(slots=True)
class _Step:
    """What one step of the solve reached."""

    value: int
    bound: int
    proved: bool
    morning: IntArray


def _hint(model: _Model, morning: IntArray) -> None:
    model.model.clear_hints()  # type: ignore[no-untyped-call]
    for i, row in enumerate(model.serve):
        for day, var in row.items():
            model.model.add_hint(var, int(morning[i] == day))
    used = {(int(u), int(d)) for u, d in zip(model.problem.unit, morning, strict=True)}
    for key, var in model.visit.items():
        model.model.add_hint(var, int(key in used))


def _solver(work: float, seed: int) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed % 2**31
    solver.parameters.max_deterministic_time = work
    return solver


def _minimise(model: _Model, goal: cp_model.LinearExprT, *, work: float, seed: int) -> _Step | None:
    """Best value of ``goal`` found with the given amount of work; None where none was found."""
    model.model.minimize(goal)
    solver = _solver(work, seed)
    status = solver.solve(model.model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    morning = np.full(len(model.serve), LEFT_OUT, dtype=np.int64)
    for i, row in enumerate(model.serve):
        for day, var in row.items():
            if solver.value(var):
                morning[i] = day
    value = round(solver.objective_value)
    bound = min(value, round(solver.best_objective_bound))
    return _Step(value, bound, status == cp_model.OPTIMAL, morning)


def spread(problem: LevellingProblem) -> IntArray:
    """A quick assignment by hand: each service, fewest mornings and longest first, where it costs
    least; left out where no morning of its window has room."""
    days = len(problem.capacity_ms)
    load = np.zeros(days, dtype=np.int64)
    seen: set[tuple[int, int]] = set()
    morning = np.full(len(problem.work_ms), LEFT_OUT, dtype=np.int64)
    order = np.lexsort((-problem.work_ms, problem.last - problem.first))
    for i in order:
        unit = int(problem.unit[i])
        best = None
        for day in range(int(problem.first[i]), int(problem.last[i]) + 1):
            visit = 0 if (unit, day) in seen else int(problem.visit_ms[unit])
            after = int(load[day] + problem.work_ms[i] + visit)
            if after <= problem.capacity_ms[day] and (best is None or (after, day) < best):
                best = (after, day)
        if best is not None:
            load[best[1]] = best[0]
            seen.add((unit, best[1]))
            morning[i] = best[1]
    return morning


def _empty(problem: LevellingProblem) -> Levelling:
    zero = np.zeros(len(problem.capacity_ms), dtype=np.int64)
    return Levelling(np.zeros(0, dtype=np.int64), zero, 0, 0, 0, 0, "optimal")


def _least_left(model: _Model, start: IntArray, *, work: float, seed: int) -> _Step:
    """The least weight left out; nothing to search where the quick assignment leaves none."""
    left = int(model.problem.weight[start == LEFT_OUT].sum())
    if left == 0:
        return _Step(0, 0, True, start)
    found = _minimise(model, model.left_weight(), work=work, seed=seed)
    return found if found is not None else _Step(left, 0, False, start)


def level(problem: LevellingProblem, *, seed: int = 1, work: float = 4.0) -> Levelling:
    """Assign every service to a morning of its window, in this order of wishes:

    least weight left out, shortest longest morning, fewest visits.

    ``work`` is CP-SAT's deterministic time for each of the three steps (about seconds). Raises
    ``UnfitProblem`` as `check` does.
    """
    check(problem)
    if len(problem.work_ms) == 0:
        return _empty(problem)
    model = _Model(problem)
    start = spread(problem)
    _hint(model, start)
    least = _least_left(model, start, work=work, seed=seed)
    model.model.add(model.left_weight() <= least.value)
    _hint(model, least.morning)
    first = _minimise(model, model.longest, work=work, seed=seed)
    if first is None:
        longest = int(loads(problem, least.morning)[0].max())
        first = _Step(longest, 0, False, least.morning)
    model.model.add(model.longest <= first.value)
    _hint(model, first.morning)
    fewest = _minimise(model, model.visits(), work=work, seed=seed) or _Step(
        0, 0, False, first.morning
    )
    proved = least.proved and first.proved and fewest.proved
    return _answer(problem, fewest.morning, bound=first.bound, proved=proved)


def _answer(problem: LevellingProblem, morning: IntArray, *, bound: int, proved: bool) -> Levelling:
    load, visits = loads(problem, morning)
    left = morning == LEFT_OUT
    by_hand = span_bound_ms(problem, ~left) if not left.any() else 0
    return Levelling(
        morning=morning,
        load_ms=load,
        longest_ms=int(load.max()),
        visits=visits,
        left_weight=int(problem.weight[left].sum()),
        lower_ms=max(bound, by_hand),
        status="optimal" if proved else "bounded",
    )
