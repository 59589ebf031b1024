"""A large crew's bound, sought by a copy of the process while this one searches.

It is told by a first plan, found in a moment, and holds for every plan with the same visits: the
better plan that the search comes to as well. On one core it is sought after the search.
"""

from greaseroute.rounds.crew import beside, solve_crew, with_bound
from greaseroute.rounds.crew_bound import judged_by
from greaseroute.rounds.problem import CrewProblem, CrewSolution
from greaseroute.side_by_side import Aside

LARGE = 100  # units from which on the search has a core to spare, and takes long
FIRST_STEPS_PER_UNIT = 30
ROUNDS = 100  # linear programs; some 45 s at 400 units, about what the search takes


def is_large(problem: CrewProblem) -> bool:
    """Whether it pays to seek the bound beside the search, told by a first plan."""
    return problem.units > LARGE


class BoundAhead:
    """A bound under way."""

    def __init__(self, problem: CrewProblem, *, seed: int, limit_s: float | None) -> None:
        self._problem = problem

        def first_judged() -> CrewSolution:
            steps = FIRST_STEPS_PER_UNIT * problem.units
            first = solve_crew(problem, seed=seed, iterations=steps, bound_rounds=0, exact=False)
            return with_bound(problem, first, rounds=ROUNDS, limit_s=limit_s)

        self._aside = Aside(first_judged)

    def judged(self, plan: CrewSolution) -> CrewSolution:
        """The plan with the bound, waited for; as it is where that is for other visits."""
        first = self._aside.result()
        if first.bound.gap_pct is None or not self._same_visits(first, plan):
            return plan
        known = first.bound
        bound = judged_by(self._problem, plan, lower_ms=known.lower_ms, what=known.what)
        return beside(plan, bound)

    def _same_visits(self, first: CrewSolution, plan: CrewSolution) -> bool:
        """Whether both visit the same units at the same loss, by the same technicians."""
        done, who = [], []
        for one in (first, plan):
            ways = [v.way for r in one.rounds for v in r.visits if v.kind == "unit"]
            unit, loss = self._problem.way_unit[ways], self._problem.way_loss[ways]
            done.append(sorted(zip(unit.tolist(), loss.tolist(), strict=True)))
            who.append([r.technician for r in one.rounds if not r.reason])
        return done[0] == done[1] and who[0] == who[1]

    def end(self) -> None:
        """Give it up, whether it is done or not."""
        self._aside.end()
