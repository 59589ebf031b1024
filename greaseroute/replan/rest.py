"""The rest of a round, planned while somebody waits for it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

from greaseroute.intervals.worklist import DueItem
from greaseroute.plan.round import RoundPlan
from greaseroute.replan.so_far import DoneSoFar, Rest, as_rest, booked, rest_of
from greaseroute.rounds.prepare import prepare
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.rounds.solve import solve
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning, morning_of
from greaseroute.visits.work import due_items

REPLAN_STEPS = 1_500  # of search, where a round is planned anew on the way


@dataclass(frozen=True, eq=False)
class Change:
    """A round under way: its morning (``begun``, ``morning_request``) and what happened since."""

    begun: Site
    morning_request: RoundRequest
    so_far: DoneSoFar
    earlier: RoundPlan | None = None

    @cached_property
    def morning(self) -> Morning:
        """The whole morning: its zero and its end, which stays the end of the rest."""
        return morning_of(
            self.begun, self.morning_request.at, finish_by=self.morning_request.finish_by
        )

    @cached_property
    def items(self) -> tuple[DueItem, ...]:
        """All that was to be done in the morning."""
        return due_items(self.begun, self.morning_request.at, work=self.morning_request.work)

    @cached_property
    def rest(self) -> Rest:
        """What is left of it. Raises UnknownName."""
        return rest_of(self.begun, self.items, self.so_far, earlier=self.earlier)

    @property
    def site(self) -> Site:
        """The site as it is now."""
        return self.rest.site

    @cached_property
    def request(self) -> RoundRequest:
        """The request for what is left: the same work list, the same end."""
        blocked = self.so_far.blocked
        return replace(
            self.morning_request,
            at=self.so_far.at,
            work=self.rest.items,
            finish_by=self.morning.end,
            keep=self.rest.keep,
            without=frozenset((b.unit, b.joint, b.fitting) for b in blocked if b.fitting),
            left=self.rest.left,
        )


def plan_rest(
    site: Site,
    request: RoundRequest,
    so_far: DoneSoFar,
    *,
    earlier: RoundPlan | None = None,
    effort: Effort | None = None,
    progress: Callable[[str], None] | None = None,
) -> RoundPlan:
    """Plan what is left of a round under way; no bound is sought for it.

    Parameters
    ----------
    site : Site
        As it was when the round began.
    request : RoundRequest
        That of the morning; its moment is the round's beginning.
    so_far : DoneSoFar
        What happened since: the rest is planned from ``so_far.at`` on.
    earlier : RoundPlan, optional
        The plan under way, whose order is kept to as far as ``so_far`` wishes.
    effort, progress
        As for `plan_round`.

    Raises
    ------
    UnknownName
        A unit, joint, technician or place that the site does not have.
    PostureRefused
        A unit standing in a posture that its type cannot take.
    """
    told = progress or (lambda text: None)
    effort = effort or Effort()
    change = Change(site, request, so_far, earlier)
    ready = prepare(change.site, change.request, progress=told)
    quick = replace(effort, iterations=effort.iterations or REPLAN_STEPS, prove=False)
    plan = write_plan(solve(ready, effort=quick, progress=told), seed=effort.seed)
    named = {(i.unit, i.joint) for i in change.items}
    done = booked(change.items, change.so_far, change.begun) & named
    return as_rest(
        plan,
        change.so_far,
        begun=change.morning.zero,
        joints=len(done),
        earlier=change.earlier,
    )
