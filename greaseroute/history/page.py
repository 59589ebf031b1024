"""One machine on one page: its meter, its services, its troubles, what happened, newest first."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final
from zoneinfo import ZoneInfo

from greaseroute.catalogue.joint import Joint
from greaseroute.history.sentences import sentence_of
from greaseroute.history.use import grease_use
from greaseroute.intervals.worklist import DueItem, unit_joints, work_list
from greaseroute.ledger.checks import service_names
from greaseroute.ledger.events import Arrived, Away, Event, Greased, Happened, Left
from greaseroute.plan.history import JointNow, Line, Mark, MeterMark, UnitPast
from greaseroute.site.fleet import MeterReading, Unit
from greaseroute.site.model import Site

MOST_LINES: Final = 30
ROW_OF: Final = {
    "could_not": "could not",
    "defect": "defects",
    "uptake": "defects",
    "repaired": "defects",
}
"""The row of the plot in which a kind of event stands; services stand in that of their class."""


def unit_past(
    site: Site, unit: Unit, events: Sequence[Event], *, at: datetime, days: int
) -> UnitPast:
    """The page of ``unit`` for the ``days`` before ``at``; ``events`` are those of the unit."""
    zone = ZoneInfo(site.time_zone)
    since = at - timedelta(days=days)
    shown = [e for e in events if since < e.at <= at]
    items = [item for item in work_list(site, at) if item.unit == unit.unit]
    readings = [r for r in site.meter_readings if r.unit == unit.unit and r.at <= at]
    classes = _classes(unit_joints(site, unit))
    marks = tuple(_marks(shown, classes, zone=zone))
    lines = _lines(events, at=at, zone=zone)
    return UnitPast(
        site=site.name,
        unit=unit.unit,
        title=site.types[unit.type].title,
        at=at,
        since=since,
        days=days,
        meter_h=round(unit.meter_h, 1),
        worked_h=worked_h(readings, unit, since=since, at=at),
        meters=tuple(
            MeterMark(at=r.at, meter_h=r.meter_h, new=r.new_meter)
            for r in sorted(readings, key=lambda r: r.at)
            if r.at > since
        ),
        away=tuple(_away(events, since=since, at=at)),
        rows=tuple(dict.fromkeys([*_class_rows(unit_joints(site, unit)), *(m.row for m in marks)])),
        marks=marks,
        joints=tuple(_joints_now(items)),
        use=grease_use(events, site, at=at, days=days),
        notes=tuple(_notes(site, unit)),
        lines=tuple(lines[:MOST_LINES]),
        earlier_lines=max(0, len(lines) - MOST_LINES),
    )


def worked_h(
    readings: Sequence[MeterReading], unit: Unit, *, since: datetime, at: datetime
) -> float | None:
    """Hours on the meter since a moment: from the last reading before it, over all its meters.

    None where no reading is that old.
    """
    ordered = sorted(readings, key=lambda r: r.at)
    before = [r for r in ordered if r.at <= since]
    if not before:
        return None
    kept = [before[-1], *(r for r in ordered if r.at > since)]
    steps = [max(0.0, b.meter_h - a.meter_h) for a, b in pairwise(kept) if not b.new_meter]
    return round(sum(steps) + max(0.0, unit.meter_h - kept[-1].meter_h), 1)


def _class_rows(joints: Iterable[Joint]) -> Iterator[str]:
    """The interval classes of what is pumped, as rows of the plot, the shortest first."""
    pumped = [j for j in joints if not (j.central or j.never_pump) and j.interval is not None]
    shortest = {j.interval_class: j.interval.hours or 0.0 for j in pumped if j.interval}
    yield from sorted(shortest, key=lambda name: (shortest[name], name))


def _classes(joints: Iterable[Joint]) -> dict[str, str]:
    """The row of a service: the interval class of its joint, or of the class it was booked as."""
    rows: dict[str, str] = {}
    for joint in joints:
        if joint.interval is not None:
            rows |= {name: joint.interval_class for name in service_names(joint)}
    return rows


def _marks(
    events: Iterable[Event], classes: Mapping[str, str], *, zone: ZoneInfo
) -> Iterator[Mark]:
    """What is drawn: one mark for each row and hour at most, so that a stop is one mark."""
    seen = set()
    for event in events:
        row = _row(event, classes)
        if row is None:
            continue
        at = event.at.astimezone(zone)
        key = (row, event.kind, at.replace(minute=0, second=0, microsecond=0))
        if key not in seen:
            seen.add(key)
            yield Mark(at=at, row=row, kind=event.kind)


def _row(event: Event, classes: Mapping[str, str]) -> str | None:
    if isinstance(event, Greased):
        return classes.get(event.joint, event.joint)
    return ROW_OF.get(event.kind)


def _away(
    events: Iterable[Event], *, since: datetime, at: datetime
) -> Iterator[tuple[datetime, datetime]]:
    """Times away inside the span shown."""
    left: datetime | None = None
    for event in events:
        if isinstance(event, Away) and event.until > since and event.at < at:
            yield max(event.at, since), min(event.until, at)
        elif isinstance(event, Left):
            left = event.at
        elif isinstance(event, Arrived) and left is not None:
            yield max(left, since), min(event.at, at)
            left = None
    if left is not None and left < at:
        yield max(left, since), at


def _joints_now(items: Iterable[DueItem]) -> Iterator[JointNow]:
    """What is said of the joints, those of which the same is said together, what is due first."""
    groups: dict[tuple[bool, str, str], list[str]] = {}
    for item in sorted(items, key=lambda item: (-item.due, -item.overdue_ratio)):
        groups.setdefault((item.due, item.interval, item.reason), []).append(item.joint)
    for (due, interval, reason), joints in groups.items():
        yield JointNow(joints=tuple(joints), interval=interval, due=due, sentence=reason)


def _notes(site: Site, unit: Unit) -> Iterator[str]:
    """Doubts about the meter and what is not over."""
    for note in site.past.meters:
        if note.unit == unit.unit:
            yield f"meter: {note.text}"
    for trouble in site.past.troubles:
        if trouble.unit == unit.unit:
            names = [name for name in (trouble.joint, trouble.fitting) if name]
            yield ", ".join(names) + (": " if names else "") + trouble.text


def _lines(events: Sequence[Event], *, at: datetime, zone: ZoneInfo) -> list[Line]:
    """Sentences, newest first; what was greased at one visit in one line."""
    past = [e for e in events if e.at <= at]
    groups: dict[tuple[object, ...], list[Happened]] = {}
    for event in past:
        groups.setdefault(_group(event), []).append(event)
    lines = []
    for group in groups.values():
        last = max(group, key=lambda e: e.at)
        lines.append(
            Line(
                at=last.at.astimezone(zone),
                what=sentence_of(group),
                who=last.technician or "",
            )
        )
    return sorted(lines, key=lambda line: line.at, reverse=True)


def _group(event: Event) -> tuple[object, ...]:
    """Services of one card at one machine belong together; everything else stands alone."""
    if isinstance(event, Greased) and event.plan is not None:
        return "greased", event.plan, event.technician
    return (event.id,)
