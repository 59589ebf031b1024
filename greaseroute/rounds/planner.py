"""The morning round from a site and a moment: the one call that upper layers make."""

from collections.abc import Callable, Sequence
from datetime import datetime

from greaseroute.rounds.change import DoneSoFar
from greaseroute.rounds.plan import RoundPlan
from greaseroute.rounds.prepare import Wish, prepare
from greaseroute.rounds.replan import Change, RoundInHand, plan_rest
from greaseroute.rounds.solve import Effort, Solved, solve
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
    done_so_far: DoneSoFar | None = None,
    earlier: RoundPlan | None = None,
    meanwhile: Callable[[RoundPlan], None] | None = None,
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
    meanwhile : callable, optional
        What to do with the plan while its bound is still sought: told the plan without one.

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
    effort = Effort(seed, iterations, limit_s)
    if done_so_far is None:
        return _in_hand(site, wish, effort=effort, progress=told, meanwhile=meanwhile).plan
    change = Change(site, wish, done_so_far, earlier)
    ready = prepare(change.site, change.wish, progress=told)
    return plan_rest(ready, change, effort=effort, progress=told)


def take_in_hand(
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
) -> RoundInHand:
    """Plan one round as `plan_round` does, and keep what it takes to plan its rest in a moment."""
    names = None if technicians is None else tuple(technicians)
    wish = Wish(at, work, with_looks, names, finish_by)
    effort = Effort(seed, iterations, limit_s)
    return _in_hand(site, wish, effort=effort, progress=progress or (lambda text: None))


def _in_hand(
    site: Site,
    wish: Wish,
    *,
    effort: Effort,
    progress: Callable[[str], None],
    meanwhile: Callable[[RoundPlan], None] | None = None,
) -> RoundInHand:
    ready = prepare(site, wish, progress=progress)
    solved = solve(ready, effort=effort, progress=progress)
    plan = _proved(solved, seed=effort.seed, progress=progress, meanwhile=meanwhile)
    return RoundInHand(wish, effort, ready, plan)


def _proved(
    solved: Solved,
    *,
    seed: int,
    progress: Callable[[str], None],
    meanwhile: Callable[[RoundPlan], None] | None,
) -> RoundPlan:
    """The plan with its bound; on Ctrl-C without one, marked as cut short."""
    plan = write_plan(solved, seed=seed)
    if solved.proof is None:
        return plan
    progress("how early no plan can end")
    try:
        if meanwhile is not None:
            meanwhile(plan)
        return plan.model_copy(update={"bound": solved.proof.result()})
    except KeyboardInterrupt:
        return plan.model_copy(update={"complete": False})
    finally:
        solved.proof.end()
