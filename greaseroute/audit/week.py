"""The audit of a week: every joint day by day from the raw records, and every sum told."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import pairwise
from zoneinfo import ZoneInfo

from greaseroute.audit.cartridges import strokes_in
from greaseroute.audit.due import UnitJoint, Wear, wear, works
from greaseroute.audit.finding import AuditReport, Finding, Where
from greaseroute.audit.moments import Clock, sets_off, shift_begins
from greaseroute.plan.week import MorningPlan, PlannedService, WeekPlan
from greaseroute.site.model import Site

EVEN = 1e-6
SHARE_OFF = 0.002  # shares are told with four places, meters with tenths of an hour
MINUTES_OFF = 0.06  # minutes are told with two places, of several people
CLOCK_S = 1.5


@dataclass(frozen=True, eq=False)
class WeekCase:
    """The raw site and the week."""

    site: Site
    week: WeekPlan

    @cached_property
    def days(self) -> dict[date, MorningPlan]:
        """The mornings by date."""
        return {datetime.fromisoformat(m.at).date(): m for m in self.week.mornings}

    @cached_property
    def first(self) -> datetime:
        """The first morning, on the site's clock."""
        first = datetime.fromisoformat(self.week.mornings[0].at)
        return first.astimezone(ZoneInfo(self.site.time_zone))

    @cached_property
    def wear(self) -> Mapping[UnitJoint, Wear]:
        """What is used of every joint on the first morning."""
        return wear(self.site, self.first)

    @cached_property
    def hours(self) -> Mapping[str, float]:
        """Hours of each unit on a working day, as told."""
        return {h.unit: h.mean_h for h in self.week.hours}

    @cached_property
    def planned(self) -> dict[UnitJoint, list[tuple[date, PlannedService]]]:
        """The services of each joint."""
        found: dict[UnitJoint, list[tuple[date, PlannedService]]] = {}
        for day, morning in self.days.items():
            for service in morning.services:
                found.setdefault((service.unit, service.joint), []).append((day, service))
        return found

    @cached_property
    def left_on(self) -> dict[UnitJoint, list[date]]:
        """The mornings that left a joint out."""
        found: dict[UnitJoint, list[date]] = {}
        for day, morning in self.days.items():
            for left in morning.left:
                found.setdefault((left.unit, left.joint), []).append(day)
        return found

    @cached_property
    def never(self) -> set[UnitJoint]:
        """Joints that nobody can grease as things stand, as told."""
        mend = {(x.unit, x.joint) for x in self.week.mend_first if x.fitting is None}
        return mend | {(x.unit, x.joint) for x in self.week.no_gun}

    def after(self, day: date) -> date:
        """The next working day."""
        following = (day + timedelta(days=k) for k in range(1, 400))
        return next(d for d in following if works(self.site, d))

    def worked(self, begin: date, end: date) -> int:
        """Working days from one date to the day before another."""
        days = (begin + timedelta(days=k) for k in range((end - begin).days))
        return sum(works(self.site, d) for d in days)

    def used(self, key: UnitJoint, since: date | None, day: date) -> float | None:
        """Share of a joint's interval used on a day, greased last ``since`` (None: by record)."""
        state = self.wear[key]
        begin = since or self.first.date()
        if since is not None:
            state = replace(state, hours_h=0.0, days=0)
        more_h = self.worked(begin, day) * self.hours.get(key[0], 0.0)
        return state.used(more_h, (day - begin).days)


Promise = Callable[[WeekCase], Iterator[Finding]]


def mornings_are_worked(case: WeekCase) -> Iterator[Finding]:
    """Every morning is on a working day, one after the other, at the same time of day."""
    days = list(case.days)
    for before, day in zip([None, *days], days, strict=False):
        if not works(case.site, day):
            yield Where(at=day.isoformat()).finding("calendar", "is no working day")
        if before is not None and case.after(before) != day:
            what = f"does not follow {before.isoformat()} in the site's calendar"
            yield Where(at=day.isoformat()).finding("calendar", what)


def hours_are_those_of_the_fleet(case: WeekCase) -> Iterator[Finding]:
    """Hours told as those of the fleet list are."""
    units = {unit.unit: unit for unit in case.site.units}
    for told in case.week.hours:
        unit = units.get(told.unit)
        if unit is None:
            yield Where(unit=told.unit).finding("hours", "is no unit of the site")
        elif told.source == "fleet list" and abs(told.mean_h - unit.hours_per_day) > EVEN:
            what = f"{told.mean_h:g} h a day are told, the fleet list says {unit.hours_per_day:g}"
            yield Where(unit=told.unit).finding("hours", what)


def joints_are_pumped(case: WeekCase) -> Iterator[Finding]:
    """Every service is of a joint that is pumped, once a morning, and of none to mend first."""
    for day, morning in case.days.items():
        keys = [(s.unit, s.joint) for s in morning.services]
        for key in sorted(set(keys)):
            where = Where(unit=key[0], joint=key[1], at=day.isoformat())
            if key not in case.wear:
                yield where.finding("joints", "is no joint of the site that is pumped")
            if keys.count(key) > 1:
                yield where.finding("twice", "is planned twice on one morning")
            if key in case.never:
                yield where.finding("mend first", "is planned, and told as not to be greased")


def tolerance_is_kept(case: WeekCase) -> Iterator[Finding]:
    """On no morning, nor on the one after the last, is a joint over its tolerance without being
    named; none is done too early, and none that is owed is forgotten."""
    hard = {(x.unit, x.joint) for x in case.week.cannot_keep}
    for key in case.wear:
        if key not in case.never:
            yield from _course(case, key, named=key in hard)


def _course(case: WeekCase, key: UnitJoint, *, named: bool) -> Iterator[Finding]:
    """One joint from morning to morning."""
    planned, since = dict(case.planned.get(key, [])), None
    days = [*case.days, case.after(list(case.days)[-1])]
    high, left = 1 + case.week.late + SHARE_OFF, case.left_on.get(key, [])
    for day in days:
        where = Where(unit=key[0], joint=key[1], at=day.isoformat())
        used, service = case.used(key, since, day), planned.get(day)
        coming = next((s for d, s in planned.items() if d >= day), None)
        told = named or any(d <= day and (since is None or d > since) for d in left)
        told = told or (coming is not None and (coming.backlog or coming.late or coming.over))
        if (used is None or used > high) and not told:
            share = "never greased" if used is None else f"at {100 * used:.0f} % of its interval"
            yield where.finding("tolerance", f"is {share} and not named")
        if service is None:
            continue
        yield from _told_share(service, used, where)
        if used is not None and _too_early(case, key, since, day=day):
            yield where.finding("tolerance", f"is greased at {100 * used:.0f} % of its interval")
        since = day


def _told_share(service: PlannedService, used: float | None, where: Where) -> Iterator[Finding]:
    """The share told of a service is that of the records."""
    told = service.used
    if (told is None) != (used is None):
        yield where.finding("shares", f"{told} of its interval is told, {used} is used")
    elif told is not None and used is not None and abs(told - used) > SHARE_OFF * max(1, used):
        yield where.finding("shares", f"{told:.3f} of its interval is told, {used:.3f} is used")


def _too_early(case: WeekCase, key: UnitJoint, since: date | None, *, day: date) -> bool:
    """Whether a service could have waited for the next morning, and is before its tolerance."""
    state, rules = case.wear[key], case.site.rules
    used, following = case.used(key, since, day), case.after(day)
    then = case.used(key, since, following)
    if state.every_shift or used is None or then is None:
        return False
    ahead_h = rules.look_ahead_h
    begin = since or case.first.date()
    done_h = (0.0 if since else state.hours_h or 0.0) + case.worked(begin, day) * case.hours.get(
        key[0], 0.0
    )
    by_h = state.limit_h is not None and done_h >= state.limit_h - ahead_h - SHARE_OFF
    by_days = ahead_h > 0 and state.limit_days is not None and then > 1
    early = used < 1 - case.week.early - SHARE_OFF and then <= 1 + case.week.late - SHARE_OFF
    return early and not by_h and not by_days


def sums_are_right(case: WeekCase) -> Iterator[Finding]:
    """Counts of each morning, its strokes, and the longest morning are those of its parts."""
    longest = 0.0
    for day, morning in case.days.items():
        where = Where(at=day.isoformat())
        longest = max(longest, sum(t.walk_min + t.wait_min + t.work_min
                                   for t in morning.technicians))  # fmt: skip
        pairs = [
            ("units", morning.units, len({s.unit for s in morning.services})),
            ("fittings", morning.fittings, sum(s.fittings for s in morning.services)),
        ]
        if morning.technicians:
            by_people = sum(t.strokes for t in morning.technicians)
            pairs.append(("strokes", sum(morning.strokes.values()), by_people))
        for what, told, found in pairs:
            if told != found:
                yield where.finding("sums", f"{told} {what} are told, {found} add up")
    told_min = case.week.levelling.walked_longest_min
    if abs(told_min - longest) > MINUTES_OFF:
        what = f"the longest morning walked is told as {told_min:.2f} min and is {longest:.2f}"
        yield Where().finding("sums", what)


def one_account(case: WeekCase) -> Iterator[Finding]:
    """Grams and cartridges of the week are those of its mornings; forecasts lie about them."""
    walked = any(m.technicians for m in case.week.mornings)
    for grease in case.week.greases:
        grams = sum(m.grams.get(grease.grease, 0.0) for m in case.week.mornings)
        count = sum(m.cartridges.get(grease.grease, 0) for m in case.week.mornings)
        for what, told, found in (
            ("grams", grease.planned_g, grams),
            ("cartridges", grease.planned_cartridges, count),
        ):
            if walked and abs(told - found) > 0.01 * len(case.week.mornings):
                text = f"{grease.grease}: {told:g} {what} are told, the mornings take {found:g}"
                yield Where().finding("account", text)
        for spread in (grease.grams, grease.cartridges, *grease.fan):
            if not spread.p10 <= spread.p50 + EVEN <= spread.p90 + 2 * EVEN:
                yield Where().finding("account", f"{grease.grease}: P10, P50, P90 do not rise")


def guns_follow(case: WeekCase) -> Iterator[Finding]:
    """Each morning begins with the guns as left; as many cartridges go in as the strokes ask."""
    guns = {gun.name: gun for gun in case.site.guns}
    greases = {g.name: g for g in case.site.greases}
    first = {gun.name: gun.left_strokes for gun in case.site.guns}
    mornings: Sequence[MorningPlan] = case.week.mornings
    if mornings[0].guns != first and mornings[0].technicians:
        yield Where(at=mornings[0].at).finding("guns", "does not begin with the guns of the site")
    for morning, after in pairwise(mornings):
        for grease, strokes in morning.strokes.items():
            mine = [g for g in guns.values() if g.grease == grease]
            before = sum(morning.guns.get(g.name, 0) for g in mine)
            left = sum(after.guns.get(g.name, 0) for g in mine)
            full = max((strokes_in(g, greases[grease]) for g in mine), default=1)
            least = math.ceil((strokes + left - before) / full - EVEN)
            if morning.cartridges.get(grease, 0) < least:
                what = f"{grease}: {morning.cartridges.get(grease, 0)} cartridges, {least} needed"
                yield Where(at=morning.at).finding("guns", what)


def mornings_end_in_time(case: WeekCase) -> Iterator[Finding]:
    """Everybody sets off when he may and is back before the shift; minutes are those between."""
    crew = {t.name: t for t in case.site.technicians}
    for morning in case.week.mornings:
        zone = ZoneInfo(case.site.time_zone)
        clock = Clock(datetime.fromisoformat(morning.at).astimezone(zone), zone)
        end = clock.ms(shift_begins(clock, case.site.shift_start))
        for person in morning.technicians:
            where = Where(person.name, at=person.finish)
            if person.name not in crew:
                yield where.finding("site", "is no technician of the site")
                continue
            start, finish = clock.of_text(person.start), clock.of_text(person.finish)
            if start < sets_off(crew[person.name], clock) - 1:
                yield where.finding("shift", "sets off too early")
            if finish > end + 1000 * CLOCK_S and person.strokes:
                yield where.finding("shift", "is back after the shift has started")
            spent = 60 * (person.walk_min + person.wait_min + person.work_min)
            off = abs((finish - start) / 1000 - spent)
            if off > 60 * MINUTES_OFF:
                yield where.finding("sums", "minutes are not those from start to finish", off=off,
                                    measure="s")  # fmt: skip


def orders_hold_what_is_needed(case: WeekCase) -> Iterator[Finding]:
    """Packs hold the cartridges needed, by the gram."""
    greases = {g.name: g for g in case.site.greases}
    for line in case.week.orders:
        grease = greases.get(line.grease)
        if grease is None:
            yield Where().finding("orders", f"there is no grease {line.grease!r}")
            continue
        ordered_g = sum(round(1000 * p.size_kg) * p.count for p in line.packs)
        if line.packs and ordered_g + EVEN < line.need * grease.cartridge_g:
            what = f"{line.grease}: {ordered_g:g} g are ordered for {line.need} cartridges"
            yield Where().finding("orders", what)


PROMISES: tuple[Promise, ...] = (
    mornings_are_worked,
    hours_are_those_of_the_fleet,
    joints_are_pumped,
    tolerance_is_kept,
    sums_are_right,
    one_account,
    guns_follow,
    mornings_end_in_time,
    orders_hold_what_is_needed,
)


def audit_week(site: Site, week: WeekPlan, *, file: str = "week.json") -> AuditReport:
    """Every promise of a week that it does not keep; ``site`` as it is on the first morning."""
    case = WeekCase(site, week)
    if week.site != site.name:
        what = f"the week is for {week.site!r}, not {site.name!r}"
        findings: tuple[Finding, ...] = (Where().finding("site", what),)
    else:
        findings = tuple(f for promise in PROMISES for f in promise(case))
    looked = {
        "promises": len(PROMISES),
        "mornings": len(week.mornings),
        "services": sum(len(m.services) for m in week.mornings),
        "joints": len(case.wear) if week.site == site.name else 0,
    }
    return AuditReport(file=file, site=site.name, at=week.at, looked_at=looked, findings=findings)
