"""The learner's choice by CP-SAT: most pairs covered, then least time; integers only."""

from dataclasses import dataclass

import numpy as np
from ortools.sat.python import cp_model

from greaseroute.solvers.arrays import BoolArray
from greaseroute.solvers.cp.coverage import Coverage, CoverageProblem, check, total_ms
from greaseroute.solvers.cp.step import set_hints, solved


class _CoverageModel:
    """Variables and constraints, one rule a method."""

    def __init__(self, problem: CoverageProblem) -> None:
        self.problem = problem
        self.model = cp_model.CpModel()
        size = range(len(problem.pair))
        self.take = [self.model.new_bool_var(f"take{i}") for i in size]
        self.visit = [self.model.new_bool_var(f"visit{u}") for u in range(len(problem.visit_ms))]
        self.work: list[tuple[cp_model.IntVar, int]] = []
        # The rules; the time of work follows from how many of a kind were met before.
        self._one_of_each_pair()
        self._a_joint_needs_a_visit()
        for kind in np.unique(problem.kind):
            self._the_nth_of_its_kind(np.flatnonzero(problem.kind == kind).tolist())

    def _one_of_each_pair(self) -> None:
        """A pair is met once."""
        for pair in np.unique(self.problem.pair):
            members = np.flatnonzero(self.problem.pair == pair)
            self.model.add_at_most_one(self.take[i] for i in members)

    def _a_joint_needs_a_visit(self) -> None:
        """A joint is met at its unit."""
        for i, take in enumerate(self.take):
            self.model.add_implication(take, self.visit[int(self.problem.unit[i])])

    def _the_nth_of_its_kind(self, members: list[int]) -> None:
        """A joint taken is the n-th of its kind if n - 1 of it were taken before.

        ``reached[n]`` says that n + 1 of the kind were taken among the members so far. Taking one
        raises the first that is not yet reached: the n-th is reached only after the one before it
        was, earlier in the order. No large constants, so the relaxation is close.
        """
        most = len(np.unique(self.problem.pair[members]))
        # reached[n] before and after each member, in the order in which they would be met.
        before: list[cp_model.IntVar] = []
        for place, i in enumerate(members):
            reached = [
                self.model.new_bool_var(f"reached{i}_{n}") for n in range(min(most, place + 1))
            ]
            # It never falls, and it rises only after the one below it.
            for n, now in enumerate(reached):
                if n < len(before):
                    self.model.add_implication(before[n], now)
                    self.work.append((before[n], -int(self.problem.time_ms[i, n])))
                if n > 0:
                    self.model.add_implication(now, before[n - 1])
                self.work.append((now, int(self.problem.time_ms[i, n])))
            self.model.add(sum(reached) - sum(before) == self.take[i])
            before = reached

    def pairs(self) -> cp_model.LinearExprT:
        """Pairs covered."""
        return cp_model.LinearExpr.sum(self.take)

    def time(self) -> cp_model.LinearExprT:
        """Work at the learner's pace, visits, and the mentor's showing."""
        # A weighted sum of literals: CP-SAT reads it faster than sums of products.
        p = self.problem
        terms = [*self.work, *((v, int(p.visit_ms[u])) for u, v in enumerate(self.visit))]
        terms += [(v, int(p.show_ms[p.pair[i]])) for i, v in enumerate(self.take)]
        return cp_model.LinearExpr.weighted_sum([v for v, _ in terms], [c for _, c in terms])


@dataclass(frozen=True, slots=True)
class _Choice:
    """A choice (N,), what it reached and what is proved."""

    value: int
    bound: int
    proved: bool
    chosen: BoolArray


def _solve(model: _CoverageModel, *, work: float, seed: int) -> _Choice | None:
    step = solved(model.model, work=work, seed=seed)
    if step is None:
        return None
    chosen = np.array([bool(step.solver.value(v)) for v in model.take], dtype=np.bool_)
    return _Choice(step.value, step.bound, step.proved, chosen)


def _hint(model: _CoverageModel, chosen: BoolArray) -> None:
    set_hints(model.model, zip(model.take, chosen.tolist(), strict=True))


def _answer(
    problem: CoverageProblem, chosen: BoolArray, *, most: int, lower: int, proved: bool
) -> Coverage:
    return Coverage(
        chosen=chosen,
        pairs=int(chosen.sum()),
        total_ms=total_ms(problem, chosen),
        most_pairs=most,
        lower_ms=lower,
        status="optimal" if proved else "bounded",
    )


def _all_pairs(problem: CoverageProblem, *, work: float, seed: int) -> _Choice | None:
    """All pairs in the least time, whatever the window."""
    model = _CoverageModel(problem)
    model.model.add(model.pairs() == len(np.unique(problem.pair)))
    model.model.minimize(model.time())
    return _solve(model, work=work, seed=seed)


def cut_to_window(problem: CoverageProblem, chosen: BoolArray) -> BoolArray:
    """A choice less whole units, those of fewest pairs for their time first, until it fits."""
    # One unit after another; with it goes its visit.
    kept = chosen.copy()
    while kept.any() and total_ms(problem, kept) > problem.window_ms:
        units = np.unique(problem.unit[kept])
        without = [kept & (problem.unit != unit) for unit in units]
        whole = total_ms(problem, kept)
        worth = [
            (int(kept.sum() - rest.sum()) / max(1, whole - total_ms(problem, rest)), int(unit))
            for unit, rest in zip(units, without, strict=True)
        ]
        kept = without[int(np.argmin([value for value, _ in worth]))]
    return kept


def _most_then_least(
    problem: CoverageProblem, *, start: BoolArray, most_pairs: int, work: float, seed: int
) -> Coverage:
    """Most pairs within the window, then the least time for as many; from ``start``, which fits."""
    # First the number of pairs, from the choice at hand.
    model = _CoverageModel(problem)
    model.model.add(model.time() <= problem.window_ms)
    model.model.add(model.pairs() <= most_pairs)
    _hint(model, start)
    model.model.maximize(model.pairs())
    most = _solve(model, work=3 * work, seed=seed) or _Choice(
        int(start.sum()), most_pairs, False, start
    )
    # Then the time, with as many.
    model.model.add(model.pairs() >= most.value)
    _hint(model, most.chosen)
    model.model.minimize(model.time())
    least = _solve(model, work=work, seed=seed)
    if least is None:
        return _answer(problem, most.chosen, most=most.bound, lower=0, proved=False)
    proved = most.proved and least.proved
    return _answer(problem, least.chosen, most=most.bound, lower=least.bound, proved=proved)


def cover(problem: CoverageProblem, *, seed: int = 1, work: float = 2.0) -> Coverage:
    """Choose the joints that cover most pairs and, among those choices, take least time.

    Parameters
    ----------
    problem : CoverageProblem
    seed : int
        Random seed of CP-SAT.
    work : float
        CP-SAT's deterministic time for each step (about seconds).

    Returns
    -------
    Coverage
        With what is proved about pairs and time.

    Raises
    ------
    UnfitProblem
        As `coverage.check`.
    """
    check(problem)
    if not len(problem.pair):
        return Coverage(np.zeros(0, dtype=np.bool_), 0, 0, 0, 0, "optimal")
    # All pairs, if the window lasts for them.
    wanted = len(np.unique(problem.pair))
    every = _all_pairs(problem, work=work, seed=seed)
    if every is not None and every.value <= problem.window_ms:
        proved = every.proved
        return _answer(problem, every.chosen, most=wanted, lower=every.bound, proved=proved)
    # Else as many as it lasts for, from what is left of that choice when units are dropped.
    start = np.zeros(len(problem.pair), dtype=np.bool_)
    if every is not None:
        start = cut_to_window(problem, every.chosen)
        wanted -= every.bound > problem.window_ms
    return _most_then_least(problem, start=start, most_pairs=wanted, work=work, seed=seed)
