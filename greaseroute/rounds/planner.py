"""The morning round from a site and a moment: the one call that upper layers make."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime

from greaseroute.rounds.change import DoneSoFar, rest_of
from greaseroute.rounds.morning import morning_of
from greaseroute.rounds.plan import RoundPlan
from greaseroute.rounds.prepare import Wish, prepare
from greaseroute.rounds.solve import Effort, solve
from greaseroute.rounds.work import WorkItem, due_items
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site

REPLAN_STEPS = 1_500  # of search, where a round is planned anew on the way


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
    done_so_far: DoneSoFar | None = None,
    earlier: RoundPlan | None = None,
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
    done_so_far : DoneSoFar, optional
        What happened since ``at``: the rest is planned from ``done_so_far.at`` on.
    earlier : RoundPlan, optional
        The plan under way, whose order is kept to as far as ``done_so_far`` wishes.

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
    if done_so_far is not None:
        site, wish = _rest(site, wish, done_so_far, earlier=earlier)
    ready = prepare(site, wish, progress=told)
    effort = Effort(seed, iterations, limit_s)
    if done_so_far is not None:  # somebody stands and waits for the new plan
        effort = replace(effort, iterations=iterations or REPLAN_STEPS, prove=False)
    solved = solve(ready, effort=effort, progress=told)
    return write_plan(solved, seed=seed)


def _rest(
    site: Site, wish: Wish, so_far: DoneSoFar, *, earlier: RoundPlan | None
) -> tuple[Site, Wish]:
    """The site as it is now, and the wish for what is left: the same work list, the same end."""
    items = due_items(site, wish.at, work=wish.work)
    rest = rest_of(site, items, so_far, earlier=earlier)
    return rest.site, replace(
        wish,
        at=so_far.at,
        work=rest.items,
        finish_by=morning_of(site, wish.at, finish_by=wish.finish_by).end,
        keep=rest.keep,
        without=frozenset((b.unit, b.joint, b.fitting) for b in so_far.blocked if b.fitting),
        left=rest.left,
    )
