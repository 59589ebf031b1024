"""Do services and meter readings fit the fleet, and do their hours run forwards?"""

from collections.abc import Iterator
from itertools import pairwise

from greaseroute.catalogue.joint import Joint
from greaseroute.errors import Fault
from greaseroute.site.files.draft import READINGS, SERVICES, Draft
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.texts.validation import unknown_name

NOT_YET = "the moment planned for"
LATER = "correct the date, or plan for a later moment"
BACKWARDS = "the hours run backwards: correct one, or give the reading of a new meter"


def history_faults(draft: Draft) -> Iterator[Fault]:
    """Every fault of the history."""
    for check in (unknown_units, unknown_joints, future, above_fleet, backward_hours):
        yield from check(draft)


def unknown_units(draft: Draft) -> Iterator[Fault]:
    """Services and readings of units that the fleet does not have."""
    if draft.unit_rows is None:
        return  # the fleet could not be read, which is told already
    known = list(dict.fromkeys(draft.unit_rows))
    for file, records in ((SERVICES, draft.services), (READINGS, draft.readings)):
        for record in records:
            if record.unit not in known:
                do = "add it to fleet.csv or take the row out"
                texts = unknown_name(record.unit, known, define=do)
                yield _fault(file, record, "unit", texts=(record.unit, *texts))


def unknown_joints(draft: Draft) -> Iterator[Fault]:
    """A service of a joint or interval class that the unit's type does not have."""
    for unit, service in _services(draft):
        if unit.unit not in draft.fitted:
            continue
        joints = draft.fitted[unit.unit].joints
        known = {name: None for joint in joints for name in _names(joint)}
        if " ".join(service.joint.lower().split()) not in {k.lower() for k in known}:
            define = "name a joint or an interval class of the type"
            texts = unknown_name(service.joint, list(known), define=define)
            yield _fault(SERVICES, service, "joint", texts=(service.joint, *texts))


def _names(joint: Joint) -> list[str]:
    """What a service of the joint may be recorded under: its class, its hours, its own name."""
    if joint.interval is None:
        return [joint.name]
    hours = [f"{joint.interval.hours:g} h"] if joint.interval.hours is not None else []
    return [joint.interval_class, *hours, joint.name, *joint.formerly]


def future(draft: Draft) -> Iterator[Fault]:
    """Services and readings dated after the moment planned for."""
    if draft.now is None:
        return
    for file, records in ((SERVICES, draft.services), (READINGS, draft.readings)):
        for record in records:
            if record.at > draft.now:
                value = f"{record.at:%Y-%m-%d %H:%M}"
                allowed = f"not after {NOT_YET}, {draft.now:%Y-%m-%d %H:%M}"
                yield _fault(
                    file,
                    record,
                    "at",
                    texts=(value, allowed, LATER),
                )


def above_fleet(draft: Draft) -> Iterator[Fault]:
    """A service or reading at more hours than the unit's meter shows now."""
    units = {u.unit: u for u in reversed(draft.units)}
    for name, trace in _traces(draft).items():
        unit = units.get(name)
        for file, record in trace if unit else ():
            if unit is not None and record.meter_h > unit.meter_h:
                allowed = f"at most the unit's {unit.meter_h:g} h (fleet.csv:{unit.line})"
                texts = (f"{record.meter_h:g}", allowed, BACKWARDS)
                yield _fault(file, record, "meter_h", texts=texts)


def backward_hours(draft: Draft) -> Iterator[Fault]:
    """A service or reading below an earlier one of the same unit.

    Those above the unit's meter are left out: they are told already, and would make every later
    record look backward.
    """
    now_h = {u.unit: u.meter_h for u in reversed(draft.units)}
    for name, trace in _traces(draft).items():
        believed = [d for d in trace if d[1].meter_h <= now_h.get(name, float("inf"))]
        for (earlier_file, before), (file, after) in pairwise(believed):
            if after.meter_h < before.meter_h:
                allowed = f"at least {before.meter_h:g} h as in {earlier_file}:{before.line}"
                texts = (f"{after.meter_h:g}", allowed, BACKWARDS)
                yield _fault(file, after, "meter_h", texts=texts)


def _traces(draft: Draft) -> dict[str, list[tuple[str, LastService | MeterReading]]]:
    """Each unit's (file, record) in order of time, from its newest meter on."""
    dated: list[tuple[str, LastService | MeterReading]] = [
        *((SERVICES, s) for s in draft.services),
        *((READINGS, r) for r in draft.readings),
    ]
    dated.sort(key=lambda d: (d[1].at, d[1].meter_h, d[0], d[1].line))
    traces: dict[str, list[tuple[str, LastService | MeterReading]]] = {}
    for file, record in dated:
        trace = traces.setdefault(record.unit, [])
        if isinstance(record, MeterReading) and record.new_meter:
            trace.clear()
        trace.append((file, record))
    return traces


def _services(draft: Draft) -> Iterator[tuple[Unit, LastService]]:
    """Every service with the unit it was done on, where the fleet has it."""
    units = {u.unit: u for u in reversed(draft.units)}
    for service in draft.services:
        if service.unit in units:
            yield units[service.unit], service


def _fault(
    file: str, record: LastService | MeterReading, field: str, *, texts: tuple[str, str, str]
) -> Fault:
    return Fault(file, record.line, f"unit {record.unit}", field, *texts)
