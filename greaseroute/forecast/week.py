"""The week ahead: mornings levelled and planned, grease forecast, orders."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np

from greaseroute.forecast.calendar import Calendar
from greaseroute.forecast.grease import grease_weeks, quantiles
from greaseroute.forecast.hours import day_hours
from greaseroute.forecast.joints import FloatArray, JointRows, joint_rows
from greaseroute.forecast.level_week import LevelWeek, level_week
from greaseroute.forecast.orders import DEFAULT_SERVICE_LEVEL, order_list
from greaseroute.forecast.renewal import expected_services
from greaseroute.forecast.simulation import LEAST_WEEKS, Weeks, expected_mornings, simulate
from greaseroute.forecast.week_rounds import (
    PlanMornings,
    date_text,
    given_mornings,
    morning_items,
    morning_plan,
)
from greaseroute.forecast.what_if import WhatIf, wear_rates
from greaseroute.forecast.windows import DueService, Tolerance, WearDays, due_services, wear_days
from greaseroute.plan.round import LeftOut, RoundPlan
from greaseroute.plan.week import (
    DayHours,
    GreaseWeek,
    LevellingReport,
    MorningPlan,
    OrderLine,
    WeekPlan,
    WhatIfResult,
)
from greaseroute.site.model import Site
from greaseroute.site.morning import morning_of, start_of
from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.cp.levelling import LEFT_OUT
from greaseroute.units import MS_PER_S, S_PER_MIN
from greaseroute.visits.work import left_out

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class WeekSettings:
    """What may be set for a week; the defaults are those of the command."""

    tolerance: Tolerance = field(default_factory=Tolerance)
    service_level: float = DEFAULT_SERVICE_LEVEL
    weeks: int = LEAST_WEEKS
    seed: int = 1
    levelling_work: float = 1.0
    what_ifs: tuple[WhatIf, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Span:
    """What a week is planned from: the site, its joints, the calendar, hours in fleet order."""

    site: Site
    rows: JointRows
    calendar: Calendar
    hours: tuple[DayHours, ...]
    settings: WeekSettings


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What falls due when, at given wear rates: the services of the span with their windows."""

    rates: FloatArray
    wear: WearDays
    services: tuple[DueService, ...]


def course_of(span: Span, *, what_ifs: Sequence[WhatIf] = ()) -> Course:
    """The expected course of the span: every unit works its expected hours."""
    rates = wear_rates(span.site, span.calendar, what_ifs=what_ifs)
    due = expected_mornings(
        span.rows,
        span.calendar,
        day_hours=span.hours,
        rates=rates,
        ahead_h=span.site.rules.look_ahead_h,
    )
    mean_h = np.array([h.mean_h for h in span.hours])
    wear = wear_days(span.rows, span.calendar, mean_h=mean_h, rates=rates)
    tolerance = span.settings.tolerance
    return Course(rates, wear, due_services(span.rows, due, wear=wear, tolerance=tolerance))


def morning_capacity_ms(site: Site, calendar: Calendar) -> IntArray:
    """(D,) time of all technicians together from each one's start to the shift start."""
    found = []
    for moment in calendar.mornings:
        morning = morning_of(site, moment)
        free = [max(0, morning.end_ms - start_of(t, morning)) for t in site.technicians]
        found.append(sum(free))
    return np.array(found, dtype=np.int64)


def _minutes(milliseconds: int) -> float:
    return round(milliseconds / MS_PER_S / S_PER_MIN, 2)


def levelling_report(
    rows: JointRows, services: Sequence[DueService], level: LevelWeek
) -> LevellingReport:
    """How level the mornings are, beside greasing each joint on the day it falls due."""
    answer = level.answer
    due_longest = int(level.due_load_ms.max(initial=0))
    moved = sum(
        int(d) not in (LEFT_OUT, s.due) for d, s in zip(answer.morning, services, strict=True)
    )

    def name(i: int) -> str:
        item = rows.items[services[i].row]
        return f"{item.unit} {item.joint}"

    lower = max(1, answer.lower_ms)
    return LevellingReport(
        longest_min=_minutes(answer.longest_ms),
        lower_min=_minutes(answer.lower_ms),
        gap_pct=round(100 * (answer.longest_ms - answer.lower_ms) / lower, 2),
        status=answer.status,
        visits=answer.visits,
        fewest_visits=answer.fewest_visits,
        due_day_longest_min=_minutes(due_longest),
        due_day_visits=level.due_visits,
        shorter_pct=round(100 * (1 - answer.longest_ms / max(1, due_longest)), 1),
        moved=moved,
        late=tuple(name(i) for i in level.late),
        no_room=tuple(name(int(i)) for i in np.flatnonzero(answer.morning == LEFT_OUT)),
    )


def _what_if(span: Span, *, base: Weeks) -> WhatIfResult | None:
    what_ifs = span.settings.what_ifs
    if not what_ifs:
        return None
    course = course_of(span, what_ifs=what_ifs)
    weeks = _simulated(span, course.rates)
    level = levelled(span, course)
    mean, was = float(weeks.services.sum(1).mean()), float(base.services.sum(1).mean())
    return WhatIfResult(
        what=tuple(what_if.text for what_if in what_ifs),
        services_mean=round(mean, 2),
        services_change=round(mean - was, 2),
        grams={n: quantiles(weeks.grams[:, :, g].sum(1)) for g, n in enumerate(weeks.greases)},
        cartridges={
            n: quantiles(weeks.cartridges[:, :, g].sum(1)) for g, n in enumerate(weeks.greases)
        },
        longest_min=_minutes(level.answer.longest_ms),
    )


def levelled(span: Span, course: Course) -> LevelWeek:
    """Every service of a course on its morning."""
    return level_week(
        span.site,
        span.rows,
        course.services,
        capacity_ms=morning_capacity_ms(span.site, span.calendar),
        seed=span.settings.seed,
        work=span.settings.levelling_work,
    )


def _simulated(span: Span, rates: FloatArray, *, ordinary: bool = False) -> Weeks:
    return simulate(
        span.rows,
        span.calendar,
        day_hours=span.hours,
        rates=rates,
        ahead_h=span.site.rules.look_ahead_h,
        weeks=span.settings.weeks,
        seed=span.settings.seed,
        ordinary=ordinary,
    )


def _no_gun(rows: JointRows) -> tuple[LeftOut, ...]:
    return tuple(left_out(item, reason) for item, reason in rows.no_gun)


def _notes(hours: Sequence[DayHours], calendar: Calendar) -> tuple[str, ...]:
    read = sum(h.source == "meter readings" for h in hours)
    fell = [h.unit for h in hours if h.falls]
    notes = [
        f"hours a day: {read} units from their own meter readings, {len(hours) - read} from the "
        "fleet list with a spread of a quarter",
        "units are taken to stand where the fleet list has them on every morning",
    ]
    if fell:
        notes.append(f"the meter fell back on {', '.join(fell)}: those readings are left out")
    if all(step == 1 for step in calendar.step_days):
        notes.append("every day is taken as worked; give --days-off and --holiday where not")
    return tuple(notes)


def plan_mornings(
    span: Span,
    course: Course,
    level: LevelWeek,
    *,
    plan: PlanMornings | None,
    progress: Progress,
) -> tuple[MorningPlan, ...]:
    """A real round for each morning; a morning with nothing to do has none."""
    rows, calendar, services = span.rows, span.calendar, course.services
    mornings = given_mornings(level, days=len(calendar))
    asked = {
        given.day: (
            calendar.mornings[given.day],
            morning_items(rows, services, given=given, wear=course.wear, calendar=calendar),
        )
        for given in mornings
        if given.services and plan
    }
    planned: dict[int, RoundPlan] = {}
    if plan:
        for day, done in zip(asked, plan(list(asked.values())), strict=True):
            planned[day] = done
            progress(f"round of {date_text(calendar.mornings[day])} planned")
    return tuple(
        morning_plan(
            rows, services, given=given, level=level, calendar=calendar, plan=planned.get(given.day)
        )
        for given in mornings
    )


@dataclass(frozen=True, slots=True)
class _Used:
    """Grease of the span, with orders and the what-if."""

    services_mean: float
    services_expected: float
    greases: tuple[GreaseWeek, ...]
    orders: tuple[OrderLine, ...]
    what_if: WhatIfResult | None


def _grease_used(span: Span, course: Course) -> _Used:
    site, rows, calendar = span.site, span.rows, span.calendar
    weeks = _simulated(span, course.rates)
    expected = expected_services(
        rows, calendar, day_hours=span.hours, ahead_h=site.rules.look_ahead_h
    )
    greases = grease_weeks(rows, weeks, greases=site.greases, expected=expected)
    orders = order_list(
        site.greases,
        steady=_simulated(span, course.rates, ordinary=True),
        weeks=greases,
        calendar=calendar,
        service_level=span.settings.service_level,
    )
    mean = float(weeks.services.sum(axis=1).mean())
    what_if = _what_if(span, base=weeks)
    return _Used(round(mean, 3), round(float(expected.sum()), 3), greases, orders, what_if)


def _silent(_: str) -> None:
    """Tell nobody."""


def plan_week(span: Span, *, plan: PlanMornings | None, progress: Progress = _silent) -> WeekPlan:
    """The week: what falls due, on which morning it is done, what it uses, what to order.

    ``plan`` plans the rounds of the mornings; without it mornings carry the levelling's estimate
    alone. The same span and seed give the same record.
    """
    course = course_of(span)
    progress(f"levelling {len(course.services)} services over {len(span.calendar)} mornings")
    level = levelled(span, course)
    mornings = plan_mornings(span, course, level, plan=plan, progress=progress)
    progress(f"simulating {span.settings.weeks} weeks")
    used = _grease_used(span, course)
    return WeekPlan(
        site=span.site.name,
        at=span.calendar.mornings[0].isoformat(),
        seed=span.settings.seed,
        shift_start=span.site.shift_start,
        weeks_simulated=span.settings.weeks,
        services_mean=used.services_mean,
        services_expected=used.services_expected,
        mornings=mornings,
        levelling=levelling_report(span.rows, course.services, level),
        greases=used.greases,
        orders=used.orders,
        hours=span.hours,
        what_if=used.what_if,
        no_gun=_no_gun(span.rows),
        notes=_notes(span.hours, span.calendar),
        complete=all(not m.left for m in mornings),
    )


def span_of(
    site: Site,
    at: datetime,
    *,
    calendar: Calendar,
    days_off: Collection[str] = (),
    holidays: Collection[date] = (),
    settings: WeekSettings | None = None,
) -> Span:
    """The span from ``at`` on: the site's joints as they stand then, each unit's expected hours."""
    hours = tuple(
        day_hours(unit, site.meter_readings, days_off=days_off, holidays=holidays)
        for unit in site.units
    )
    return Span(site, joint_rows(site, at), calendar, hours, settings or WeekSettings())
