"""Chains levelled: the shortest longest morning, then the fewest visits, by CP-SAT.

It begins with a quick choice. With one worker and a count-like limit it repeats exactly.
"""

from ortools.sat.python import cp_model

from greaseroute.solvers.cp.chains import (
    START,
    ChainProblem,
    Levelled,
    check,
    late_chains,
    loads,
    spread,
)
from greaseroute.solvers.cp.chains_bound import lower_bounds
from greaseroute.solvers.cp.step import set_hints, solved

MOST_ARCS = 6_000  # beyond it the quick choice stands: the model takes too long

Mornings = tuple[tuple[int, ...], ...]


class _ChainsModel:
    """Variables and constraints, one rule a method."""

    def __init__(self, problem: ChainProblem, *, lower_ms: int) -> None:
        self.problem = problem
        self.model = cp_model.CpModel()
        self.arc: dict[tuple[int, int, int], cp_model.IntVar] = {}
        self.serve: dict[tuple[int, int], cp_model.IntVar] = {}
        self.visit: dict[tuple[int, int], cp_model.IntVar] = {}
        for number in range(len(problem.chains)):
            self._one_path(number)
        self._a_service_needs_a_visit()
        self._no_morning_overruns(lower_ms)

    def _one_path(self, number: int) -> None:
        """From the start along one arc after the other, through the mornings that are served."""
        chain, days = self.problem.chains[number], self.problem.days
        into: dict[int, list[cp_model.IntVar]] = {}
        for b, following in chain.arcs.items():
            row = []
            for m in following:
                arc = self.model.new_bool_var(f"a{number}_{b}_{m}")
                self.arc[number, b, m] = arc
                row.append(arc)
                into.setdefault(m, []).append(arc)
            if b == START:
                self.model.add_exactly_one(row)
            else:
                self.serve[number, b] = self.model.new_bool_var(f"s{number}_{b}")
                self.model.add(sum(row) == self.serve[number, b])
        for m in chain.arcs:
            if 0 <= m < days:
                self.model.add(sum(into.get(m, [])) == self.serve[number, m])

    def _a_service_needs_a_visit(self) -> None:
        """A unit is visited on each morning on which one of its chains is served."""
        for (number, m), serve in self.serve.items():
            key = self.problem.chains[number].unit, m
            if key not in self.visit:
                self.visit[key] = self.model.new_bool_var(f"v{key[0]}_{m}")
            self.model.add_implication(serve, self.visit[key])

    def _no_morning_overruns(self, lower_ms: int) -> None:
        """Work and visits of a morning stay within its time, and within the longest."""
        capacity = self.problem.capacity_ms
        self.longest = self.model.new_int_var(lower_ms, int(capacity.max()), "longest")
        terms: list[list[tuple[cp_model.IntVar, int]]] = [[] for _ in capacity]
        for (number, m), serve in self.serve.items():
            terms[m].append((serve, self.problem.chains[number].work_ms))
        for (unit, m), visit in self.visit.items():
            terms[m].append((visit, int(self.problem.visit_ms[unit])))
        for limit, each in zip(capacity, terms, strict=True):
            load = cp_model.LinearExpr.weighted_sum([v for v, _ in each], [c for _, c in each])
            self.model.add(load <= int(limit))
            self.model.add(load <= self.longest)

    def hint(self, mornings: Mornings) -> None:
        """Begin with a choice."""
        used = {
            (number, b, m)
            for number, mine in enumerate(mornings)
            for b, m in zip([START, *mine], [*mine, self.problem.days], strict=True)
        }
        served = {(number, m) for number, _, m in used}
        units = {(self.problem.chains[number].unit, m) for number, m in served}
        set_hints(
            self.model,
            [
                *((var, key in used) for key, var in self.arc.items()),
                *((var, key in served) for key, var in self.serve.items()),
                *((var, key in units) for key, var in self.visit.items()),
            ],
        )

    def read(self, solver: cp_model.CpSolver) -> Mornings:
        """The mornings of each chain in a solution."""
        found: list[list[int]] = [[] for _ in self.problem.chains]
        for (number, m), serve in sorted(self.serve.items(), key=lambda item: item[0]):
            if solver.value(serve):
                found[number].append(m)
        return tuple(tuple(mine) for mine in found)


def level(problem: ChainProblem, *, seed: int = 1, work: float = 1.0) -> Levelled:
    """Mornings for every chain.

    Lexicographic: least weight beyond the tolerances, shortest longest morning, fewest visits.

    Parameters
    ----------
    problem : ChainProblem
    seed : int
        Random seed of CP-SAT.
    work : float
        CP-SAT's deterministic time for each step (about seconds).

    Returns
    -------
    Levelled
        With what is proved about the longest morning and the visits.

    Raises
    ------
    UnfitProblem
        As `check`.
    """
    check(problem)
    start = spread(problem)
    late = late_chains(problem, start)
    lower_ms, fewest = lower_bounds(problem)
    over = (loads(problem, start)[0] > problem.capacity_ms).any()
    arcs = sum(len(f) for chain in problem.chains for f in chain.arcs.values())
    # Where something is too late or overruns, the quick choice stands: it took the least of it.
    if late or over or arcs > MOST_ARCS or not problem.chains:
        return _answer(problem, start, lower_ms=lower_ms, fewest=fewest)
    return _shortened(problem, start, bounds=(lower_ms, fewest), seed=seed, work=work)


def _shortened(
    problem: ChainProblem, start: Mornings, *, bounds: tuple[int, int], seed: int, work: float
) -> Levelled:
    """From a choice that is allowed: the longest morning, then the visits."""
    lower_ms, fewest = bounds
    model = _ChainsModel(problem, lower_ms=lower_ms)
    best = start
    # The longest morning; its value is then held.
    model.hint(best)
    model.model.minimize(model.longest)
    first = solved(model.model, work=work, seed=seed)
    if first is not None:
        best = model.read(first.solver)
        if not problem.tied:
            lower_ms = max(lower_ms, min(first.bound, first.value))
        model.model.add(model.longest <= first.value)
        # The visits.
        model.hint(best)
        model.model.minimize(cp_model.LinearExpr.sum(list(model.visit.values())))
        second = solved(model.model, work=work, seed=seed)
        if second is not None:
            best = model.read(second.solver)
    return _answer(problem, best, lower_ms=lower_ms, fewest=fewest)


def _answer(problem: ChainProblem, best: Mornings, *, lower_ms: int, fewest: int) -> Levelled:
    # Told from the choice itself, not from the model.
    load, visits = loads(problem, best)
    late = late_chains(problem, best)
    longest = int(load.max(initial=0))
    lower_ms = min(longest, lower_ms)
    return Levelled(
        mornings=best,
        load_ms=load,
        visits=visits,
        lower_ms=lower_ms,
        fewest_visits=min(visits, fewest),
        late=late,
        status="optimal" if not late and longest == lower_ms else "bounded",
    )
