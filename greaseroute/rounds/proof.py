"""What is proved about schedules: the bound as it is written down, and what is yet to be proved."""

from dataclasses import replace

import numpy as np

from greaseroute.plan.round import Bound
from greaseroute.processes import Aside
from greaseroute.rounds.team import Team
from greaseroute.solvers.vrp.bound import judged_by, route_part_ms
from greaseroute.solvers.vrp.problem import CrewProblem, IntArray
from greaseroute.solvers.vrp.solution import CrewSolution
from greaseroute.solvers.vrp.solve import beside, rounds_for, solve_crew, with_bound
from greaseroute.units import MS_PER_S

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


def certificate(lower_ms: int, value_ms: int, *, what: str) -> Bound:
    """The bound as it is written down; the gap in per cent of the value."""
    gap = 100.0 * (value_ms - lower_ms) / value_ms if value_ms > 0 else 0.0
    return Bound(
        lower_s=lower_ms / MS_PER_S, value_s=value_ms / MS_PER_S, gap_pct=round(gap, 4), what=what
    )


class Proof:
    """How early no plan can end: sought by a copy of this process, or waited for, once begun.

    A bound that is sought ``ahead`` already is waited for. It may be given up at any moment.
    """

    def __init__(
        self,
        problem: CrewProblem,
        solution: CrewSolution,
        team: Team,
        *,
        limit_s: float | None,
        ahead: BoundAhead | None = None,
    ) -> None:
        def prove() -> Bound:
            known = solution if ahead is None else ahead.judged(solution)
            if known.status != "no bound yet":
                return crew_certificate(problem, known, team)
            relaxed = replace(problem, way_ms=spared(problem, team))
            rounds = rounds_for(problem)
            judged = with_bound(relaxed, solution, rounds=rounds, limit_s=limit_s)
            return crew_certificate(problem, judged, team)

        self._prove, self._ahead = prove, ahead
        self._aside = Aside(prove) if ahead is None else None

    def result(self) -> Bound:
        """The bound as it is written down."""
        return self._prove() if self._aside is None else self._aside.result()

    def end(self) -> None:
        """Give it up, whether it is done or not."""
        for working in (self._aside, self._ahead):
            if working is not None:
                working.end()


def spared(problem: CrewProblem, team: Team) -> IntArray:
    """Times of the ways, each less what a dropped way of its visit could at most have saved."""
    slack = np.asarray([team.ways.visits[w.visit].slack_ms for w in team.ways.ways], np.int64)
    less = np.maximum(0, problem.way_ms - slack[None, :])
    return np.where(problem.way_ms >= 0, less, problem.way_ms)


def slack_ms(team: Team) -> int:
    """What at most all dropped ways together could have saved."""
    most = dict.fromkeys(team.ways.units, 0)
    for visit in team.ways.visits:
        unit = visit.work.unit.unit
        most[unit] = max(most[unit], visit.slack_ms)
    return sum(most.values())


def crew_certificate(problem: CrewProblem, solution: CrewSolution, team: Team) -> Bound:
    """The bound on the last finish, told over the part of the crew's time that the route decides.

    That part is the time of all who take part up to the last finish, less the fixed time of the
    visits. What dropped ways could have saved is in the bound already, but where every order was
    gone through: there it is taken off once for each, since any of them may be the last.
    """
    b = solution.bound
    slack = slack_ms(team) if solution.status == "optimal" and solution.iterations == 0 else 0
    crew, part = route_part_ms(problem, solution, last_ms=b.value_ms)
    if b.gap_pct is None:
        return Bound(lower_s=0, value_s=part / MS_PER_S, gap_pct=None, what=b.what)
    lower = part - crew * (b.value_ms - b.lower_ms + slack)
    return certificate(max(0, lower), part, what=b.what)
