"""The real round of each morning, planned by the round engine, in the week's figures."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from greaseroute.forecast.calendar import Calendar
from greaseroute.forecast.joints import JointRows
from greaseroute.forecast.level_week import LevelWeek
from greaseroute.forecast.windows import DueService, WearDays
from greaseroute.intervals.worklist import DueItem
from greaseroute.plan.round import RoundPlan, TechnicianPlan
from greaseroute.plan.week import MorningPlan, PlannedService, TechnicianMorning
from greaseroute.units import MS_PER_S, S_PER_MIN

Asked = tuple[datetime, tuple[DueItem, ...]]
"""The moment of a round and the joints it is for."""

PlanMornings = Callable[[Sequence[Asked]], Iterable[RoundPlan]]
"""Plans the rounds asked for, in order: the round engine, seeded by the caller; rounds do not
depend on each other, so that they may be planned side by side."""


@dataclass(frozen=True, slots=True)
class Given:
    """The services given to one morning, by their numbers, in fleet order."""

    day: int
    services: tuple[int, ...]


def given_mornings(level: LevelWeek, *, days: int) -> tuple[Given, ...]:
    """What each morning was given."""
    return tuple(
        Given(day, tuple(int(i) for i in np.flatnonzero(level.answer.morning == day)))
        for day in range(days)
    )


def date_text(moment: datetime) -> str:
    """Such as ``Thu 5 March``."""
    return f"{moment:%a} {moment.day} {moment:%B}"


def _reason(service: DueService, item: DueItem, *, day: int, calendar: Calendar) -> str:
    if service.backlog or (day == 0 and item.due):
        return item.reason
    when = date_text(calendar.mornings[service.due])
    if day < service.due:
        return f"every {item.interval}: falls due on {when}, brought forward"
    if day > service.due:
        return f"every {item.interval}: fell due on {when}, still within its tolerance"
    return f"every {item.interval}: falls due this morning"


def morning_items(
    rows: JointRows,
    services: Sequence[DueService],
    *,
    given: Given,
    wear: WearDays,
    calendar: Calendar,
) -> tuple[DueItem, ...]:
    """The work list of one morning: why each joint is on it, and the share used by then."""
    found = []
    for i in given.services:
        service = services[i]
        item = rows.items[service.row]
        share = wear.share(rows, service.row, begun=-1, morning=given.day)
        ratio = item.overdue_ratio if np.isinf(share) or given.day == 0 else min(share, 1.5)
        reason = _reason(service, item, day=given.day, calendar=calendar)
        found.append(
            item.model_copy(
                update={"due": True, "status": "due", "reason": reason, "overdue_ratio": ratio}
            )
        )
    return tuple(found)


def _technician(plan: TechnicianPlan) -> TechnicianMorning:
    fittings = [f for stop in plan.stops for stand in stop.stands for f in stand.fittings]
    return TechnicianMorning(
        name=plan.name,
        walk_min=round(plan.walk_s / S_PER_MIN, 2),
        wait_min=round(plan.wait_s / S_PER_MIN, 2),
        work_min=round(plan.work_s / S_PER_MIN, 2),
        walk_m=round(plan.walk_m, 1),
        strokes=sum(f.strokes for f in fittings),
        start=plan.start,
        finish=plan.finish,
    )


def _planned(
    rows: JointRows, service: DueService, *, day: int, calendar: Calendar
) -> PlannedService:
    item, joint = rows.items[service.row], rows.joints[service.row]
    takes = rows.services[service.row]
    return PlannedService(
        unit=item.unit,
        joint=item.joint,
        interval=item.interval,
        due=calendar.mornings[service.due].date().isoformat(),
        days_moved=day - service.due,
        fittings=len(joint.fittings),
        strokes=takes.strokes,
        grease=takes.grease.name,
        backlog=service.backlog,
    )


def morning_plan(
    rows: JointRows,
    services: Sequence[DueService],
    *,
    given: Given,
    level: LevelWeek,
    calendar: Calendar,
    plan: RoundPlan | None,
) -> MorningPlan:
    """One morning of the week; without ``plan`` only what it was given and the estimate."""
    mine = [services[i] for i in given.services]
    technicians = plan.technicians if plan else ()
    cartridges = plan.cartridges if plan else {}
    return MorningPlan(
        at=calendar.mornings[given.day].isoformat(),
        services=tuple(_planned(rows, s, day=given.day, calendar=calendar) for s in mine),
        units=len({int(rows.unit[s.row]) for s in mine}),
        fittings=sum(len(rows.joints[s.row].fittings) for s in mine),
        estimate_min=round(int(level.answer.load_ms[given.day]) / MS_PER_S / S_PER_MIN, 2),
        technicians=tuple(_technician(t) for t in technicians),
        cartridges={name: count.used for name, count in sorted(cartridges.items())},
        left=plan.left if plan else (),
    )
