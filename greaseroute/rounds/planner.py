"""The morning round from a site and a request: the one call that upper layers make."""

from collections.abc import Callable
from dataclasses import replace

from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.guns_as_left import site_with_guns, with_guns
from greaseroute.rounds.prepare import prepare
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.rounds.solve import solve
from greaseroute.rounds.solved import Solved
from greaseroute.rounds.standing import Standing
from greaseroute.rounds.untaken import without_untaken
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site


def plan_round(
    site: Site,
    request: RoundRequest,
    *,
    effort: Effort | None = None,
    progress: Callable[[str], None] | None = None,
    meanwhile: Callable[[RoundPlan], None] | None = None,
    standing: Standing | None = None,
) -> RoundPlan:
    """Plan one round.

    Parameters
    ----------
    site : Site
    request : RoundRequest
        The moment planned for, and whatever else is asked for.
    effort : Effort, optional
        Seed and length of the search; by default the length goes by the number of units.
    progress : callable, optional
        Told in a few words what is being done.
    meanwhile : callable, optional
        What to do with the plan while its bound is still sought: told the plan without one.
    standing : Standing, optional
        The site as other rounds have found it; the plan is the same with and without.

    Returns
    -------
    RoundPlan
        Same site, request and effort (without a time limit): the same plan to the byte.

    Raises
    ------
    UnknownName
        A unit, joint, technician or place that the site does not have.
    PostureRefused
        A unit standing in a posture that its type cannot take.
    """
    told = progress or (lambda text: None)
    effort = effort or Effort()
    standing = standing or Standing(site)
    solved = _solved(site, request, standing, effort=effort, progress=told)
    if request.guns is not None:
        solved = _guns_as_left(standing, request, solved, effort=effort, progress=told)
    return _proved(solved, seed=effort.seed, progress=told, meanwhile=meanwhile)


def _solved(
    site: Site,
    request: RoundRequest,
    standing: Standing,
    *,
    effort: Effort,
    progress: Callable[[str], None],
) -> Solved:
    """The best walk; where postures are not asked for after all, on the ground without them."""

    def again(given_up: frozenset[tuple[str, str]]) -> Solved:
        progress("once more without the postures that nobody has time for")
        ready = prepare(site, request, progress=progress, standing=standing, given_up=given_up)
        return solve(ready, effort=effort, progress=progress)

    ready = prepare(site, request, progress=progress, standing=standing)
    return without_untaken(solve(ready, effort=effort, progress=progress), again)


def _guns_as_left(
    standing: Standing,
    request: RoundRequest,
    solved: Solved,
    *,
    effort: Effort,
    progress: Callable[[str], None],
) -> Solved:
    """The walk with the guns as they were left; where that does not do, another one."""
    assert request.guns is not None
    found = with_guns(solved, request.guns)
    if found is not None:
        return found if found.proof is not None else replace(found, bound=found.proved())
    solved.give_up_proof()
    own, site = replace(request, guns=None), site_with_guns(standing.site, request.guns)
    return _solved(site, own, standing, effort=effort, progress=progress)


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
        return plan.model_copy(update={"bound": solved.proved()})
    except KeyboardInterrupt:
        return plan.model_copy(update={"complete": False})
    finally:
        solved.proof.end()
