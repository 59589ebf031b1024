"""The rest of a round, planned while somebody waits for it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

from greaseroute.due.worklist import DueItem
from greaseroute.rounds.change import DoneSoFar, Rest, as_rest, booked, rest_of
from greaseroute.rounds.in_hand import kept_for
from greaseroute.rounds.morning import Morning, morning_of
from greaseroute.rounds.plan import RoundPlan
from greaseroute.rounds.prepare import Prepared, Wish, prepare
from greaseroute.rounds.solve import Effort, solve
from greaseroute.rounds.work import due_items
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site

REPLAN_STEPS = 1_500  # of search, where a round is planned anew on the way


@dataclass(frozen=True, eq=False)
class Change:
    """A round under way (``begun`` and ``wish`` of its morning) and what happened since."""

    begun: Site
    morning_wish: Wish
    so_far: DoneSoFar
    earlier: RoundPlan | None = None

    @cached_property
    def morning(self) -> Morning:
        """The whole morning: its zero and its end, which stays the end of the rest."""
        return morning_of(self.begun, self.morning_wish.at, finish_by=self.morning_wish.finish_by)

    @cached_property
    def items(self) -> tuple[DueItem, ...]:
        """All that was to be done in the morning."""
        return due_items(self.begun, self.morning_wish.at, work=self.morning_wish.work)

    @cached_property
    def rest(self) -> Rest:
        """What is left of it. Raises UnknownName."""
        return rest_of(self.begun, self.items, self.so_far, earlier=self.earlier)

    @property
    def site(self) -> Site:
        """The site as it is now."""
        return self.rest.site

    @cached_property
    def wish(self) -> Wish:
        """The wish for what is left: the same work list, the same end."""
        blocked = self.so_far.blocked
        return replace(
            self.morning_wish,
            at=self.so_far.at,
            work=self.rest.items,
            finish_by=self.morning.end,
            keep=self.rest.keep,
            without=frozenset((b.unit, b.joint, b.fitting) for b in blocked if b.fitting),
            left=self.rest.left,
        )


def plan_rest(
    ready: Prepared, change: Change, *, effort: Effort, progress: Callable[[str], None]
) -> RoundPlan:
    """The plan of what is left, of a rest that is prepared; no bound is sought for it."""
    quick = replace(effort, iterations=effort.iterations or REPLAN_STEPS, prove=False)
    plan = write_plan(solve(ready, effort=quick, progress=progress), seed=effort.seed)
    done = booked(change.items, change.so_far) & {(i.unit, i.joint) for i in change.items}
    return as_rest(
        plan,
        change.so_far,
        begun=change.morning.zero,
        joints=len(done),
        earlier=change.earlier,
    )


@dataclass(frozen=True, eq=False)
class RoundInHand:
    """A round under way whose preparation is kept, so that its rest is planned in a moment.

    ``plan`` is the morning's. While all units stand where they stood all of it is kept; where
    one has moved or left, what is out of the change's reach. Where hours of closing have gone by
    or ground is cut off the rest is prepared anew (see `kept_for`). The plan is the same, except
    that the ground stays closed in every posture asked for in the morning.
    """

    wish: Wish
    effort: Effort
    ready: Prepared
    plan: RoundPlan

    def rest(
        self,
        so_far: DoneSoFar,
        *,
        earlier: RoundPlan | None = None,
        progress: Callable[[str], None] | None = None,
    ) -> RoundPlan:
        """The plan of what is left; ``earlier`` is the plan under way, if not the morning's.

        Raises UnknownName.
        """
        told = progress or (lambda text: None)
        # what was due in the morning is known, and stays the measure of what is left
        wish = replace(self.wish, work=self.ready.items)
        change = Change(self.ready.site, wish, so_far, earlier or self.plan)
        ready = kept_for(self.ready, change.site, change.wish)
        if ready is None:
            ready = prepare(change.site, change.wish, progress=told)
        return plan_rest(ready, change, effort=self.effort, progress=told)
