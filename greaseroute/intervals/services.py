"""Which recorded service is the last one of a joint."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, time
from zoneinfo import ZoneInfo

from greaseroute.catalogue.joint import Joint
from greaseroute.intervals.meter import NO_HOURS, Reading
from greaseroute.ledger.meters import WorkingDay
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.site.moment import in_zone
from greaseroute.site.work_days import EVERY_DAY, WorkDays


def _plain(name: str) -> str:
    return " ".join(name.lower().split())


def service_names(joint: Joint) -> frozenset[str]:
    """What a service of ``joint`` may be recorded under: its own name or its interval class.

    A joint of ``250 h or 30 days`` is also covered by a service recorded as ``250 h``. Names that
    it had formerly count as its own.
    """
    names = {_plain(name) for name in (joint.name, *joint.formerly)}
    if joint.interval is not None:
        names.add(_plain(joint.interval_class))
        if joint.interval.hours is not None:
            names.add(f"{joint.interval.hours:g} h")
    return frozenset(names)


Done = tuple[str, str | None]
"""What a service was of: a joint or interval class in plain letters, and a fitting or None."""


@dataclass(frozen=True, slots=True)
class UnitHistory:
    """Everything dated that is known of one unit up to a moment.

    ``now`` is what its meter shows at that moment; ``carried_h`` of it are reckoned by its ``day``
    since ``read_at``, when the meter was last read.
    """

    services: Mapping[Done, Reading]
    trace: tuple[Reading, ...]
    now: Reading
    day: WorkingDay = NO_HOURS
    carried_h: float = 0.0
    read_at: datetime | None = None

    def last_of_fittings(self, joint: Joint) -> dict[str, Reading | None]:
        """The last service of each fitting: of it alone, of its joint or its interval class."""
        names = service_names(joint)
        whole = max((r for n in names if (r := self.services.get((n, None)))), default=None)
        own = [_plain(name) for name in (joint.name, *joint.formerly)]
        return {
            fitting.name: max(
                (r for r in (whole, *(self.services.get((n, fitting.name)) for n in own)) if r),
                default=None,
            )
            for fitting in joint.fittings
        }


def unit_history(
    unit: Unit,
    at: datetime,
    *,
    zone: ZoneInfo,
    services: Iterable[LastService],
    readings: Iterable[MeterReading],
    listed_at: datetime | None = None,
    shift_start: time = time(0),
    work_days: WorkDays = EVERY_DAY,
) -> UnitHistory:
    """What is known of ``unit`` at ``at``; records dated later are left out.

    ``meter_h`` of the fleet list is the reading at ``listed_at`` (``at`` where that is not known
    or not earlier). From the last reading up to ``at`` the unit's hours per working day are added.
    """
    last: dict[Done, Reading] = {}
    trace = [
        Reading(in_zone(r.at, zone), r.meter_h, r.new_meter)
        for r in readings
        if r.unit == unit.unit
    ]
    for service in services:
        if service.unit != unit.unit:
            continue
        done = Reading(in_zone(service.at, zone), service.meter_h)
        trace.append(done)
        key = (_plain(service.joint), service.fitting)
        if done.at <= at and (key not in last or last[key] < done):
            last[key] = done
    known = tuple(sorted({r for r in trace if r.at <= at}))
    day = WorkingDay(shift_start, unit.hours_per_day, work_days=work_days)
    listed = Reading(at if listed_at is None else min(at, in_zone(listed_at, zone)), unit.meter_h)
    read = max([listed, *(r for r in known if r.at > listed.at)], key=lambda r: r.at)
    carried_h = day.hours(read.at, at)
    now = Reading(at, read.meter_h + carried_h)
    return UnitHistory(last, _with_listed(known, listed, at), now, day, carried_h, read.at)


def _with_listed(known: tuple[Reading, ...], listed: Reading, at: datetime) -> tuple[Reading, ...]:
    """The dated readings and, where it is older than ``at``, the one of the fleet list."""
    if listed.at >= at or any(r.at == listed.at for r in known):
        return known
    return tuple(sorted((*known, listed)))
