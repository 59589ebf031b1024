"""A morning and the levelling as they are written to ``week.json``."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from greaseroute.forecast.level_week import LevelWeek, Service
from greaseroute.forecast.week_rounds import Morning, share_of
from greaseroute.forecast.windows import BEFORE, CourseMaker, date_text
from greaseroute.plan.round import TechnicianPlan
from greaseroute.plan.week import (
    CannotKeep,
    LevellingReport,
    MorningPlan,
    PlannedService,
    TechnicianMorning,
)
from greaseroute.solvers.arrays import IntArray
from greaseroute.units import MS_PER_S, S_PER_MIN

CANNOT_HELPS = "the operator during the shift, or a second round on the day"
GAP_HELPS = "a round on a day between, or the operator during the shift"


def minutes(milliseconds: float) -> float:
    """Minutes with two decimals."""
    return round(milliseconds / MS_PER_S / S_PER_MIN, 2)


def _technician(plan: TechnicianPlan, *, longer_s: float) -> TechnicianMorning:
    fittings = [f for stop in plan.stops for stand in stop.stands for f in stand.fittings]
    finish = datetime.fromisoformat(plan.finish) + timedelta(seconds=longer_s)
    return TechnicianMorning(
        name=plan.name,
        walk_min=round(plan.walk_s / S_PER_MIN, 2),
        wait_min=round(plan.wait_s / S_PER_MIN, 2),
        work_min=round((plan.work_s + longer_s) / S_PER_MIN, 2),
        walk_m=round(plan.walk_m, 1),
        strokes=sum(f.strokes for f in fittings),
        start=plan.start,
        finish=finish.isoformat(timespec="seconds"),
        units=tuple(stop.unit for stop in plan.stops if not stop.reload),
    )


def planned_service(maker: CourseMaker, service: Service) -> PlannedService:
    """A service as it is told."""
    rows, calendar = maker.rows, maker.calendar
    item, joint, takes = (
        rows.items[service.row], rows.joints[service.row], rows.services[service.row],
    )  # fmt: skip
    due = calendar.after if service.due >= len(calendar) else calendar.mornings[service.due]
    share = share_of(maker, service)
    return PlannedService(
        unit=item.unit,
        joint=item.joint,
        interval=item.interval,
        due=due.date().isoformat(),
        days_moved=service.day - service.due,
        fittings=len(joint.fittings),
        strokes=takes.strokes,
        grease=takes.grease.name,
        used=None if np.isinf(share) else round(share, 4),
        after="" if service.begun == BEFORE else _date(maker, service.begun),
        backlog=service.backlog,
        late=service.late,
        over=service.over,
    )


def _date(maker: CourseMaker, day: int) -> str:
    return maker.calendar.mornings[day].date().isoformat()


def morning_plan(
    maker: CourseMaker, morning: Morning, *, level: LevelWeek, capacity_ms: IntArray
) -> MorningPlan:
    """One morning of the week; without a round only what it was given and the estimate."""
    rows, account, plan = maker.rows, morning.account, morning.plan
    technicians = plan.technicians if plan else ()
    ordered = sorted(morning.services, key=lambda s: s.row)
    return MorningPlan(
        at=maker.calendar.mornings[morning.day].isoformat(),
        services=tuple(planned_service(maker, s) for s in ordered),
        tried=tuple(planned_service(maker, s) for s in sorted(morning.tried, key=lambda s: s.row)),
        units=len({int(rows.unit[s.row]) for s in ordered}),
        fittings=sum(len(rows.joints[s.row].fittings) for s in ordered),
        estimate_min=minutes(int(level.answer.load_ms[morning.day])),
        technicians=tuple(
            _technician(t, longer_s=account.longer_s.get(t.name, 0.0)) for t in technicians
        ),
        window_min=minutes(int(capacity_ms[morning.day])),
        strokes=dict(sorted(account.strokes.items())),
        grams={name: round(g, 3) for name, g in sorted(account.grams.items())},
        cartridges=dict(sorted(account.cartridges.items())),
        guns=dict(morning.guns),
        left=morning.left,
    )


def cannot_keep(
    maker: CourseMaker, services: Sequence[Service], *, beyond: Sequence[int]
) -> tuple[CannotKeep, ...]:
    """Joints whose interval no morning keeps, each with the share used by the next one."""
    rows, worst = maker.rows, dict[int, tuple[float, bool]]()
    for service in (s for s in services if s.over):
        _worst(worst, service.row, (share_of(maker, service), _is_gap(maker, service.day - 1)))
    last = {s.row: s.day for s in services}
    for row in beyond:
        share = maker.wear.shares(rows, row, begun=last.get(row, BEFORE))
        _worst(worst, row, (float(share[-1]), _is_gap(maker, len(maker.calendar) - 1)))
    return tuple(
        CannotKeep(
            unit=rows.items[row].unit,
            joint=rows.items[row].joint,
            interval=rows.items[row].interval,
            used=round(share, 4),
            helps=GAP_HELPS if gap else CANNOT_HELPS,
        )
        for row, (share, gap) in sorted(worst.items())
        if np.isfinite(share)  # never recorded and not done: told as left out
    )


def _worst(worst: dict[int, tuple[float, bool]], row: int, found: tuple[float, bool]) -> None:
    if row not in worst or found[0] > worst[row][0]:
        worst[row] = found


def _is_gap(maker: CourseMaker, day: int) -> bool:
    """Whether days off follow a morning."""
    return maker.calendar.step_days[max(0, day)] > 1


def overruns(maker: CourseMaker, level: LevelWeek, capacity_ms: IntArray) -> tuple[str, ...]:
    """Mornings whose reckoned minutes are more than there are."""
    over = np.flatnonzero(level.answer.load_ms > capacity_ms)
    return tuple(date_text(maker.calendar.mornings[day]) for day in over)


def levelling_report(
    maker: CourseMaker, level: LevelWeek, *, capacity_ms: IntArray, walked_min: Sequence[float]
) -> LevellingReport:
    """How level the mornings are, beside greasing each joint on the day it falls due."""
    answer = level.answer
    due_longest = int(level.due_load_ms.max(initial=0))

    def name(row: int) -> str:
        item = maker.rows.items[row]
        return f"{item.unit} {item.joint}"

    lower = max(1, answer.lower_ms)
    return LevellingReport(
        longest_min=minutes(answer.longest_ms),
        lower_min=minutes(answer.lower_ms),
        gap_pct=round(100 * (answer.longest_ms - answer.lower_ms) / lower, 2),
        status=answer.status,
        visits=answer.visits,
        fewest_visits=answer.fewest_visits,
        due_day_longest_min=minutes(due_longest),
        due_day_visits=level.due_visits,
        shorter_pct=round(100 * (1 - answer.longest_ms / max(1, due_longest)), 1),
        moved=sum(s.day != s.due and not s.backlog for s in level.services),
        walked_longest_min=round(max(walked_min, default=0.0), 2),
        late=tuple(name(row) for row in level.late),
        overrun=overruns(maker, level, capacity_ms),
    )
