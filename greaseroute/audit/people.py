"""Promises about people: who is called to a machine is there, and at one place at a time."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from greaseroute.audit.case import Case, Event, Standing
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.house_rules import CLOCK_MS
from greaseroute.audit.moments import Clock, Span, clock_time, joined
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.plan.round import PersonCall, Stop
from greaseroute.site.ground_plan import Hours
from greaseroute.site.model import Site
from greaseroute.units import MS_PER_S

MOST_WAY_MS = 30 * 60 * 1000  # a way between two machines that is walked in a round, at most


@dataclass(frozen=True, slots=True)
class AtHand:
    """Somebody of the site: for which machines (empty: all), and when."""

    name: str
    operates: tuple[str, ...]
    spans: tuple[Span, ...]

    def operates_a(self, machine: MachineType) -> bool:
        """Whether the person may operate a machine."""
        return not self.operates or machine.name in self.operates or machine.family in self.operates


def people_at_hand(site: Site, clock: Clock, *, until: int) -> Mapping[str, AtHand]:
    """Everybody by name, from the site's own texts; one name for each of several alike."""
    rows = [(p.name, p.at_once, p.operates, p.on_site_from, p.on_site_to) for p in site.people]
    rules = site.rules
    if rules.second_person_from is not None and rules.second_person_to is not None:
        rows.append(("second person", 1, (), rules.second_person_from, rules.second_person_to))
    found: dict[str, AtHand] = {}
    for name, count, operates, begin, end in rows:
        hours = Hours(clock_time(begin), clock_time(end))
        spans = joined(clock.daily(hours, until=until))
        names = [name] if count == 1 else [f"{name} {k + 1}" for k in range(count)]
        found |= {each: AtHand(each, operates, spans) for each in names}
    return found


def _known(case: Case) -> Mapping[str, AtHand]:
    basis = case.basis
    return people_at_hand(basis.site, basis.clock, until=basis.last_ms + 1)


def _span(case: Case, call: PersonCall) -> Span:
    return case.basis.clock.of_text(call.begin), case.basis.clock.of_text(call.end)


def somebody_is_at_the_controls(case: Case) -> Iterator[Finding]:
    """Whatever moves a machine or takes two has somebody called for all its time."""
    for standing in case.standings:
        for event in standing.events:
            if event.needs_second and not _called(case, standing, event):
                where = replace(case.where_standing(standing), joint=event.joint)
                what = "a machine is moved, or two are needed, and nobody is called for all of it"
                yield where.finding("second person", what)


def _called(case: Case, standing: Standing, event: Event) -> bool:
    technician = case.basis.plan.technicians[standing.technician]
    stop = technician.stops[standing.stop]
    posture = stop.stands[standing.number].posture if event.moves and not event.joint else ""
    for call in case.basis.plan.people:
        same = (call.unit, call.technician) == (stop.unit, technician.name)
        begin, end = _span(case, call)
        if same and (call.joint, call.posture) == (event.joint, posture):
            slack_ms = 20 * CLOCK_MS  # of all that was rounded since the technician arrived
            if begin <= event.begin_ms + slack_ms and end >= event.end_ms - slack_ms:
                return True
    return False


def people_are_there(case: Case) -> Iterator[Finding]:
    """Who is called is known, instructed for the machine, and at hand at that hour."""
    known = _known(case)
    for call in case.basis.plan.people:
        where = Where(call.technician, call.unit, call.joint, at=call.begin)
        person, machine = known.get(call.person), case.basis.types.get(call.unit)
        if person is None or machine is None:
            yield where.finding("people", f"{call.person!r} is nobody of the site file")
            continue
        if not person.operates_a(machine):
            yield where.finding("people", f"{call.person} may not operate a {machine.family}")
        begin, end = _span(case, call)
        inside = (a - CLOCK_MS <= begin and end <= b + CLOCK_MS for a, b in person.spans)
        if not any(inside):
            yield where.finding("people", f"{call.person} is not at hand at that hour")


def people_are_at_one_place(case: Case) -> Iterator[Finding]:
    """Nobody is called to two machines at once, nor sooner than the way between can be walked."""
    for name in dict.fromkeys(call.person for call in case.basis.plan.people):
        mine = [call for call in case.basis.plan.people if call.person == name]
        mine.sort(key=lambda call: _span(case, call))
        for one, other in pairwise(mine):
            away_m = 0.0 if one.unit == other.unit else _between_m(case, one, other)
            speed_m_s = max(case.basis.speed_m_s(t) for t in case.basis.site.technicians)
            early_ms = _span(case, one)[1] - _span(case, other)[0]
            early_ms += round(away_m / speed_m_s * MS_PER_S) if one.unit != other.unit else 0
            if early_ms > CLOCK_MS:
                where = Where(other.technician, other.unit, other.joint, at=other.begin)
                what = f"{name} cannot be there so soon after {one.unit}"
                yield where.finding("people", what, off=early_ms / MS_PER_S, measure="s")


def _between_m(case: Case, one: PersonCall, other: PersonCall) -> float:
    """The straight line between two machines, less their size and the slope's best."""
    a, b = (case.machines.placed.get((c.unit, case.basis.units[c.unit].posture))
            for c in (one, other))  # fmt: skip
    if a is None or b is None:
        return 0.0
    gap_m = a.outline.distance(b.outline) - 2 * case.basis.site.rules.stand_clear_m - 10.0
    return max(0.0, gap_m) / 1.2 if math.isfinite(gap_m) else 0.0


def calls_are_of_the_stops(case: Case) -> Iterator[Finding]:
    """The calls of the whole plan are those of its stops, none more and none less."""
    told = sorted((c for c in case.basis.plan.people), key=_key)
    stops = sorted((c for _, _, stop in case.basis.stops() for c in stop.people), key=_key)
    if told != stops:
        what = f"{len(told)} calls are told for the round and {len(stops)} at its stops"
        yield Where().finding("people", what)


def _key(call: PersonCall) -> tuple[str, ...]:
    return call.begin, call.person, call.unit, call.joint, call.posture


def somebody_for(case: Case, unit: str, *, wanted_ms: float, window: Span) -> str:
    """Who could be at a machine for so long within a window; empty where nobody could."""
    machine = case.basis.types[unit]
    for person in _known(case).values():
        spans = ((max(a, window[0]), min(b, window[1])) for a, b in person.spans)
        if person.operates_a(machine) and any(b - a >= wanted_ms for a, b in spans):
            return person.name
    return ""


def waits_for_people(case: Case, stop: Stop) -> bool:
    """Whether somebody called to a stop comes on at that moment, or from another machine."""
    for call in stop.people:
        begin, _ = _span(case, call)
        person = _known(case).get(call.person)
        on = () if person is None else (a for a, _ in person.spans)
        if any(abs(begin - a) <= 20 * CLOCK_MS for a in on):
            return True
        others = (c for c in case.basis.plan.people if c.person == call.person)
        if any(
            c.unit != stop.unit and 0 <= begin - _span(case, c)[1] <= MOST_WAY_MS for c in others
        ):
            return True
    return False
