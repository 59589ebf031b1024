"""Can these events have happened on this site? Every mistake told, with where it was read."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Final

from greaseroute.catalogue.joint import Joint
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.errors import Fault
from greaseroute.ledger.card_file import Lines
from greaseroute.ledger.events import (
    Away,
    CheckDone,
    CouldNot,
    Event,
    Greased,
    MeterRead,
    MeterReplaced,
    Moved,
    PaceTaken,
    StockCounted,
    StockReceived,
    StockTaken,
)
from greaseroute.ledger.meters import MeterPoint, UnlikelyReading, points_of, unlikely
from greaseroute.site.model import Site
from greaseroute.texts.validation import unknown_name

FAST_CLOCK: Final = timedelta(minutes=10)
"""A phone's clock may be ahead by so much before its events count as the future (common practice,
no source)."""

STOCK: Final = (StockCounted, StockReceived, StockTaken)


@dataclass(frozen=True)
class Told:
    """Events as they were told, and the lines they stand on."""

    events: tuple[Event, ...]
    where: Lines

    def fault(self, event: Event, field: str, texts: tuple[str, str, str]) -> Fault:
        """A fault of one event; ``texts`` are the value, what is allowed, what to do."""
        unit = getattr(event, "unit", None)
        what = f"{event.kind} of unit {unit}" if unit else event.kind
        return Fault(self.where.file, self.where.line(event.id), what, field, *texts)


class SiteNames:
    """The names that events of a site may use."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._names: dict[str, dict[str, tuple[str, ...]]] = {}

    @cached_property
    def types(self) -> Mapping[str, MachineType]:
        """Each unit's type with the attachments that it carries."""
        site = self._site
        return {u.unit: site.machine(u) for u in site.units}

    def joints(self, unit: str) -> dict[str, tuple[str, ...]]:
        """The fittings of each joint of a unit."""
        if unit not in self._names:
            joints = self.types[unit].joints
            self._names[unit] = {j.name: tuple(f.name for f in j.fittings) for j in joints}
        return self._names[unit]

    def serviced_as(self, unit: str) -> list[str]:
        """What a whole service may be booked under: joints and interval classes."""
        joints = self.types[unit].joints
        return list(dict.fromkeys(name for joint in joints for name in service_names(joint)))

    def looks(self, unit: str) -> list[str]:
        """The daily checks of a unit."""
        return [look.name for look in self.types[unit].looks]

    def postures(self, unit: str) -> list[str]:
        """The postures of a unit."""
        return [posture.name for posture in self.types[unit].postures]

    def greases(self) -> list[str]:
        """The greases of the site."""
        return [grease.name for grease in self._site.greases]

    def technicians(self) -> list[str]:
        """The technicians of the site."""
        return [technician.name for technician in self._site.technicians]


def service_names(joint: Joint) -> list[str]:
    """What a service of a joint may be booked under: its class, its hours, its own name."""
    if joint.interval is None:
        return [joint.name]
    hours = [f"{joint.interval.hours:g} h"] if joint.interval.hours is not None else []
    return [joint.interval_class, *hours, joint.name]


def event_faults(told: Told, names: SiteNames, *, now: datetime) -> Iterator[Fault]:
    """Unknown names, and moments that are still to come."""
    for event in told.events:
        yield from _future(told, event, now)
        unit = getattr(event, "unit", None)
        if unit is not None and unit not in names.types:
            define = "add it to fleet.csv, or correct it"
            texts = (unit, *unknown_name(unit, list(names.types), define=define))
            yield told.fault(event, "unit", texts)
            continue
        for field, value, known in _named(event, names):
            if value is not None and value not in known:
                texts = (value, *unknown_name(value, known, define="correct it"))
                yield told.fault(event, field, texts)


def _future(told: Told, event: Event, now: datetime) -> Iterator[Fault]:
    """Only times away may lie ahead."""
    if event.at > now + FAST_CLOCK and not isinstance(event, Away):
        value = f"{event.at:%Y-%m-%d %H:%M}"
        do = "correct the date, or the clock of the phone"
        yield told.fault(event, "at", (value, f"not after {now:%Y-%m-%d %H:%M}", do))


def _named(event: Event, names: SiteNames) -> Iterator[tuple[str, str | None, Sequence[str]]]:
    """(field, name used, names that are known) of an event whose unit is known."""
    joint, fitting = getattr(event, "joint", None), getattr(event, "fitting", None)
    unit = str(getattr(event, "unit", None))
    if isinstance(event, Greased) and fitting is None:
        yield "joint", joint, names.serviced_as(unit)
    elif joint is not None:
        yield "joint", joint, list(names.joints(unit))
        yield "fitting", fitting, names.joints(unit).get(joint, (fitting or "",))
    if isinstance(event, CheckDone | CouldNot):
        yield "check", event.check, names.looks(unit)
    if isinstance(event, Moved):
        yield "posture", event.posture, names.postures(unit)
    if isinstance(event, STOCK):
        yield "grease", event.grease, names.greases()
    if isinstance(event, PaceTaken):
        yield "technician", event.technician, names.technicians()


def meter_faults(told: Told, booked: Mapping[str, Sequence[MeterPoint]]) -> Iterator[Fault]:
    """Readings that the meter cannot have shown, beside all that is booked.

    ``booked`` holds each unit's points in the ledger. One that is sure of an unlikely figure says
    ``sure``; a meter that was replaced is told as such.
    """
    fresh = points_of(told.events)
    readings = {
        (e.unit, e.at, _figure(e)): e
        for e in told.events
        if isinstance(e, MeterRead | MeterReplaced | Greased) and _figure(e) is not None
    }
    for unit, points in fresh.items():
        before = {(w.point, w.other) for w in unlikely(booked.get(unit, ()))}
        whole = _in_order([*booked.get(unit, ()), *points])
        for wrong in unlikely(whole):
            if (wrong.point, wrong.other) in before:
                continue
            yield from _meter_fault(told, wrong, readings, unit=unit)


def _figure(event: Event) -> float | None:
    if isinstance(event, MeterReplaced):
        return event.new_h if event.old_h is None else event.old_h
    return getattr(event, "meter_h", None)


def _in_order(points: Iterable[MeterPoint]) -> list[MeterPoint]:
    return sorted(points, key=lambda p: (p.at, p.new))


def _meter_fault(
    told: Told,
    wrong: UnlikelyReading,
    readings: Mapping[tuple[str, datetime, float | None], Event],
    *,
    unit: str,
) -> Iterator[Fault]:
    """The fault on the one of two readings that is about to be booked."""
    for point, other in ((wrong.point, wrong.other), (wrong.other, wrong.point)):
        event = readings.get((unit, point.at, point.meter_h))
        if event is None:
            continue
        if point.sure:  # the figure is meant: the booked one beside it is the doubtful one
            return
        limit = UnlikelyReading(point, other, wrong.backwards).limit
        do = "is it so? Read it again; if it is, say sure, or book the meter as replaced"
        yield told.fault(event, "meter_h", (f"{point.meter_h:g}", limit, do))
        return


def plan_faults(
    told: Told, plan: str, *, of_site: str | None, site: str, known: Mapping[str, str]
) -> Iterator[Fault]:
    """A card of another site, or of a plan that was never handed out here.

    ``known`` names the plans of the ledger with the site's morning each was made for; where it
    knows none, any is taken.
    """
    file = told.where.file
    if of_site is not None and of_site != site:
        texts = (of_site, f"a card of {site!r}", "book it in the folder of its own site")
        yield Fault(file, 1, "card", "site", *texts)
    elif known and plan not in known:
        latest = max(known.values())
        value = f"plan {plan}"
        allowed = f"one of the {len(known)} plans handed out here, the last for {latest}"
        do = "give the round.json of its plan with --plan if that was walked"
        yield Fault(file, 1, "card", "round", value, allowed, do)
