"""What is owed on every joint at a moment, re-derived from services, readings and intervals.

Hours on a replaced meter end at its last reading, those of the new one begin at its first; what
was worked between, and from the last reading to the moment asked about, are the unit's hours per
day, one shift a day from the start of the shift on.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import TypeVar
from zoneinfo import ZoneInfo

from greaseroute.audit.house_rules import EDGE_H, METER_SLACK_H
from greaseroute.catalogue.joint import Interval, Joint
from greaseroute.site.crew import Severity
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.site.model import Site
from greaseroute.units import S_PER_H

EVEN = 1e-9
UnitJoint = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours worked, and how many of them no meter shows."""

    worked: float
    unseen: float = 0.0


@dataclass(frozen=True, slots=True)
class Figure:
    """What a meter showed at a moment; ``new`` where it is the first figure of a new meter."""

    at: datetime
    meter_h: float
    new: bool = False


@dataclass(frozen=True, slots=True)
class Owed:
    """Whether a joint is owed (None: cannot be told from the records alone), and why."""

    due: bool | None
    why: str


Verdicts = Mapping[UnitJoint, Mapping[str, Owed]]


def owed(site: Site, at: datetime) -> Verdicts:
    """Every fitting of every joint that is pumped, of every unit, at a moment."""
    zone = ZoneInfo(site.time_zone)
    rules = {severity.name: severity for severity in site.severities}
    found: dict[UnitJoint, Mapping[str, Owed]] = {}
    services = _by_unit(site.last_services)
    readings = _by_unit(site.meter_readings)
    for unit in site.units:
        machine = site.machine(unit)
        records = services.get(unit.unit, []), readings.get(unit.unit, [])
        history = _History(site, unit, at.astimezone(zone), *records)
        rule = None if unit.severity is None else rules.get(unit.severity)
        for joint in machine.joints:
            if joint.by_hand and joint.interval is not None:
                found[unit.unit, joint.name] = {
                    fitting.name: _owed(joint, fitting.name, history, rule=rule)
                    for fitting in joint.fittings
                }
    return found


@dataclass(frozen=True, slots=True)
class Wear:
    """What is used of a joint's interval: hours and days since greased (None: not known), limits
    after severity (None: no such limit)."""

    hours_h: float | None
    days: int | None
    limit_h: float | None
    limit_days: float | None
    every_shift: bool

    def used(self, more_h: float, more_days: float) -> float | None:
        """Share used after so much more; None where no service is known."""
        if self.days is None or (self.hours_h is None and self.limit_h is not None):
            return None
        by_h = 0.0 if self.limit_h is None else ((self.hours_h or 0.0) + more_h) / self.limit_h
        by_days = 0.0 if self.limit_days is None else (self.days + more_days) / self.limit_days
        return max(by_h, by_days)


def wear(site: Site, at: datetime) -> Mapping[UnitJoint, Wear]:
    """What is used of every joint that is pumped, by its fitting that is worst off."""
    zone = ZoneInfo(site.time_zone)
    rules = {severity.name: severity for severity in site.severities}
    services, readings = _by_unit(site.last_services), _by_unit(site.meter_readings)
    found: dict[UnitJoint, Wear] = {}
    for unit in site.units:
        records = services.get(unit.unit, []), readings.get(unit.unit, [])
        history = _History(site, unit, at.astimezone(zone), *records)
        rule = None if unit.severity is None else rules.get(unit.severity)
        for joint in site.machine(unit).joints:
            if not joint.by_hand or joint.interval is None:
                continue
            each = [_wear(joint, f.name, history, rule=rule) for f in joint.fittings]
            shares = [w.used(0.0, 0.0) for w in each]
            worst = max(range(len(each)), key=lambda k: (shares[k] is None, shares[k] or 0.0))
            found[unit.unit, joint.name] = each[worst]
    return found


def _wear(joint: Joint, fitting: str, history: "_History", *, rule: Severity | None) -> Wear:
    interval, service = joint.interval, history.last_service(joint, fitting)
    assert interval is not None
    factor = 1.0 if rule is None else rule.interval_factor
    if service is not None:
        factor = _factor(rule, history, service)
    hours = None if service is None else history.hours_since(service)
    return Wear(
        hours_h=None if hours is None else hours.worked,
        days=None if service is None else history.days_since(service),
        limit_h=None if interval.hours is None else round(interval.hours * factor, 6),
        limit_days=None if interval.days is None else round(interval.days * factor, 6),
        every_shift=interval.every_shift,
    )


_R = TypeVar("_R", LastService, MeterReading)


def _by_unit(records: Iterable[_R]) -> dict[str, list[_R]]:
    found: dict[str, list[_R]] = {}
    for record in records:
        found.setdefault(record.unit, []).append(record)
    return found


@dataclass(frozen=True, slots=True)
class _History:
    """The records of one unit up to a moment."""

    site: Site
    unit: Unit
    at: datetime
    services: Sequence[LastService]
    readings: Sequence[MeterReading]

    def last_service(self, joint: Joint, fitting: str) -> LastService | None:
        """The latest service of a fitting: under the joint's name, its class or its hours.

        A service that names a fitting is of that one alone, and names the joint itself.
        """
        interval = joint.interval
        own = {_plain(name) for name in (joint.name, *joint.formerly)}
        names = set(own)
        if interval is not None:
            names.add(_plain(interval.label))
            names |= {f"{interval.hours:g} h"} if interval.hours is not None else set()
        services = [
            s
            for s in self.services
            if s.at <= self.at
            and (
                (s.fitting is None and _plain(s.joint) in names)
                or (s.fitting == fitting and _plain(s.joint) in own)
            )
        ]
        return max(services, key=lambda s: (s.at, s.meter_h), default=None)

    def hours_since(self, service: LastService) -> Hours | None:
        """Hours worked since a service; None where a meter ran back or nothing tells them."""
        meters = self._meters(service)
        for meter in meters:
            if any(b.meter_h < a.meter_h - METER_SLACK_H for a, b in pairwise(meter)):
                return None
        replaced = meters[:-1]
        if self.unit.hours_per_day == 0 and any(len(meter) == 1 for meter in replaced):
            return None
        shown_h = sum(max(0.0, meter[-1].meter_h - meter[0].meter_h) for meter in meters)
        gaps = [(old[-1].at, new[0].at) for old, new in pairwise(meters)]
        unseen_h = sum(self._by_the_day(*gap) for gap in [*gaps, (meters[-1][-1].at, self.at)])
        return Hours(shown_h + unseen_h, unseen_h)

    def _meters(self, service: LastService) -> list[list[Figure]]:
        """The figures of each meter since a service, in order; the last one is the newest."""
        listed = Figure(self._listed_at, self.unit.meter_h)
        figures = [Figure(r.at, r.meter_h, r.new_meter) for r in self.readings]
        figures += [Figure(s.at, s.meter_h) for s in self.services]
        later = [f for f in figures if service.at < f.at <= self.at and f.at != listed.at]
        if service.at < listed.at or (service.at == listed.at and not later):
            later.append(listed)
        meters = [[Figure(service.at, service.meter_h)]]
        for figure in sorted(later, key=lambda f: (f.at, f.meter_h)):
            if figure.new:
                meters.append([])
            meters[-1].append(figure)
        return meters

    @property
    def _listed_at(self) -> datetime:
        """When the fleet list's figure was read: at the moment planned for in the site file.

        A record has brought every figure forward to the moment asked about.
        """
        planned = self.site.planned_for
        return self.at if planned is None or self.site.past.events else min(self.at, planned)

    def _by_the_day(self, begin: datetime, end: datetime) -> float:
        """Hours worked between two moments, as far as each day's shift lies between them."""
        zone = self.at.tzinfo
        first, last = begin.astimezone(zone), end.astimezone(zone)
        clock = time.fromisoformat(self.site.shift_start)
        worked_s = 0.0
        for day in range(-1, (last.date() - first.date()).days + 1):
            if not works(self.site, first.date() + timedelta(days=day)):
                continue
            opens = datetime.combine(first.date() + timedelta(days=day), clock, tzinfo=zone)
            closes = opens + timedelta(hours=self.unit.hours_per_day)
            inside = min(closes, last) - max(opens, first)
            worked_s += max(0.0, inside.total_seconds())
        return worked_s / S_PER_H

    @property
    def ahead_days(self) -> int:
        """Days up to the next round, on the next working day; 0 where the site does not look ahead.

        What falls due before that round is due now.
        """
        if self.site.rules.look_ahead_h <= 0:
            return 0
        today = _date(self.at, self.at)
        ahead = (d for d in range(1, 400) if works(self.site, today + timedelta(days=d)))
        return next(ahead, 1)

    def days_since(self, service: LastService) -> int:
        """Midnights passed on the site since a service."""
        return (_date(self.at, self.at) - _date(service.at, self.at)).days


def works(site: Site, day: date) -> bool:
    """Whether a day is worked on the site: no weekday off, no holiday."""
    names = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    off = site.work_days
    return names[day.weekday()] not in off.days_off and day not in off.holidays


def _date(moment: datetime, like: datetime) -> date:
    return moment.astimezone(like.tzinfo).date()


def _plain(name: str) -> str:
    return " ".join(name.lower().split())


def _factor(rule: Severity | None, history: _History, service: LastService) -> float:
    """By what an interval is shortened: by the rule, if one day since the service is in season."""
    if rule is None:
        return 1.0
    begin, end = rule.season_from, rule.season_to
    if begin is None or end is None:
        return rule.interval_factor
    today, day = _date(history.at, history.at), _date(service.at, history.at)
    while day <= today:
        text = f"{day.month:02d}-{day.day:02d}"
        inside = begin <= text <= end if begin <= end else not end < text < begin
        if inside:
            return rule.interval_factor
        day += timedelta(days=1)
    return 1.0


def _owed(joint: Joint, fitting: str, history: _History, *, rule: Severity | None) -> Owed:
    interval = joint.interval
    assert interval is not None
    service = history.last_service(joint, fitting)
    if service is None:
        return Owed(True, "no service is on record")
    hours, days = history.hours_since(service), history.days_since(service)
    factor = _factor(rule, history, service)
    ahead_h = history.site.rules.look_ahead_h
    verdicts = [
        _by_hours(interval, hours, factor=factor, ahead_h=ahead_h),
        _by_days(interval, days, factor=factor, ahead_days=history.ahead_days),
        _by_shift(interval, days),
    ]
    return _first_of([v for v in verdicts if v is not None])


def _first_of(verdicts: Sequence[Owed]) -> Owed:
    """Due where any limit says so, else unknown where any limit does not know."""
    for wanted in (True, None):
        found = next((v for v in verdicts if v.due is wanted), None)
        if found is not None:
            return found
    return Owed(False, "; ".join(v.why for v in verdicts))


def _by_hours(
    interval: Interval, hours: Hours | None, *, factor: float, ahead_h: float
) -> Owed | None:
    if interval.hours is None:
        return None
    if hours is None:
        return Owed(True, "its meter ran back, or nothing tells the hours of the one before")
    limit_h = round(interval.hours * factor, 6)
    over_h = hours.worked - (limit_h - ahead_h)
    why = f"{hours.worked:.1f} h worked of {limit_h:g} h"
    if hours.unseen:
        why += f", {hours.unseen:.1f} h of them by hours per day"
        if abs(over_h) <= EDGE_H:
            return Owed(None, why)
    return Owed(over_h >= -EVEN, why)


def _by_days(interval: Interval, days: int, *, factor: float, ahead_days: int) -> Owed | None:
    if interval.days is None:
        return None
    limit = round(interval.days * factor, 6)
    due = days >= limit - EVEN or limit - days < ahead_days - EVEN
    return Owed(due, f"{days} days of {limit:g}")


def _by_shift(interval: Interval, days: int) -> Owed | None:
    if not interval.every_shift:
        return None
    return Owed(days >= 1, "every shift" if days else "every shift, and done today")
