"""From times to the records of the plan: stops, stands, fittings, lines."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.plan.round import (
    FittingTask,
    LookTask,
    PersonCall,
    StandVisit,
    StepTask,
    Stop,
    TechnicianPlan,
)
from greaseroute.rounds.cartridges import change_ms, in_the_bag, loads
from greaseroute.rounds.schedule import Schedule, TimedHalt
from greaseroute.site.crew import Technician
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning
from greaseroute.units import MS_PER_S, S_PER_MIN, ms
from greaseroute.visits.node_tour import on_deck_ms
from greaseroute.visits.nodes import TURN, band_ms
from greaseroute.visits.steps import (
    StepText,
    UnitCall,
    event_steps,
    isolation_texts,
    on_same_deck,
)
from greaseroute.visits.timeline import At, again_ms, needs_of, timeline
from greaseroute.visits.work import FittingWork, outfit_of
from greaseroute.walk.tables import Point2, Walks, length_m

Point3 = tuple[float, float, float]
Line = tuple[Point2, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Desk:
    """What records are written from.

    ``names`` are the places that some points are; ``placed`` the machines by unit and posture.
    """

    site: Site
    morning: Morning
    placed: Mapping[tuple[str, str], PlacedMachine]
    names: Mapping[int, str]
    technician: Technician
    walks: Walks

    def inside(self, call: UnitCall) -> Line:
        """The walking line from the first to the last stand of a unit."""
        walks = call.visit.walks
        legs = [walks.line(a, b) for a, b in pairwise(call.numbers)]
        return joined([(call.nodes[0].node.foot_m,), *legs])


def joined(lines: Sequence[Line]) -> Line:
    """Lines one after the other, a corner that repeats written once."""
    points: list[Point2] = []
    for line in lines:
        points += [p for k, p in enumerate(line) if k or not points or p != points[-1]]
    return tuple(points)


def technician_plan(schedule: Schedule, desk: Desk) -> TechnicianPlan:
    """The walk of one technician as it is written to ``round.json``."""
    stops = _stops(schedule, desk)
    finish, leg = schedule.route.finish, schedule.home
    home = desk.walks.line(schedule.last, finish, span=leg.span, over=leg.over)
    path = joined([line for stop in stops for line in (stop.path, stop.inside)] + [home])
    walk_ms = _walk_ms(schedule, desk)
    wait_ms = schedule.idle_ms
    whole_ms = schedule.finish_ms - schedule.route.start_ms
    return TechnicianPlan(
        name=desk.technician.name,
        walk_m=length_m(path),
        walk_s=walk_ms / MS_PER_S,
        work_s=(whole_ms - walk_ms - wait_ms) / MS_PER_S,
        wait_s=wait_ms / MS_PER_S,
        start=desk.morning.text(schedule.route.start_ms),
        finish=desk.morning.text(schedule.finish_ms),
        start_place=desk.names[schedule.route.start],
        finish_place=desk.names[schedule.route.finish],
        path=path,
        stops=stops,
        cartridges=in_the_bag(schedule.carried.counts, desk.technician, desk.site),
    )


def _stops(schedule: Schedule, desk: Desk) -> tuple[Stop, ...]:
    calls = schedule.calls
    stores = [k for k, h in enumerate(schedule.halts) if h.call is None]
    before = [sum(h.call is not None for h in schedule.halts[:k]) for k in stores]
    taken = iter(loads(calls, schedule.carried.put_in, reloads=before)[1:])
    return tuple(
        _unit_stop(halt, halt.call, desk)
        if halt.call is not None
        else _store_stop(halt, desk, load=next(taken))
        for halt in schedule.halts
    )


def _walk_ms(schedule: Schedule, desk: Desk) -> int:
    legs = sum(h.walk_ms for h in schedule.halts) + schedule.home.walk_ms
    return legs + sum(inside_ms(h.call) for h in schedule.halts if h.call is not None)


def inside_ms(call: UnitCall) -> int:
    """Walking time on the ground between the stands of a unit."""
    return sum(int(call.visit.walks.ms[a, b]) for a, b in pairwise(call.numbers))


def _way(halt: TimedHalt, desk: Desk) -> Line:
    leg = halt.leg
    return desk.walks.line(halt.origin, halt.enter, span=leg.span, over=leg.over)


def _store_stop(halt: TimedHalt, desk: Desk, *, load: dict[str, int]) -> Stop:
    return Stop(
        unit=desk.names[halt.enter],
        arrive=desk.morning.text(halt.arrive_ms),
        leave=desk.morning.text(halt.leave_ms),
        wait_s=(halt.begin_ms - halt.arrive_ms) / MS_PER_S,
        reload=True,
        path=_way(halt, desk),
        load=load,
    )


def _unit_stop(halt: TimedHalt, call: UnitCall, desk: Desk) -> Stop:
    work = call.visit.work
    put_in = iter(halt.put_in)
    people = _people(halt, call, desk)
    isolation = () if call.visit.called_first else isolation_texts(call.visit)
    guns = {gun.name: gun for gun in desk.site.guns}
    return Stop(
        unit=work.unit.unit,
        type=work.unit.type,
        arrive=desk.morning.text(halt.arrive_ms),
        leave=desk.morning.text(halt.leave_ms),
        wait_s=(halt.begin_ms - halt.arrive_ms) / MS_PER_S,
        isolation=tuple(step.do for step in isolation_texts(call.visit)),
        isolation_s=sum(step.spent_ms for step in isolation) / MS_PER_S,
        isolation_steps=_ticked(isolation),
        people=tuple(each for some in people.values() for each in some),
        fixed_s=(call.visit.fixed_ms + change_ms(call, halt.put_in, guns=guns)) / MS_PER_S,
        cautions=unit_cautions(call),
        path=_way(halt, desk),
        inside=desk.inside(call),
        stands=tuple(
            _stand(
                at,
                call,
                desk,
                put_in=[next(put_in) for _ in at.call.fittings],
                to_it_ms=each_ms,
                people=people.get(k, ()),
            )
            for k, (at, each_ms) in enumerate(
                zip(timeline(call), _climbs_ms(call, desk), strict=True)
            )
        ),
    )


def unit_cautions(call: UnitCall) -> tuple[str, ...]:
    """The type's own, those of the joints greased, and what the way itself asks for."""
    work = call.visit.work
    greased = {f.joint for f in call.fittings}
    own = [c for j in work.joints if j.joint.name in greased for c in j.joint.cautions]
    climb = ["CLIMB"] if any(n.node.deck for n in call.nodes) else []
    track = ["TRACK"] if any(j.never_pump for j in work.machine_type.joints) else []
    return tuple(dict.fromkeys([*work.machine_type.cautions, *own, *climb, *track]))


def _climbs_ms(call: UnitCall, desk: Desk) -> list[int]:
    """For each stand the climb to its deck and down again; on a deck already, the way along it."""
    speed_m_s = outfit_of(desk.technician, desk.site).speed_m_s
    before = [None, *(n.node for n in call.nodes[:-1])]
    return [
        2 * n.node.climb_ms
        if old is None or not on_same_deck(old, n.node)
        else on_deck_ms(old, n.node, speed_m_s=speed_m_s)
        for old, n in zip(before, call.nodes, strict=True)
    ]


def _ticked(steps: Sequence[StepText]) -> tuple[StepTask, ...]:
    return tuple(
        StepTask(do=s.do, by=s.by, work_s=s.spent_ms / MS_PER_S, isolates=s.isolates) for s in steps
    )


def _people(halt: TimedHalt, call: UnitCall, desk: Desk) -> dict[int, tuple[PersonCall, ...]]:
    """Who has to come, by the number of the stand."""
    found: dict[int, tuple[PersonCall, ...]] = {}
    needs = needs_of(call) if call.visit.needs_people else ()
    for need, booking in zip(needs, halt.people or (), strict=False):
        foot = call.nodes[need.node].node.foot_m
        record = PersonCall(
            person=booking.person, unit=call.visit.work.unit.unit,
            technician=desk.technician.name,
            begin=desk.morning.text(booking.begin_ms), end=desk.morning.text(booking.end_ms),
            posture=need.posture, joint=need.joint, x_m=foot[0], y_m=foot[1],
        )  # fmt: skip
        found[need.node] = (*found.get(need.node, ()), record)
    return found


def _after(at: At, unit: UnitCall, people: Sequence[PersonCall]) -> tuple[StepTask, ...]:
    """Steps of the procedures that follow the fittings of a stand, each with who does it."""
    who = {call.joint: call.person for call in people}
    steps: list[StepText] = []
    for joint, spent_ms in at.beside:
        procedure = joint.joint.procedure
        assert procedure is not None
        second = who.get(joint.joint.name, "a second person")
        texts = [
            StepText(s.do, second if s.by == "second person" else "") for s in procedure.ordered
        ]
        moved = spent_ms > ms(procedure.minutes * S_PER_MIN)
        more = isolation_texts(unit.visit) if moved else ()
        unlock = (StepText("your lock and tag off, out, clear and seen", "",
                           ms(unit.visit.rules.unlock_s)),) if moved else ()  # fmt: skip
        spent = spent_ms - sum(s.spent_ms for s in (*unlock, *more))
        texts[0] = replace(texts[0], spent_ms=spent)
        steps += [*unlock, *texts, *more]
    return _ticked(steps)


def _stand(
    at: At,
    unit: UnitCall,
    desk: Desk,
    *,
    put_in: Sequence[int],
    to_it_ms: int,
    people: Sequence[PersonCall],
) -> StandVisit:
    call = at.call
    who = next((p.person for p in people if call.event and call.event[1] in (p.posture, p.joint)),
               "")  # fmt: skip
    steps = event_steps(call, unit.visit, who=who)
    places = _places(unit, desk, posture=call.posture)
    work = unit.visit.work
    looks = {k.name: k.what for k in work.machine_type.looks}
    keys = {"/".join(f.key): f.key for j in work.joints for f in j.fittings}
    node = call.node
    return StandVisit(
        x_m=node.x_m,
        y_m=node.y_m,
        height_m=node.height_m,
        deck=node.deck,
        posture=call.posture,
        before=tuple(step.do for step in steps),
        before_s=(to_it_ms + node.event_ms + again_ms(call, unit.visit)) / MS_PER_S,
        steps=_ticked(steps),
        after=_after(at, unit, people),
        event="" if node.kind == "stand" else node.kind,
        event_joint=call.event[1] if call.event and call.event[0] == TURN else "",
        again=tuple(keys[name] for name in call.again),
        fittings=tuple(
            _task(f, band, desk, at_m=places[f.key], put_in=n)
            for (f, band), n in zip(call.fittings, put_in, strict=True)
        ),
        looks=tuple(
            LookTask(name=n, what=looks[n], at_m=places[n, ""], work_s=desk.site.rules.look_s)
            for n in call.looks
        ),
    )


def _places(unit: UnitCall, desk: Desk, *, posture: str) -> dict[tuple[str, str], Point3]:
    placed = desk.placed[unit.visit.work.unit.unit, posture]
    found = {(f.joint.name, f.fitting.name): f.at_m for f in placed.fittings}
    return found | {(look.look.name, ""): look.at_m for look in placed.looks}


def _task(work: FittingWork, band: str, desk: Desk, *, at_m: Point3, put_in: int) -> FittingTask:
    gun = next(g for g in desk.site.guns if g.name == work.gun)
    bands = band_ms(desk.technician.reach)
    spent = ms(work.pump_s) + bands[band] + put_in * ms(gun.change_s)
    return FittingTask(
        joint=work.joint,
        fitting=work.fitting,
        strokes=work.strokes,
        grease=work.grease,
        gun=work.gun,
        dose_cm3=work.dose_cm3,
        cartridge_change=put_in > 0,
        put_in=put_in,
        at_m=at_m,
        head=work.head,
        band=band,
        work_s=spent / MS_PER_S,
        why=work.why,
    )
