"""The learner's choice by CP-SAT: most pairs covered, then least time; integers only."""

from dataclasses import dataclass

import numpy as np
from ortools.sat.python import cp_model

from greaseroute.rounds.coverage import (
    BoolArray,
    Coverage,
    CoverageProblem,
    check,
    most_of_a_kind,
    total_ms,
)


class _Model:
    """Variables and constraints, one rule a method."""

    def __init__(self, problem: CoverageProblem) -> None:
        self.problem = problem
        self.model = cp_model.CpModel()
        size = range(len(problem.pair))
        self.take = [self.model.new_bool_var(f"take{i}") for i in size]
        self.visit = [self.model.new_bool_var(f"visit{u}") for u in range(len(problem.visit_ms))]
        self.place: list[list[cp_model.IntVar]] = []
        self._one_of_each_pair()
        self._a_joint_needs_a_visit()
        self._the_nth_of_its_kind()
        self.model.add(self.time() <= problem.window_ms)

    def _one_of_each_pair(self) -> None:
        """A pair is met once."""
        for pair in range(len(self.problem.show_ms)):
            members = np.flatnonzero(self.problem.pair == pair)
            self.model.add_at_most_one(self.take[i] for i in members)

    def _a_joint_needs_a_visit(self) -> None:
        """A joint is met at its unit."""
        for i, take in enumerate(self.take):
            self.model.add_implication(take, self.visit[int(self.problem.unit[i])])

    def _the_nth_of_its_kind(self) -> None:
        """A joint taken is the n-th of its kind if n - 1 of it were taken before."""
        most = most_of_a_kind(self.problem)
        before: dict[int, list[cp_model.IntVar]] = {}
        for i, take in enumerate(self.take):
            earlier = before.setdefault(int(self.problem.kind[i]), [])
            row = [
                self.model.new_bool_var(f"place{i}_{n}") for n in range(min(most, len(earlier) + 1))
            ]
            self.model.add(sum(row) == take)
            place = cp_model.LinearExpr.weighted_sum(row, list(range(len(row))))
            self.model.add(place == sum(earlier)).only_enforce_if(take)
            self.place.append(row)
            earlier.append(take)

    def pairs(self) -> cp_model.LinearExprT:
        """Pairs covered."""
        return cp_model.LinearExpr.sum(self.take)

    def time(self) -> cp_model.LinearExprT:
        """Work at the learner's pace, visits, and the mentor's showing."""
        p = self.problem
        terms = [
            (v, int(p.time_ms[i, n])) for i, row in enumerate(self.place) for n, v in enumerate(row)
        ]
        terms += [(v, int(p.visit_ms[u])) for u, v in enumerate(self.visit)]
        terms += [(v, int(p.show_ms[p.pair[i]])) for i, v in enumerate(self.take)]
        return cp_model.LinearExpr.weighted_sum([v for v, _ in terms], [c for _, c in terms])


@dataclass(frozen=True, slots=True)
class _Step:
    value: int
    bound: int
    proved: bool
    chosen: BoolArray


def _solve(model: _Model, *, work: float, seed: int) -> _Step | None:
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed % 2**31
    solver.parameters.max_deterministic_time = work
    status = solver.solve(model.model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    chosen = np.array([bool(solver.value(v)) for v in model.take], dtype=np.bool_)
    bound = round(solver.best_objective_bound)
    return _Step(round(solver.objective_value), bound, status == cp_model.OPTIMAL, chosen)


def _hint(model: _Model, chosen: BoolArray) -> None:
    model.model.clear_hints()  # type: ignore[no-untyped-call]
    for var, value in zip(model.take, chosen, strict=True):
        model.model.add_hint(var, int(value))


def cover(problem: CoverageProblem, *, seed: int = 1, work: float = 2.0) -> Coverage:
    """The choice that covers most pairs and, among those, takes least time.

    ``work`` is CP-SAT's deterministic time for each of the two steps (about seconds). Raises
    ``UnfitProblem`` as `coverage.check` does.
    """
    check(problem)
    nothing = np.zeros(len(problem.pair), dtype=np.bool_)
    if not len(nothing):
        return Coverage(nothing, 0, 0, 0, 0, "optimal")
    model = _Model(problem)
    _hint(model, nothing)
    model.model.maximize(model.pairs())
    most = _solve(model, work=work, seed=seed)
    if most is None:
        return Coverage(nothing, 0, 0, len(problem.show_ms), 0, "bounded")
    model.model.add(model.pairs() >= most.value)
    _hint(model, most.chosen)
    model.model.minimize(model.time())
    least = _solve(model, work=work, seed=seed)
    best = most.chosen if least is None else least.chosen
    return Coverage(
        chosen=best,
        pairs=int(best.sum()),
        total_ms=total_ms(problem, best),
        most_pairs=most.bound,
        lower_ms=0 if least is None else least.bound,
        status="optimal" if most.proved and least is not None and least.proved else "bounded",
    )
