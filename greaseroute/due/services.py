"""Which recorded service is the last one of a joint."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from greaseroute.catalogue.joint import Joint
from greaseroute.due.meter import Reading, in_zone
from greaseroute.site.fleet import LastService, MeterReading, Unit


def _plain(name: str) -> str:
    return " ".join(name.lower().split())


def service_names(joint: Joint) -> frozenset[str]:
    """What a service of ``joint`` may be recorded under: its own name or its interval class.

    A joint of ``250 h or 30 days`` is also covered by a service recorded as ``250 h``.
    """
    names = {_plain(joint.name)}
    if joint.interval is not None:
        names.add(_plain(joint.interval_class))
        if joint.interval.hours is not None:
            names.add(f"{joint.interval.hours:g} h")
    return frozenset(names)


@dataclass(frozen=True, slots=True)
class UnitHistory:
    """Everything dated that is known of one unit up to a moment."""

    services: Mapping[str, Reading]
    trace: tuple[Reading, ...]
    now: Reading

    def last(self, joint: Joint) -> Reading | None:
        """The last service of ``joint``, by its name or its interval class, or None."""
        found = [self.services[name] for name in service_names(joint) if name in self.services]
        return max(found, default=None)


def unit_history(
    unit: Unit,
    at: datetime,
    *,
    zone: ZoneInfo,
    services: Iterable[LastService],
    readings: Iterable[MeterReading],
) -> UnitHistory:
    """What is known of ``unit`` at ``at``; records dated later are left out.

    ``meter_h`` of the fleet list is the reading at ``at``.
    """
    now = Reading(at, unit.meter_h)
    last: dict[str, Reading] = {}
    trace = [Reading(in_zone(r.at, zone), r.meter_h) for r in readings if r.unit == unit.unit]
    for service in services:
        if service.unit != unit.unit:
            continue
        done = Reading(in_zone(service.at, zone), service.meter_h)
        trace.append(done)
        name = _plain(service.joint)
        if done.at <= at and (name not in last or last[name] < done):
            last[name] = done
    return UnitHistory(last, tuple(sorted({r for r in trace if r.at <= at})), now)
