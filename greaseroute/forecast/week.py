"""The week ahead: mornings levelled and planned, grease forecast, orders."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property

import numpy as np

from greaseroute.forecast.calendar import Calendar, plan_calendar
from greaseroute.forecast.grease import Planned, grease_weeks
from greaseroute.forecast.hours import day_hours
from greaseroute.forecast.joints import FloatArray, JointRows, joint_rows
from greaseroute.forecast.level_walked import Trial, level_walked
from greaseroute.forecast.level_week import LevelWeek, Service, level_week
from greaseroute.forecast.orders import DEFAULT_SERVICE_LEVEL, order_list
from greaseroute.forecast.renewal import expected_services
from greaseroute.forecast.simulation import LEAST_WEEKS, PlannedServices, Weeks, simulate
from greaseroute.forecast.told import (
    cannot_keep,
    levelling_report,
    minutes,
    morning_plan,
    overruns,
)
from greaseroute.forecast.week_rounds import Morning, Mornings, PlanMornings
from greaseroute.forecast.what_if import WhatIf, wear_rates
from greaseroute.forecast.windows import CourseMaker, Tolerance, WearDays, wear_days
from greaseroute.plan.round import LeftOut
from greaseroute.plan.week import DayHours, GreaseWeek, OrderLine, WeekPlan, WhatIfResult
from greaseroute.site.model import Site
from greaseroute.site.morning import morning_of, start_of
from greaseroute.solvers.arrays import IntArray
from greaseroute.visits.work import left_out

Progress = Callable[[str], None]
STEADY_DAYS = 56  # of which the second half is counted: by then the beginning is forgotten
STEADY_WEEKS = 300


@dataclass(frozen=True, slots=True)
class WeekSettings:
    """What may be set for a week; the defaults are those of the command.

    ``trial_rounds`` are planned at most to level the mornings as walked; see `trial_rounds` of
    the round planner.
    """

    tolerance: Tolerance = field(default_factory=Tolerance)
    service_level: float = DEFAULT_SERVICE_LEVEL
    weeks: int = LEAST_WEEKS
    seed: int = 1
    levelling_work: float = 1.0
    trial_rounds: int = 0
    what_ifs: tuple[WhatIf, ...] = ()


@dataclass(frozen=True, eq=False)
class Span:
    """What a week is planned from: the site, its joints, the calendar, hours in fleet order."""

    site: Site
    rows: JointRows
    calendar: Calendar
    hours: tuple[DayHours, ...]
    settings: WeekSettings

    @cached_property
    def capacity_ms(self) -> IntArray:
        """(D,) time of all technicians together from each one's start to the shift start."""
        found = []
        for moment in self.calendar.mornings:
            morning = morning_of(self.site, moment)
            free = [max(0, morning.end_ms - start_of(t, morning)) for t in self.site.technicians]
            found.append(sum(free))
        return np.array(found, dtype=np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """How fast intervals are used up, and what that makes of each joint's course."""

    rates: FloatArray
    maker: CourseMaker

    @property
    def wear(self) -> WearDays:
        """What is used up by each morning."""
        return self.maker.wear


def course_of(span: Span, *, what_ifs: Sequence[WhatIf] = ()) -> Course:
    """The expected course of the span: every unit works its expected hours."""
    rates = wear_rates(span.site, span.calendar, what_ifs=what_ifs)
    mean_h = np.array([h.mean_h for h in span.hours])
    wear = wear_days(span.rows, span.calendar, mean_h=mean_h, rates=rates)
    maker = CourseMaker(
        span.rows, span.calendar, wear, span.settings.tolerance, span.site.rules.look_ahead_h
    )
    return Course(rates, maker)


def levelled(span: Span, course: Course) -> LevelWeek:
    """Every service of a course on its morning."""
    return level_week(
        span.site,
        course.maker,
        capacity_ms=span.capacity_ms,
        seed=span.settings.seed,
        work=span.settings.levelling_work,
    )


def _on_plan(span: Span, course: Course, services: Sequence[Service]) -> PlannedServices:
    """The services of a plan as the simulation follows them."""
    on = np.zeros((len(span.calendar), len(span.rows)), dtype=np.bool_)
    backlog = np.zeros_like(on)
    for service in services:
        on[service.day, service.row] = True
        backlog[service.day, service.row] = service.backlog
    never = np.zeros(len(span.rows), dtype=np.bool_)
    return PlannedServices(on, backlog, never, course.wear, span.settings.tolerance.late)


def _simulated(span: Span, rates: FloatArray, *, planned: PlannedServices | None) -> Weeks:
    return simulate(
        span.rows,
        span.calendar,
        day_hours=span.hours,
        rates=rates,
        ahead_h=span.site.rules.look_ahead_h,
        weeks=span.settings.weeks,
        seed=span.settings.seed,
        planned=planned,
    )


def steady_demand(span: Span) -> tuple[Weeks, int]:
    """Weeks long after any record, and the calendar days they span: the same for any mornings."""
    first, site = span.calendar.mornings[0], span.site
    days = (first.date() + timedelta(days=k) for k in range(STEADY_DAYS))
    worked = sum(site.work_days.works(day) for day in days)
    calendar = plan_calendar(first, worked, work_days=site.work_days)
    drawn = simulate(
        span.rows,
        calendar,
        day_hours=span.hours,
        rates=np.ones((len(site.units), len(calendar))),
        ahead_h=site.rules.look_ahead_h,
        weeks=STEADY_WEEKS,
        seed=span.settings.seed,
        ordinary=True,
    )
    half = len(calendar) // 2
    return drawn.since(half), sum(calendar.step_days[half:])


def _no_gun(rows: JointRows) -> tuple[LeftOut, ...]:
    return tuple(left_out(item, reason) for item, reason in rows.no_gun)


def _notes(hours: Sequence[DayHours], span: Span) -> tuple[str, ...]:
    read = sum(h.source == "meter readings" for h in hours)
    fell = [h.unit for h in hours if h.falls]
    notes = [
        f"hours a day: {read} units from their own meter readings, {len(hours) - read} from the "
        "fleet list with a spread of a quarter",
        "units are taken to stand where the fleet list has them on every morning",
    ]
    if fell:
        notes.append(f"the meter fell back on {', '.join(fell)}: those readings are left out")
    if not (span.site.work_days.days_off or span.site.work_days.holidays):
        notes.append("every day is taken as worked; give days_off in site.toml, or --days-off")
    return tuple(notes)


@dataclass(frozen=True, slots=True)
class _Used:
    """Grease of the span, with orders and the what-if."""

    services_mean: float
    services_expected: float
    greases: tuple[GreaseWeek, ...]
    orders: tuple[OrderLine, ...]
    what_if: WhatIfResult | None


def _planned(span: Span, mornings: Sequence[Morning]) -> list[Planned]:
    """Each morning's account, and the same by the rows of its joints."""
    found = []
    for morning in mornings:
        grams, cartridges = Counter[str](), Counter[str]()
        for service in (span.rows.services[s.row] for s in morning.services):
            grams[service.grease.name] += service.grams  # type: ignore[assignment]
            cartridges[service.grease.name] += service.cartridges  # type: ignore[assignment]
        account = morning.account
        walked = morning.plan is not None
        found.append(
            Planned(
                account.grams if walked else grams,
                account.cartridges if walked else cartridges,
                grams,
                cartridges,
            )
        )
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Demand:
    """The plan's own figures, and the demand in the long run."""

    planned: list[Planned]
    steady: Weeks
    steady_days: int


def _orders(span: Span, greases: Sequence[GreaseWeek], demand: _Demand) -> tuple[OrderLine, ...]:
    return order_list(
        span.site.greases,
        steady=demand.steady,
        steady_days=demand.steady_days,
        weeks=greases,
        calendar=span.calendar,
        service_level=span.settings.service_level,
    )


def _grease_used(
    span: Span, course: Course, mornings: Sequence[Morning], *, never: set[int]
) -> _Used:
    site, rows = span.site, span.rows
    planned = _on_plan(span, course, [s for m in mornings for s in m.services])
    planned.never[sorted(never)] = True
    weeks = _simulated(span, course.rates, planned=planned)
    expected = expected_services(
        rows, span.calendar, day_hours=span.hours, ahead_h=site.rules.look_ahead_h
    )
    demand = _Demand(_planned(span, mornings), *steady_demand(span))
    greases = grease_weeks(
        rows, weeks, greases=site.greases, expected=expected, planned=demand.planned
    )
    mean = float(weeks.services.sum(axis=1).mean())
    what_if = _what_if(span, base=weeks, demand=demand)
    orders = _orders(span, greases, demand)
    return _Used(round(mean, 3), round(float(expected.sum()), 3), greases, orders, what_if)


def _what_if(span: Span, *, base: Weeks, demand: _Demand) -> WhatIfResult | None:
    """The week levelled anew under other conditions; what that changes of the plan as walked."""
    what_ifs = span.settings.what_ifs
    if not what_ifs:
        return None
    course = course_of(span, what_ifs=what_ifs)
    level = levelled(span, course)
    weeks = _simulated(span, course.rates, planned=_on_plan(span, course, level.services))
    mean, was = float(weeks.services.sum(1).mean()), float(base.services.sum(1).mean())
    greases = grease_weeks(
        span.rows, weeks, greases=span.site.greases, expected=None, planned=demand.planned
    )
    return WhatIfResult(
        what=tuple(what_if.text for what_if in what_ifs),
        services_mean=round(mean, 2),
        services_change=round(mean - was, 2),
        grams={g.grease: g.grams for g in greases},
        cartridges={g.grease: g.cartridges for g in greases},
        longest_min=minutes(level.answer.longest_ms),
        orders=_orders(span, greases, demand),
        overrun=overruns(course.maker, level, span.capacity_ms),
    )


def _silent(_: str) -> None:
    """Tell nobody."""


# Long: one record filled field by field.
def plan_week(span: Span, *, plan: PlanMornings | None, progress: Progress = _silent) -> WeekPlan:
    """The week: what falls due, on which morning it is done, what it uses, what to order.

    ``plan`` plans the rounds of the mornings; without it mornings carry the levelling's estimate
    alone. The same span and seed give the same record.
    """
    course = course_of(span)
    maker, settings = course.maker, span.settings
    progress(f"levelling {len(span.rows)} joints over {len(span.calendar)} mornings")
    level = levelled(span, course)
    if plan is not None and settings.trial_rounds:
        progress("levelling by rounds on trial")
        trial = Trial(plan, settings.trial_rounds)
        level = level_walked(span.site, maker, level, capacity_ms=span.capacity_ms, trial=trial)
    under_way = Mornings(span.site, maker, plan, progress)
    found = under_way.run(level.services)
    progress(f"simulating {settings.weeks} weeks")
    used = _grease_used(span, course, found, never=under_way.mended_rows)
    told = tuple(morning_plan(maker, m, level=level, capacity_ms=span.capacity_ms) for m in found)
    services = [s for m in found for s in m.services]
    beyond = [row for row in level.cannot if row not in under_way.mended_rows]
    return WeekPlan(
        site=span.site.name,
        at=span.calendar.mornings[0].isoformat(),
        seed=settings.seed,
        shift_start=span.site.shift_start,
        weeks_simulated=settings.weeks,
        services_mean=used.services_mean,
        services_expected=used.services_expected,
        mornings=told,
        levelling=levelling_report(
            maker, level, capacity_ms=span.capacity_ms, walked_min=[m.minutes for m in told]
        ),
        greases=used.greases,
        orders=used.orders,
        hours=span.hours,
        what_if=used.what_if,
        no_gun=_no_gun(span.rows),
        mend_first=tuple(under_way.mend.values()),
        cannot_keep=cannot_keep(maker, services, beyond=beyond),
        early=settings.tolerance.early,
        late=settings.tolerance.late,
        catch_up=settings.tolerance.catch_up,
        days_off=span.site.work_days.days_off,
        holidays=tuple(day.isoformat() for day in span.site.work_days.holidays),
        notes=_notes(span.hours, span),
        complete=all(not m.left for m in found),
    )


def span_of(
    site: Site, at: datetime, *, mornings: int, settings: WeekSettings | None = None
) -> Span:
    """The span of so many mornings from ``at`` on: the site's joints as they stand on the first of
    them, each unit's expected hours.

    Raises UnfitProblem as `plan_calendar` does.
    """
    calendar = plan_calendar(at, mornings, work_days=site.work_days)
    hours = tuple(
        day_hours(unit, site.meter_readings, work_days=site.work_days) for unit in site.units
    )
    first = calendar.mornings[0]
    return Span(site, joint_rows(site, first), calendar, hours, settings or WeekSettings())
