"""What is owed on every joint at a moment, re-derived from services, readings and intervals.

Hours on a replaced meter end at its last reading; what was worked between that and the first
reading of the new one is known within limits only (nothing, or hours per day). Where both ends
of such limits lead to the same answer it is given, else none.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import TypeVar
from zoneinfo import ZoneInfo

from greaseroute.audit.house_rules import METER_SLACK_H
from greaseroute.catalogue.joint import Interval, Joint
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.site.model import Site

DAY_S = 86_400.0
EVEN = 1e-9
UnitJoint = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours worked, within limits."""

    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Owed:
    """Whether a joint is owed (None: cannot be told from the records alone), and why."""

    due: bool | None
    why: str


def owed(site: Site, at: datetime) -> Mapping[UnitJoint, Owed]:
    """Every joint that is pumped, of every unit, at a moment."""
    zone = ZoneInfo(site.time_zone)
    factor = {severity.name: severity.interval_factor for severity in site.severities}
    found: dict[UnitJoint, Owed] = {}
    services = _by_unit(site.last_services)
    readings = _by_unit(site.meter_readings)
    for unit in site.units:
        machine = site.types[unit.type].with_attachments(unit.attachments)
        records = services.get(unit.unit, []), readings.get(unit.unit, [])
        history = _History(site, unit, at.astimezone(zone), *records)
        shorter = 1.0 if unit.severity is None else factor.get(unit.severity, 1.0)
        for joint in machine.joints:
            if not (joint.never_pump or joint.central) and joint.interval is not None:
                found[unit.unit, joint.name] = _owed(joint, history, factor=shorter)
    return found


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

    def last_service(self, joint: Joint) -> LastService | None:
        """The latest service recorded under the joint's name, its class or its hours."""
        interval = joint.interval
        names = {_plain(joint.name)}
        if interval is not None:
            names.add(_plain(interval.label))
            names |= {f"{interval.hours:g} h"} if interval.hours is not None else set()
        services = [s for s in self.services if _plain(s.joint) in names and s.at <= self.at]
        return max(services, key=lambda s: (s.at, s.meter_h), default=None)

    def hours_since(self, service: LastService) -> Hours | None:
        """Hours worked since a service; None where a meter ran back and nobody says why."""
        worked = Hours(0.0, 0.0)
        for meter, gap_days in self._meters(service):
            figures = [h for _, h in meter]
            if any(b < a - METER_SLACK_H for a, b in pairwise(figures)):
                return None
            shown_h = max(0.0, figures[-1] - figures[0])
            between_h = gap_days * self.unit.hours_per_day
            worked = Hours(worked.least + shown_h, worked.most + shown_h + between_h)
        ahead = self._forward()
        return Hours(worked.least + ahead.least, worked.most + ahead.most)

    def _meters(self, service: LastService) -> list[tuple[list[tuple[datetime, float]], float]]:
        """Dated figures of each meter since a service, and days from its last to the next."""
        every: list[LastService | MeterReading] = [*self.services, *self.readings]
        records = [r for r in every if service.at < r.at < self._read_at]
        meters: list[list[tuple[datetime, float]]] = [[(service.at, service.meter_h)]]
        for record in sorted(records, key=lambda r: (r.at, r.meter_h)):
            if isinstance(record, MeterReading) and record.new_meter:
                meters.append([])
            meters[-1].append((record.at, record.meter_h))
        meters[-1].append((self._read_at, self.unit.meter_h))
        gaps = [(b[0][0] - a[-1][0]).total_seconds() / DAY_S for a, b in pairwise(meters)]
        return list(zip(meters, [*gaps, 0.0], strict=True))

    @property
    def _read_at(self) -> datetime:
        """When the fleet list's figure was read: at the moment planned for in the site file."""
        planned = self.site.planned_for
        return self.at if planned is None else min(self.at, planned)

    def _forward(self) -> Hours:
        """What is worked from that reading on to the moment asked about."""
        days = (_date(self.at, self.at) - _date(self._read_at, self.at)).days
        exact = (self.at - self._read_at).total_seconds() / DAY_S
        per_day = self.unit.hours_per_day
        return Hours(per_day * min(days, exact), per_day * max(days, exact))

    def days_since(self, service: LastService) -> int:
        """Midnights passed on the site since a service."""
        return (_date(self.at, self.at) - _date(service.at, self.at)).days


def _date(moment: datetime, like: datetime) -> date:
    return moment.astimezone(like.tzinfo).date()


def _plain(name: str) -> str:
    return " ".join(name.lower().split())


def _owed(joint: Joint, history: _History, *, factor: float) -> Owed:
    interval = joint.interval
    assert interval is not None
    service = history.last_service(joint)
    if service is None:
        return Owed(True, "no service is on record")
    hours, days = history.hours_since(service), history.days_since(service)
    ahead_h = history.site.rules.look_ahead_h
    verdicts = [
        _by_hours(interval, hours, factor=factor, ahead_h=ahead_h),
        _by_days(interval, days, factor=factor, looks_ahead=ahead_h > 0),
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
    interval: Interval, worked: Hours | None, *, factor: float, ahead_h: float
) -> Owed | None:
    if interval.hours is None:
        return None
    if worked is None:
        return Owed(True, "its meter ran back: hours unknown")
    limit_h = round(interval.hours * factor, 6)
    why = f"{_range(worked)} worked of {limit_h:g} h"
    surely, perhaps = (h >= limit_h - ahead_h - EVEN for h in (worked.least, worked.most))
    return Owed(surely if surely == perhaps else None, why)


def _range(worked: Hours) -> str:
    if worked.most - worked.least < METER_SLACK_H:
        return f"{worked.least:.1f} h"
    return f"{worked.least:.1f} to {worked.most:.1f} h"


def _by_days(interval: Interval, days: int, *, factor: float, looks_ahead: bool) -> Owed | None:
    if interval.days is None:
        return None
    limit = round(interval.days * factor, 6)
    due = days >= limit - EVEN or (looks_ahead and limit - days < 1 - EVEN)
    return Owed(due, f"{days} days of {limit:g}")


def _by_shift(interval: Interval, days: int) -> Owed | None:
    if not interval.every_shift:
        return None
    return Owed(days >= 1, "every shift" if days else "every shift, and done today")
