"""The site as its record makes it: services, meters, places, absences, stock, pace."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from greaseroute.ledger.events import CheckDone, Moved, PaceTaken
from greaseroute.ledger.meter_now import believed, meter_notes
from greaseroute.ledger.meters import UNDATED, MeterPoint, WorkingDay, meter_at
from greaseroute.ledger.places import place_in_plane
from greaseroute.ledger.recorded import Recorded, read_recorded
from greaseroute.ledger.stock import stock_of
from greaseroute.ledger.store import Ledger
from greaseroute.ledger.takeover import figure_is_news, fleet_place, same_place
from greaseroute.ledger.troubles import Book, troubles_of
from greaseroute.site.crew import Grease, Technician
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.site.model import Site
from greaseroute.site.moment import time_of_day
from greaseroute.site.past import Absence, CheckSeen, MeterNote, Past


def absent(recorded: Recorded, unit: str) -> Absence | None:
    """The absence of a unit at the moment, if it is not there."""
    at = recorded.at
    spans = recorded.absences.get(unit, ())
    return next((s for s in spans if s.since <= at and (s.until is None or at < s.until)), None)


def working_day(site: Site, unit: Unit, recorded: Recorded) -> WorkingDay:
    """When a unit works: hours a day from the start of the shift, not while it is away."""
    zone, far = recorded.zone, datetime.max.replace(tzinfo=recorded.zone)
    away = tuple(
        (s.since.astimezone(zone), s.until.astimezone(zone) if s.until else far)
        for s in recorded.absences.get(unit.unit, ())
    )
    return WorkingDay(
        time_of_day(site.shift_start), unit.hours_per_day, away, work_days=site.work_days
    )


@dataclass(frozen=True, slots=True)
class Meter:
    """A unit's meter: all points, those that are believed, and the day that it runs on by."""

    points: Sequence[MeterPoint]
    known: Sequence[MeterPoint]
    day: WorkingDay

    def at(self, moment: datetime) -> float | None:
        """What it showed, or will show."""
        return meter_at(self.known, moment, day=self.day)


def with_record(site: Site, ledger: Ledger, *, at: datetime) -> Site:
    """The site at ``at`` with what its record says; units that are away are not on it.

    Services come with the fitting they were done at and the hours on the meter then; each unit's
    meter is what it is expected to show at ``at``. Without a reading after it a meter runs on at
    the fleet list's hours a day.
    """
    recorded = read_recorded(site, ledger, at=at.astimezone(ZoneInfo(site.time_zone)))
    meters = {unit.unit: _meter(site, unit, recorded) for unit in site.units}
    away = {u.unit: a for u in site.units if (a := absent(recorded, u.unit)) is not None}
    here = [unit for unit in site.units if unit.unit not in away]
    book = Book(
        (*recorded.greased, *recorded.others, *recorded.plans), at=recorded.at, zone=recorded.zone
    )
    past = Past(
        events=recorded.count,
        latest=recorded.latest,
        troubles=troubles_of(book),
        absences=tuple(away.values()),
        meters=tuple(n for unit in here for n in _notes(unit, meters[unit.unit], recorded)),
        checks=tuple(_checks(site, recorded, meters)),
    )
    return replace(
        site,
        units=tuple(_unit_now(site, unit, recorded, meter=meters[unit.unit]) for unit in here),
        last_services=tuple(_services(site, recorded, meters)),
        meter_readings=tuple(_readings(meters)),
        greases=_greases(site, recorded),
        technicians=_technicians(site, recorded),
        planned_for=recorded.at,  # the moment at which the units' meters show what they say
        past=past,
    )


def _meter(site: Site, unit: Unit, recorded: Recorded) -> Meter:
    day = working_day(site, unit, recorded)
    points = recorded.points.get(unit.unit, ())
    return Meter(points, believed(points, day=day)[0], day)


def _notes(unit: Unit, meter: Meter, recorded: Recorded) -> Iterator[MeterNote]:
    if meter.points and not figure_is_news(unit, meter.points, at=recorded.at):
        yield from meter_notes(unit, meter.points, at=recorded.at, day=meter.day)


def _unit_now(site: Site, unit: Unit, recorded: Recorded, *, meter: Meter) -> Unit:
    """The unit where it stands, with what its meter shows.

    A figure in ``fleet.csv`` that is newer than the record holds at this moment.
    """
    unit = _placed(site, unit, recorded)
    shown_h = meter.at(recorded.at)
    if shown_h is None or figure_is_news(unit, meter.points, at=recorded.at):
        return unit
    return unit.model_copy(update={"meter_h": round(shown_h, 2)})


def _placed(site: Site, unit: Unit, recorded: Recorded) -> Unit:
    """The unit where it was last said to stand, unless ``fleet.csv`` was written since."""
    moves = [event for event in recorded.of(Moved) if event.unit == unit.unit]
    rows = [k for k, e in enumerate(moves) if e.source.startswith("fleet.csv")]
    if rows:
        row = fleet_place(unit, at=recorded.at)
        if not same_place(row, moves[rows[-1]]):
            return unit
        moves = moves[rows[-1] + 1 :]
    for event in moves:
        unit = unit.model_copy(update=place_in_plane(event, site))
    return unit


def _services(site: Site, recorded: Recorded, meters: Mapping[str, Meter]) -> Iterator[LastService]:
    """Each fitting's (joint's, class's) last service with the hours on the meter then."""
    units = {unit.unit: unit for unit in site.units}
    last = {(e.unit, e.joint, e.fitting): e for e in sorted(recorded.greased, key=lambda e: e.at)}
    for event in last.values():
        if event.unit not in units:
            continue
        at = event.at.astimezone(recorded.zone)
        meter_h = event.meter_h
        if meter_h is None:
            meter_h = _hours_then(units[event.unit], at, recorded, meter=meters[event.unit])
        yield LastService(
            unit=event.unit,
            joint=event.joint,
            fitting=event.fitting,
            at=at,
            meter_h=round(meter_h, 2),
        )


def _checks(site: Site, recorded: Recorded, meters: Mapping[str, Meter]) -> Iterator[CheckSeen]:
    """When each daily check was last done, with the hours on the meter then."""
    units = {unit.unit: unit for unit in site.units}
    done = sorted(recorded.of(CheckDone), key=lambda event: event.at)
    for event in {(e.unit, e.check): e for e in done}.values():
        if event.unit in units:
            at = event.at.astimezone(recorded.zone)
            unit, meter = units[event.unit], meters[event.unit]
            meter_h = round(_hours_then(unit, at, recorded, meter=meter), 2)
            yield CheckSeen(unit=event.unit, check=event.check, at=at, meter_h=meter_h)


def _hours_then(unit: Unit, at: datetime, recorded: Recorded, *, meter: Meter) -> float:
    """What the meter showed at a moment; without a reading the list's figure less hours worked."""
    shown_h = meter.at(at)
    if shown_h is not None:
        return shown_h
    return max(0.0, unit.meter_h - meter.day.hours(at, recorded.at))


def _readings(meters: Mapping[str, Meter]) -> Iterator[MeterReading]:
    """Every believed reading, as due and the week take them."""
    for unit, meter in meters.items():
        for point in meter.known:
            yield MeterReading(
                unit=unit,
                at=point.at,
                meter_h=point.meter_h,
                new_meter=point.new,
                undated=point.source.startswith(UNDATED),
            )


def _greases(site: Site, recorded: Recorded) -> tuple[Grease, ...]:
    """The greases with what is in the store now, where somebody counted."""
    found = []
    for grease in site.greases:
        stock = stock_of(recorded.others, grease.name, at=recorded.at)
        told = {} if stock is None else {"stock_cartridges": stock}
        found.append(grease.model_copy(update=told))
    return tuple(found)


def _technicians(site: Site, recorded: Recorded) -> tuple[Technician, ...]:
    """Each technician with the pace that was agreed to last for each kind of joint."""
    agreed: dict[str, dict[str, float]] = {}
    for event in recorded.of(PaceTaken):
        agreed.setdefault(event.technician, {})[event.joint_kind] = event.share
    return tuple(
        t.model_copy(update={"pace": {**t.pace, **agreed[t.name]}}) if t.name in agreed else t
        for t in site.technicians
    )
