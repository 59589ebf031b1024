"""What is proved about schedules: the bound as it is written down, and what is yet to be proved."""

from dataclasses import replace

import numpy as np

from greaseroute.rounds.bound_ahead import BoundAhead
from greaseroute.rounds.build_team import Team
from greaseroute.rounds.crew import rounds_for, with_bound
from greaseroute.rounds.crew_bound import route_part_ms
from greaseroute.rounds.plan import Bound
from greaseroute.rounds.problem import CrewProblem, CrewSolution, IntArray
from greaseroute.side_by_side import Aside
from greaseroute.units import MS_PER_S


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
