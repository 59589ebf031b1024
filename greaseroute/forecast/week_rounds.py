"""The real round of each morning: what it is asked for, what it leaves, what is carried on."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import NamedTuple

import numpy as np

from greaseroute.forecast.account import Account, account_of, guns_at_start
from greaseroute.forecast.level_week import Service
from greaseroute.forecast.windows import BEFORE, CourseMaker, date_text
from greaseroute.intervals.worklist import DueItem
from greaseroute.plan.round import LeftOut, RoundPlan
from greaseroute.site.model import Site

MOST_RATIO = 1.5  # a share beyond it is a backlog, and weighs no more


class Asked(NamedTuple):
    """The moment of a round, the joints it is for, strokes left in the guns (None: as the site
    says)."""

    at: datetime
    items: tuple[DueItem, ...]
    guns: Mapping[str, int] | None = None


PlanMornings = Callable[[Sequence[Asked]], Iterable[RoundPlan]]
"""Plans the rounds asked for, in order: the round engine, seeded by the caller; rounds do not
depend on each other, so that they may be planned side by side."""

FOR_NOW = re.compile(
    "^not enough time|^no time |^its window|^the shift ends|bag holds no cartridge"
    "|technician has the gun or the skill|the technician who comes"
)
"""Reasons that another morning may not have; any other one has to be mended first."""


@dataclass(frozen=True, slots=True, eq=False)
class Morning:
    """One morning as it comes out: what is done, what is left for want of time.

    ``plan`` is None without a round engine, or where there is nothing to do; ``guns`` are the
    strokes left in them at its start. ``tried`` are services that its round was asked for and that
    have to be mended first.
    """

    day: int
    services: tuple[Service, ...]
    plan: RoundPlan | None
    left: tuple[LeftOut, ...]
    guns: Mapping[str, int]
    account: Account
    tried: tuple[Service, ...] = ()


def service_item(maker: CourseMaker, service: Service) -> DueItem:
    """The work-list item of a service: why it is on its morning, the share used by then."""
    item = maker.rows.items[service.row]
    share = float(share_of(maker, service))
    known = service.day > 0 and not np.isinf(share)
    ratio = week_ratio(round(share, 4)) if known else item.overdue_ratio
    update = {
        "due": True,
        "status": "due",
        "reason": why(maker, service),
        "overdue_ratio": ratio,
    }
    if not (service.day == 0 and item.due):
        update |= {"fittings": len(maker.rows.joints[service.row].fittings), "due_fittings": ()}
    return item.model_copy(update=update)


def week_ratio(used: float) -> float:
    """How far a joint counts as overdue on a later morning of a week that told this share."""
    return min(used, MOST_RATIO)


def asked_of(maker: CourseMaker, day: int, services: Sequence[Service]) -> Asked:
    """What the round of a morning with these services is asked for."""
    order = sorted(services, key=lambda s: s.row)
    return Asked(maker.calendar.mornings[day], tuple(service_item(maker, s) for s in order))


def share_of(maker: CourseMaker, service: Service) -> float:
    """Share of the interval used when a service is done; infinite where none is on record."""
    return float(maker.wear.shares(maker.rows, service.row, begun=service.begun)[service.day])


def why(maker: CourseMaker, service: Service) -> str:
    """Why a joint is greased on its morning, in words."""
    item, calendar = maker.rows.items[service.row], maker.calendar
    if service.begun == BEFORE and (service.backlog or (service.day == 0 and item.due)):
        return item.reason
    if service.due >= len(calendar):
        return f"every {item.interval}: it would be over by the next morning"
    when = date_text(calendar.mornings[service.due])
    if service.day < service.due:
        return f"every {item.interval}: falls due on {when}, brought forward"
    if service.day > service.due:
        return f"every {item.interval}: fell due on {when}, still within its tolerance"
    return f"every {item.interval}: falls due this morning"


@dataclass(eq=False)
class Mornings:
    """The mornings under way: services by morning, rounds planned, what is to be mended first."""

    site: Site
    maker: CourseMaker
    plan: PlanMornings | None
    progress: Callable[[str], None]
    by_day: list[list[Service]] = field(default_factory=list)
    plans: dict[int, RoundPlan] = field(default_factory=dict)
    asked_for: dict[int, tuple[Service, ...]] = field(default_factory=dict)
    mend: dict[tuple[str, str, str], LeftOut] = field(default_factory=dict)

    def run(self, services: Sequence[Service]) -> tuple[Morning, ...]:
        """All mornings in order: what one leaves for want of time is asked of the next."""
        days = len(self.maker.calendar)
        self.by_day = [[s for s in services if s.day == day] for day in range(days)]
        self._plan([day for day in range(days) if self.by_day[day]])
        guns, found = guns_at_start(self.site), []
        for day in range(days):
            if self.by_day[day] and self.plan and day not in self.plans:
                self._plan([day])
            morning = self._morning(day, guns)
            found.append(morning)
            guns = morning.account.left
        return tuple(found)

    def asked(self, day: int, *, guns: Mapping[str, int] | None = None) -> Asked:
        """What a morning's round is asked for."""
        return asked_of(self.maker, day, self.by_day[day])._replace(guns=guns)

    def _plan(self, days: Sequence[int]) -> None:
        if self.plan is None or not days:
            return
        self.asked_for |= {day: tuple(self.by_day[day]) for day in days}
        asked = [self.asked(day) for day in days]
        for day, done in zip(days, self.plan(asked), strict=True):
            self.plans[day] = done
            self.progress(f"round of {date_text(self.maker.calendar.mornings[day])} planned")

    def _morning(self, day: int, guns: Mapping[str, int]) -> Morning:
        """One morning with its guns as they were left, and what it leaves put on the next."""
        plan = self.plans.get(day)
        if plan is None:
            return Morning(day, tuple(self.by_day[day]), None, (), guns, Account(left=dict(guns)))
        account = account_of(plan, self.site, left=guns)
        if self.plan is not None and _overruns(plan, account):
            self.asked_for[day] = tuple(self.by_day[day])
            (plan,) = self.plan([self.asked(day, guns=guns)])
            account = account_of(plan, self.site, left=guns)
        now = tuple(left for left in plan.left if FOR_NOW.search(left.reason))
        self._mend_first(plan.left)
        out = self._whole_joints(day, plan.left)
        self.by_day[day] = [s for s in self.by_day[day] if s.row not in out]
        self._carry_on(day, [s for row, s in out.items() if self._key(row) in _joints(now)])
        tried = tuple(s for s in self.asked_for[day] if s.row in self.mended_rows)
        return Morning(day, tuple(self.by_day[day]), plan, now, dict(guns), account, tried)

    def _key(self, row: int) -> tuple[str, str]:
        item = self.maker.rows.items[row]
        return item.unit, item.joint

    def _mend_first(self, left: Sequence[LeftOut]) -> None:
        """What no morning can do as things stand is told once and not asked again."""
        for each in left:
            if FOR_NOW.search(each.reason) is None:
                self.mend.setdefault((each.unit, each.joint, each.fitting or ""), each)

    def _whole_joints(self, day: int, left: Sequence[LeftOut]) -> dict[int, Service]:
        """The services of which nothing is done, by row."""
        gone: dict[tuple[str, str], set[str]] = {}
        for each in left:
            names = {each.fitting} if each.fitting else {"all of it"}
            gone.setdefault((each.unit, each.joint), set()).update(names)
        found = {}
        for service in self.by_day[day]:
            names = gone.get(self._key(service.row), set())
            joint = self.maker.rows.joints[service.row]
            if "all of it" in names or len(names) >= len(joint.fittings):
                found[service.row] = service
        return found

    def _carry_on(self, day: int, left: Sequence[Service]) -> None:
        """Later services of joints that a morning did not do: what had no time comes next
        morning, the rest of its course after that; what has to be mended first comes no more."""
        rows = self.mended_rows
        again = {s.row: s for s in left if s.row not in rows}
        for later in range(day + 1, len(self.by_day)):
            kept = [s for s in self.by_day[later] if s.row not in rows and s.row not in again]
            if len(kept) < len(self.by_day[later]):
                dropped = {s.row for s in self.by_day[later]} & set(again)
                self.by_day[later] = kept
                if dropped:
                    self.plans.pop(later, None)
        for service in again.values():
            for each in self._course_again(service, first=day + 1):
                self.by_day[each.day].append(each)
                self.plans.pop(each.day, None)

    def _course_again(self, service: Service, *, first: int) -> list[Service]:
        """The rest of a course whose service on the morning before ``first`` was not done."""
        days, begun, found = len(self.maker.calendar), service.begun, list[Service]()
        if first >= days:
            return found
        share = float(self.maker.wear.shares(self.maker.rows, service.row, begun=begun)[first])
        over = share > 1 + self.maker.tolerance.late
        found.append(replace(service, day=first, late=over and not service.backlog))
        at = first
        while True:
            arcs = self.maker.arcs(service.row, at, first=at + 1)
            after = max(m for m in arcs.to if m <= max(arcs.due, min(arcs.to)))
            if after >= days:
                return found
            found.append(Service(service.row, after, at, arcs.due, over=arcs.over))
            at = after

    @property
    def mended_rows(self) -> set[int]:
        """Joints of which nothing can be greased before something is mended."""
        rows = {self._row(u, j) for u, j, _ in self.mend if self._whole(u, j)}
        return {row for row in rows if row is not None}

    def _row(self, unit: str, joint: str) -> int | None:
        return self._rows.get((unit, joint))

    @cached_property
    def _rows(self) -> dict[tuple[str, str], int]:
        return {(item.unit, item.joint): row for row, item in enumerate(self.maker.rows.items)}

    def _whole(self, unit: str, joint: str) -> bool:
        """Whether all of a joint has to be mended first."""
        row = self._row(unit, joint)
        names = {f for u, j, f in self.mend if (u, j) == (unit, joint)}
        return row is not None and (
            "" in names or len(names) >= len(self.maker.rows.joints[row].fittings)
        )


def _joints(left: Iterable[LeftOut]) -> set[tuple[str, str]]:
    return {(each.unit, each.joint) for each in left}


def _overruns(plan: RoundPlan, account: Account) -> bool:
    """Whether changes beyond those planned end after the shift has started."""
    return any(
        account.longer_s[t.name] > 0
        and datetime.fromisoformat(t.finish) + timedelta(seconds=account.longer_s[t.name])
        > datetime.fromisoformat(plan.shift_start)
        for t in plan.technicians
    )
