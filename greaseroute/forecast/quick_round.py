"""A round of the week: the round engine's own parts, without the proof that a single round gets.

Seven rounds are planned at once and none is walked as it stands: proving each one would take
longer than planning all of them.
"""

from collections.abc import Sequence
from datetime import datetime

from greaseroute.due.worklist import DueItem
from greaseroute.rounds.build_team import Team, crew_problem
from greaseroute.rounds.crew import solve_crew
from greaseroute.rounds.plan import Bound, RoundPlan
from greaseroute.rounds.prepare import Prepared, Wish, prepare
from greaseroute.rounds.problem import TechnicianRound
from greaseroute.rounds.schedule import Clockwork, Halt, Route, Schedule, timed
from greaseroute.rounds.solve import Effort, Solved, build_team, solve
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site

NOT_SOUGHT = Bound(lower_s=0.0, value_s=0.0, gap_pct=None, what="not sought in a week's plan")


def quick_round(
    site: Site, *, at: datetime, work: Sequence[DueItem], seed: int, iterations: int
) -> RoundPlan:
    """The round of ``work`` from ``at`` on. A morning too short for all of it is planned as a
    single round is. Same input and seed, same plan."""
    ready = prepare(site, Wish(at, work), progress=lambda _: None)
    team = build_team(ready)
    found = _crew(ready, team, seed=seed, iterations=iterations)
    if found is None:
        effort = Effort(seed, iterations, None, prove=False)
        found = solve(ready, effort=effort, progress=lambda _: None)
    return write_plan(found, seed=seed)


def _crew(ready: Prepared, team: Team, *, seed: int, iterations: int) -> Solved | None:
    """The crew's search without its bound; None where it leaves something out."""
    if not team.ways.ways:
        return None
    weights = dict.fromkeys(team.ways.units, 0)
    for visit in team.ways.visits:
        unit = visit.work.unit.unit
        weights[unit] = max(weights[unit], visit.work.weight)
    problem = crew_problem(team, skip_loss=weights)
    solution = solve_crew(problem, seed=seed, iterations=iterations, bound_rounds=0)
    if solution.skipped:
        return None
    schedules = tuple(_schedule(team, each) for each in solution.rounds)
    return Solved(ready, team, schedules, {}, NOT_SOUGHT, complete=True)


def _schedule(team: Team, found: TechnicianRound) -> Schedule:
    member, ways = team.members[found.technician], team.ways
    halts = []
    for visit in found.visits:
        if visit.kind == "unit":
            unit = ways.units[int(ways.unit_of[ways.ways[visit.way].visit])]
            halts.append(Halt(visit.way, not_before_ms=team.windows[unit][0]))
        else:
            halts.append(Halt(-1, point=team.stores[visit.store]))
    route = Route(found.technician, member.start, member.finish, member.start_ms, tuple(halts))
    return timed(route, Clockwork(team.site, ways, member.spans))
