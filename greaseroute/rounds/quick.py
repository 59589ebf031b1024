"""A round of the week: the round engine's own parts, without the proof that a single round gets.

Seven rounds are planned at once and none is walked as it stands: proving each one would take
longer than planning all of them.
"""

from collections.abc import Sequence
from datetime import datetime

from greaseroute.intervals.worklist import DueItem
from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.prepare import Prepared, prepare
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.rounds.solve import solve
from greaseroute.rounds.solved import Solved
from greaseroute.rounds.together import solve_together
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site


def quick_round(
    site: Site, *, at: datetime, work: Sequence[DueItem], seed: int, iterations: int
) -> RoundPlan:
    """The round of ``work`` from ``at`` on. A morning too short for all of it is planned as a
    single round is. Same input and seed, same plan."""
    ready = prepare(site, RoundRequest(at, work), progress=lambda _: None)
    effort = Effort(seed, iterations, None, prove=False)
    found = _together(ready, effort) or solve(ready, effort=effort, progress=lambda _: None)
    return write_plan(found, seed=seed)


def _together(ready: Prepared, effort: Effort) -> Solved | None:
    """The crew's search without its bound; None where it leaves something out."""
    team = build_team(ready)
    if not team.ways.ways:
        return None
    found = solve_together(ready, team, effort=effort, progress=lambda _: None)
    return None if found.skipped else found
