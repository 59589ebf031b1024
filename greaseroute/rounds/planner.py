"""The morning round from a site and a moment: the one call that upper layers make."""

from collections.abc import Callable, Sequence
from datetime import datetime

from greaseroute.rounds.plan import RoundPlan
from greaseroute.rounds.prepare import Wish, prepare
from greaseroute.rounds.solve import Effort, solve
from greaseroute.rounds.work import WorkItem
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site


def plan_round(
    site: Site,
    *,
    at: datetime,
    seed: int = 1,
    iterations: int | None = None,
    limit_s: float | None = None,
    with_looks: bool = False,
    progress: Callable[[str], None] | None = None,
    work: Sequence[WorkItem] | None = None,
    technicians: Sequence[str] | None = None,
    finish_by: datetime | None = None,
) -> RoundPlan:
    """Plan one round.

    Parameters
    ----------
    site : Site
    at : datetime
        The moment planned for: the round begins then. Without a zone it is local time.
    seed, iterations : int
        Same input, seed and count of search passes: the same plan to the byte. By default the
        count goes by the number of units.
    limit_s : float, optional
        A time limit for the search instead of a count.
    with_looks : bool
        Also check the look points of each unit visited.
    progress : callable, optional
        Told in a few words what is being done.
    work : sequence of DueItem or (unit, joint), optional
        What is to be done instead of what is due.
    technicians : sequence of str, optional
        Names of those who walk; all by default.
    finish_by : datetime, optional
        The end instead of the next start of the shift.

    Raises
    ------
    UnknownName
        A unit, joint, technician or place that the site does not have.
    PostureRefused
        A unit standing in a posture that its type cannot take.
    """
    told = progress or (lambda text: None)
    names = None if technicians is None else tuple(technicians)
    wish = Wish(at, work, with_looks, names, finish_by)
    ready = prepare(site, wish, progress=told)
    solved = solve(ready, effort=Effort(seed, iterations, limit_s), progress=told)
    return write_plan(solved, seed=seed)
