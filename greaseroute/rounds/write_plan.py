"""From schedules to the plan record: technicians, cartridges, what is left, what to look at."""

from collections.abc import Iterable
from datetime import datetime

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.intervals.worklist import carried_note
from greaseroute.plan.round import (
    GENERAL_CAUTIONS,
    Leaving,
    LeftOut,
    LookedAt,
    PersonCall,
    RoundPlan,
    TechnicianPlan,
)
from greaseroute.rounds.cartridges import added_up
from greaseroute.rounds.check_ins import check_ins
from greaseroute.rounds.left_out import (
    NO_TIME,
    by_unit_and_joint,
    due_fittings,
    no_time,
    not_in_reach,
    once,
    order_of,
)
from greaseroute.rounds.place_cautions import with_cautions
from greaseroute.rounds.prepare import Prepared
from greaseroute.rounds.solved import Solved
from greaseroute.rounds.stops import Desk, technician_plan
from greaseroute.rounds.why_left import (
    BAG_EMPTY,
    HELPS,
    NO_BAG,
    NO_BAG_MORE,
    NO_CARTRIDGE,
    STANDS_DOWN,
    stands_down,
)
from greaseroute.visits.calls import MORE_TIME, NO_SECOND
from greaseroute.visits.visit import UnitVisit
from greaseroute.visits.work import left_out, outfit_of

TRACK_TEXT = "track tension: looks like a grease fitting and is not one, never pump it on a round"
CENTRAL_TEXT = "fed by the central system: look that fresh grease shows, do not pump"
OPERATOR_TEXT = "greased by the operator during the shift: check that it was done"
AGAIN_NOTE = "The single strokes of a second pass are not in the counts: the reserve covers them."
UNION_NOTE = (
    "Where a machine is moved into another posture, the ground of both is kept clear; "
    "it stays in the last one."
)


def write_plan(solved: Solved, *, seed: int) -> RoundPlan:
    """The whole record of a round."""
    ready = solved.ready
    walks = [
        technician_plan(schedule, _desk(ready, solved, number))
        for number, schedule in enumerate(solved.schedules)
        if number not in _standing_down(solved)
    ]
    technicians = tuple(
        with_cautions(walk, ready.site, check_ins=check_ins(walk, walks, ready.site))
        for walk in walks
    )
    due = due_fittings(ready.site, ready.items, ready.without)
    left = list(once([*ready.left, *_left(ready, solved)], due))
    return RoundPlan(
        site=ready.site.name,
        at=ready.morning.text(0),
        seed=seed,
        shift_start=ready.morning.text(ready.morning.end_ms),
        complete=solved.complete,
        due_joints=len(ready.items),
        due_fittings=sum(item.fittings for item in ready.items),
        technicians=technicians,
        people=_people(technicians),
        leaving=_leaving(ready),
        emergency_number=ready.site.emergency_number,
        cartridges=added_up([t.cartridges for t in technicians]),
        left=by_unit_and_joint(left, order_of(ready.items)),
        never_pump=tuple(_never_pumped(ready)),
        inspect=tuple(_to_check(ready)),
        bound=solved.bound,
        cautions=GENERAL_CAUTIONS,
        notes=tuple(_notes(solved)),
    )


def _standing_down(solved: Solved) -> list[int]:
    """Technicians who cannot be back in time from any walk, where others can; they do not walk."""
    away = [k for k, s in enumerate(solved.schedules) if stands_down(s, solved.team)]
    return away if len(away) < len(solved.schedules) else []


def _desk(ready: Prepared, solved: Solved, number: int) -> Desk:
    team = solved.team
    member = team.members[number]
    outfit = outfit_of(member.technician, ready.site)
    return Desk(
        site=ready.site,
        morning=ready.morning,
        placed={
            (unit, placed.posture): placed
            for unit, stance in ready.yard.stances.items()
            for placed in stance
        },
        names=_names(ready, solved),
        technician=member.technician,
        walks=next(o.walks for o in ready.outlooks if o.outfit == outfit),
    )


def _names(ready: Prepared, solved: Solved) -> dict[int, str]:
    stores = [p.name for p in ready.site.ground.places if p.kind == "store"]
    names = dict(zip(solved.team.stores, stores, strict=True))
    for member in solved.team.members:
        names[member.start], names[member.finish] = (
            member.technician.start,
            member.technician.finish,
        )
    return names


def _people(technicians: Iterable[TechnicianPlan]) -> tuple[PersonCall, ...]:
    """Everybody who has to come somewhere, by the clock."""
    calls = [call for t in technicians for stop in t.stops for call in stop.people]
    return tuple(sorted(calls, key=lambda call: (datetime.fromisoformat(call.begin), call.person)))


def _leaving(ready: Prepared) -> tuple[Leaving, ...]:
    """Machines that go while somebody may be walking, and the ground they take."""
    return tuple(
        Leaving(
            unit=way.unit,
            leaves=way.leaves.isoformat(),
            ground=tuple((float(x), float(y)) for x, y in way.ground.exterior.coords),
        )
        for way in ready.traffic
    )


def _left(ready: Prepared, solved: Solved) -> list[LeftOut]:
    """What is not served at units that are visited, and at units that are not."""
    calls = {
        halt.call.visit.work.unit.unit: (halt.call.visit, schedule.route.technician)
        for schedule in solved.schedules
        for halt in schedule.halts
        if halt.call is not None
    }
    found: list[LeftOut] = []
    for unit in dict.fromkeys(item.unit for item in ready.items):
        if unit in calls:
            found += _left_at_visited(solved, *calls[unit])
        else:
            found += _left_at_unvisited(ready, unit, reason=solved.skipped.get(unit, NO_TIME))
    return found


def _left_at_visited(solved: Solved, visit: UnitVisit, technician: int) -> list[LeftOut]:
    """Out of reach, no gun or skill with the one who comes, no time or no cartridges for it."""
    ready, unit = solved.ready, visit.work.unit.unit
    outfit = outfit_of(ready.technicians[technician], ready.site)
    outlook = next(o for o in ready.outlooks if o.outfit == outfit)
    full = outlook.visits[unit].items
    may_move = ready.site.rules.posture_moves
    found = not_in_reach(outlook.surveyed[unit], full, may_move=may_move)
    found += [
        left_out(c.item, f"{c.reason} (the technician who comes)", helps=c.helps)
        for c in visit.work.cannot
    ]
    undone, reach = full - visit.items, outlook.surveyed[unit].reach
    missed = [j for j in visit.work.joints if {f.key for f in j.fittings} & undone]
    told = solved.skipped.get(unit, NO_TIME)
    bags = {NO_BAG: NO_BAG_MORE, NO_CARTRIDGE: NO_CARTRIDGE, BAG_EMPTY: BAG_EMPTY}
    why = bags.get(told, NO_TIME)
    moved = undone - reach.served(reach.now)  # somebody has to move the unit for these
    with_second = [j for j in missed if j.needs_second or {f.key for f in j.fittings} & moved]
    alone = [j for j in missed if j not in with_second]
    helps = HELPS.get(why, MORE_TIME)
    return found + no_time(alone, why, helps=helps) + no_time(with_second, NO_SECOND)


def _left_at_unvisited(ready: Prepared, unit: str, *, reason: str) -> list[LeftOut]:
    """What nobody reaches, for the reason that it has; the rest for the ``reason`` told."""
    seen = [outlook for outlook in ready.outlooks if unit in outlook.surveyed]
    full = {k: o.visits[unit].items for k, o in enumerate(seen) if unit in o.visits}
    served = frozenset().union(*full.values())
    found: list[LeftOut] = []
    for outlook in seen:
        survey = outlook.surveyed[unit]
        found += not_in_reach(survey, served, may_move=ready.site.rules.posture_moves)
    for number, items in full.items():
        joints = seen[number].surveyed[unit].reach.work.joints
        missed = [j for j in joints if {f.key for f in j.fittings} & items]
        found += no_time(missed, reason, helps=HELPS.get(reason, MORE_TIME))
    return found


def _machines(ready: Prepared) -> Iterable[tuple[str, MachineType]]:
    """Units with something due and what each is, attachments hung on."""
    units = {item.unit for item in ready.items}
    for unit in ready.site.units:
        if unit.unit in units:
            yield unit.unit, ready.site.machine(unit)


def _never_pumped(ready: Prepared) -> Iterable[LookedAt]:
    for unit, machine in _machines(ready):
        for joint in machine.joints:
            if joint.never_pump:
                yield LookedAt(unit=unit, joint=joint.name, text=TRACK_TEXT)


def _to_check(ready: Prepared) -> Iterable[LookedAt]:
    """Joints that a central system feeds or an operator greases: looked at, not pumped."""
    for unit, machine in _machines(ready):
        for joint in machine.joints:
            if joint.central:
                yield LookedAt(unit=unit, joint=joint.name, text=CENTRAL_TEXT)
            elif joint.done_by == "operator":
                yield LookedAt(unit=unit, joint=joint.name, text=OPERATOR_TEXT)


def _notes(solved: Solved) -> Iterable[str]:
    calls = solved.calls
    asked = any(call.visit.postures for call in calls)
    if asked:
        yield UNION_NOTE
    if any(node.again for call in calls for node in call.nodes):
        yield AGAIN_NOTE
    for number in _standing_down(solved):
        name = solved.ready.technicians[number].name
        yield f"{name} takes no part: {STANDS_DOWN}."
    if carried := carried_note(solved.ready.site, solved.ready.morning.zero):
        yield carried
    yield from solved.notes
