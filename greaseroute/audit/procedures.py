"""Promises about the order of work at a unit: isolation, postures, turns, second passes."""

from collections.abc import Iterator

import shapely

from greaseroute.audit.case import Case, Event, Standing
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.house_rules import CLOCK_MS, PLACE_M
from greaseroute.audit.places import waits_well
from greaseroute.audit.visits import Visit
from greaseroute.catalogue.joint import Joint
from greaseroute.plan.round import StandVisit
from greaseroute.units import MS_PER_S


def units_are_isolated_once(case: Case) -> Iterator[Finding]:
    """Each unit is visited once, by one technician, and isolated before the first fitting."""
    seen: dict[str, str] = {}
    names = [t.name for t in case.basis.plan.technicians]
    for technician, number, stop in case.basis.stops():
        if stop.reload:
            continue
        where = Where(technician.name, stop.unit, at=stop.arrive)
        if stop.unit in seen:
            yield where.finding("visits", f"is visited again, after {seen[stop.unit]}")
        seen[stop.unit] = f"the visit of {technician.name} at {stop.arrive[11:19]}"
        visit = case.visits.get((names.index(technician.name), number))
        told_s = 0.0 if visit is None else visit.first_s()
        off_s = abs(stop.isolation_s - told_s) if visit is not None else 0.0
        if not stop.isolation:
            yield where.finding("isolation", "is not isolated first")
        elif off_s * MS_PER_S > CLOCK_MS:
            what = "isolation takes another time by the rules"
            yield where.finding("isolation", what, off=off_s, measure="s")


def postures_follow(case: Case) -> Iterator[Finding]:
    """A unit stands as it was parked until it is asked for another posture, standing clear."""
    for (t, _), visit in case.visits.items():
        where = Where(case.basis.plan.technicians[t].name, visit.stop.unit)
        posture = case.basis.units[visit.stop.unit].posture
        for number, stand in enumerate(visit.stop.stands):
            if stand.event == "posture":
                yield from _asked(case, where, stand)
                posture = stand.posture
            if stand.posture != posture:
                what = f"stand {number + 1} is in posture {stand.posture!r}, it is in {posture!r}"
                yield where.finding("postures", what)


def _asked(case: Case, where: Where, stand: StandVisit) -> Iterator[Finding]:
    if not case.basis.site.rules.posture_moves:
        yield where.finding("postures", "is asked for a posture, which the rules forbid")
    if (where.unit, stand.posture) not in case.machines.placed:
        yield where.finding("postures", f"cannot take the posture {stand.posture!r}")


def one_stands_clear(case: Case) -> Iterator[Finding]:
    """While a machine moves its technician stands off all that it sweeps, on the ground."""
    for (t, _), visit in case.visits.items():
        for stand in visit.stop.stands:
            if not stand.event:
                continue
            swept = case.machines.swept(visit.stop.unit, _postures(case, visit, stand))
            away_m = float(swept.distance(shapely.points(stand.x_m, stand.y_m)))
            clear_m = case.basis.site.rules.stand_clear_m
            if away_m < clear_m - PLACE_M or stand.deck is not None:
                name, place_m = case.basis.plan.technicians[t].name, (stand.x_m, stand.y_m)
                where = Where(name, visit.stop.unit, stand.event_joint, place_m=place_m)
                what = "one stands too near while the machine moves"
                yield where.finding("stand clear", what, off=clear_m - away_m, measure="m")
            yield from _seen(case, case.basis.plan.technicians[t].name, visit, stand=stand)


def _seen(case: Case, name: str, visit: Visit, *, stand: StandVisit) -> Iterator[Finding]:
    unit, place_m = visit.stop.unit, (stand.x_m, stand.y_m)
    if waits_well(case, unit, place_m, slack_m=0.02):
        return
    where = Where(name, unit, stand.event_joint, place_m=place_m)
    what = "one waits between machines, or where nobody at the controls sees one"
    yield where.finding("stand clear", what)


def _postures(case: Case, visit: Visit, stand: StandVisit) -> tuple[str, ...]:
    """The postures that a machine may pass through while somebody stands clear."""
    if stand.event == "posture":
        return case.machines.asked_for[visit.stop.unit]
    return (stand.posture,)


def nobody_is_in_the_swing_circle(case: Case) -> Iterator[Finding]:
    """While a machine moves, nobody else of the crew works where it sweeps."""
    for mover in case.standings:
        for event in mover.events:
            if event.moves:
                yield from _in_swept(case, mover, event)


def _in_swept(case: Case, mover: Standing, event: Event) -> Iterator[Finding]:
    visit = case.visits[mover.technician, mover.stop]
    stand = visit.stop.stands[mover.number]
    others = [
        (other, during_ms)
        for other in case.standings
        if other.technician != mover.technician
        and (during_ms := min(event.end_ms, other.end_ms) - max(event.begin_ms, other.begin_ms))
        > CLOCK_MS
    ]
    if not others:
        return
    swept = case.machines.swept(visit.stop.unit, _postures(case, visit, stand))
    for other, during_ms in others:
        if swept.contains(shapely.points(other.foot_m)):
            what = f"one works where {visit.stop.unit} is moved just then"
            where = case.where_standing(other)
            yield where.finding("swing circle", what, off=during_ms / MS_PER_S, measure="s")


def procedures_are_followed(case: Case) -> Iterator[Finding]:
    """A joint with a turn: all its fittings, then the turn, then the second pass over them."""
    for (t, _), visit in case.visits.items():
        name = case.basis.plan.technicians[t].name
        pumped = dict.fromkeys(f.joint for stand in visit.stop.stands for f in stand.fittings)
        for stand in visit.stop.stands:
            if stand.event == "turn" and stand.event_joint not in pumped:
                where = Where(name, visit.stop.unit, stand.event_joint)
                yield where.finding("procedures", "a turn for a joint that is not greased here")
        for joint in pumped:
            if visit.turns(joint):
                where = Where(name, visit.stop.unit, joint)
                for what in _not_followed(visit, visit.joints[joint]):
                    yield where.finding("procedures", what)


def _not_followed(visit: Visit, joint: Joint) -> Iterator[str]:
    stands, procedure = visit.stop.stands, joint.procedure
    assert procedure is not None
    turns = [k for k, s in enumerate(stands) if (s.event, s.event_joint) == ("turn", joint.name)]
    pumped = [(f.fitting, k) for k, s in enumerate(stands) for f in s.fittings
              if f.joint == joint.name]  # fmt: skip
    again = [(f, k) for k, s in enumerate(stands) for j, f in s.again if j == joint.name]
    if len(turns) != 1:
        yield f"the machine is turned {len(turns)} times, not once"
        return
    if any(k > turns[0] for _, k in pumped):
        yield "a fitting is pumped after the turn"
    if any(k < turns[0] for _, k in again):
        yield "the second pass is before the turn"
    moving = [step for step in procedure.steps if step.machine_moves] or procedure.steps
    if any(step.do not in " ".join(stands[turns[0]].before) for step in moving):
        yield "the steps of the procedure are not told"
    if procedure.turns and sorted(f for f, _ in again) != sorted(f for f, _ in pumped):
        yield "the second pass is not over all its fittings"
