"""What a safety officer checks on a plan, from the site and the plan record alone.

Shares nothing with the planner or the audit: radii come from the corners of placed solids,
hours from the texts of the site, everything else from the record.
"""

from datetime import datetime, time, timedelta
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import substring

from greaseroute.catalogue.kinematics.placed import Pose, place

NEAR_M = 0.002
SLACK = timedelta(milliseconds=3)


def findings(site, plan):
    """Everything that is wrong, one sentence each."""
    return [
        *people_where_they_cannot_be(site, plan),
        *moves_without_people(plan),
        *swept_into_something(site, plan),
        *touched_without_isolation(plan),
        *too_near(site, plan),
        *over_the_way_of_one_that_left(site, plan),
    ]


def moment(text):
    return datetime.fromisoformat(text)


def people_where_they_cannot_be(site, plan):
    """Two machines at once, or outside the hours of the site file."""
    names = {}
    for person in site.people:
        some = [person.name] if person.at_once == 1 else [
            f"{person.name} {k + 1}" for k in range(person.at_once)
        ]  # fmt: skip
        names |= dict.fromkeys(some, person)
    for call in plan.people:
        person = names.get(call.person)
        if person is None:
            yield f"{call.person} is not of this site"
            continue
        if not _inside(person, moment(call.begin), moment(call.end)):
            yield f"{call.person} is called out of hours at {call.begin}"
        machine = site.types[next(u.type for u in site.units if u.unit == call.unit)]
        if person.operates and not {machine.family, machine.name} & set(person.operates):
            yield f"{call.person} may not operate {call.unit}"
    for one, other in combinations(plan.people, 2):
        if one.person == other.person and one.unit != other.unit:
            first, then = sorted((one, other), key=lambda c: moment(c.begin))
            if moment(first.end) > moment(then.begin) + SLACK:
                yield f"{one.person} is at {one.unit} and {other.unit} at {then.begin}"


def _inside(person, begin, end):
    first, last = time.fromisoformat(person.on_site_from), time.fromisoformat(person.on_site_to)
    for day in (-1, 0, 1):
        a = datetime.combine(begin.date() + timedelta(days=day), first, begin.tzinfo)
        b = datetime.combine(a.date(), last, begin.tzinfo)
        b = b if b > a else b + timedelta(days=1)
        if a - SLACK <= begin and end <= b + SLACK:
            return True
    return False


def stops(plan):
    for technician in plan.technicians:
        for stop in technician.stops:
            if not stop.reload:
                yield technician, stop


def moves_without_people(plan):
    """A posture asked for, or a slew, and nobody is called to it."""
    for technician, stop in stops(plan):
        called = {(c.posture, c.joint) for c in stop.people if c.technician == technician.name}
        for stand in stop.stands:
            wanted = ("", stand.event_joint) if stand.event == "turn" else (stand.posture, "")
            if stand.event and wanted not in called:
                yield f"{stop.unit}: nobody is called for {wanted}"


def placed(site, unit, posture):
    pose = Pose(unit.x_m, unit.y_m, unit.heading_deg, unit.slew_deg)
    return place(site.types[unit.type], pose, posture=posture)


def around(site, unit):
    """Shapes that nothing that moves may touch."""
    plan = site.ground
    for area in (*plan.obstacles, *plan.no_go, *plan.haul_roads):
        yield area.name, area.polygon
    for barrier in plan.barriers:
        yield barrier.name, barrier.line_string
    yield "boundary", plan.boundary.exterior
    for other in site.units:
        if other.unit != unit.unit:
            machine = placed(site, other, other.posture)
            yield other.unit, shapely.union_all([s.footprint for s in machine.solids])


def swept_into_something(site, plan):
    """A full turn or a posture move that would touch something; one who waits in its way."""
    units = {unit.unit: unit for unit in site.units}
    for _, stop in stops(plan):
        unit, posture = units[stop.unit], units[stop.unit].posture
        for stand in stop.stands:
            if not stand.event:
                continue
            ground = _swept(site, unit, (posture, stand.posture), turns=stand.event == "turn")
            posture = stand.posture
            for name, shape in around(site, unit):
                if ground.distance(shape) < site.rules.swing_gap_m - 0.03:
                    yield f"{stop.unit}: {stand.event} sweeps too near to {name}"
            away_m = ground.distance(Point(stand.x_m, stand.y_m))
            if away_m < site.rules.stand_clear_m - 0.03:
                yield f"{stop.unit}: one waits {away_m:.2f} m from what moves"


def _swept(site, unit, postures, *, turns):
    machines = [placed(site, unit, posture) for posture in postures]
    if not turns:
        pairs = zip(machines[0].solids, machines[1].solids, strict=True)
        hulls = [
            shapely.union(a.footprint, b.footprint).convex_hull
            for a, b in pairs
            if np.abs(a.points_m - b.points_m).max() > 0.01
        ]
        return shapely.union_all(hulls)
    machine = machines[1]
    turning = machine.machine_type.below(machine.machine_type.slew_link.name)
    corners = np.vstack([s.points_m[:, :2] for s in machine.solids if s.link in turning])
    middle = machine.slew_clear.centroid
    radius_m = float(np.hypot(*(corners - (middle.x, middle.y)).T).max())
    return middle.buffer(radius_m, quad_segs=64)


def touched_without_isolation(plan):
    """A fitting pumped or a check made at a machine that is not isolated just then."""
    for _, stop in stops(plan):
        isolated = any(step.isolates for step in stop.isolation_steps) and stop.isolation_s > 0
        for number, stand in enumerate(stop.stands):
            if stand.event:
                isolated = _isolates_last(stand.steps)
            if (stand.fittings or stand.looks or stand.again) and not isolated:
                yield f"{stop.unit}: stand {number + 1} is worked at and not isolated"
            if stand.after and any("lock and tag off" in step.do for step in stand.after):
                isolated = _isolates_last(stand.after)


def _isolates_last(steps):
    """Whether what unlocks or moves comes before a full isolation, which is the end of it."""
    isolating = [k for k, step in enumerate(steps) if step.isolates]
    moving = [k for k, step in enumerate(steps) if step.by or "lock and tag off" in step.do]
    return bool(isolating) and max(moving, default=-1) < min(isolating) and (
        sum(steps[k].work_s for k in isolating) > 0
    )  # fmt: skip


def legs(plan):
    """Every line walked, with who walks it."""
    for technician in plan.technicians:
        for stop in technician.stops:
            for line in (stop.path, stop.inside):
                if len(line) > 1:
                    yield technician, stop, LineString(line)


ROLES = {"stockpile": "toe", "quarry face": "edge", "pond": "water", "rail siding": "rail"}


def kept_from(site):
    """(name, shape, metres) of everything that legs and stands keep a distance of its own from."""
    rules = site.rules
    for area in (*site.ground.obstacles, *site.ground.no_go):
        role = "no_entry" if area.role == "no_go" else ROLES.get(area.kind, "")
        own_m = getattr(rules, f"{role}_clearance_m") if role else 0.0
        yield area.name, area.polygon, max(own_m, rules.clearance_m)
    crossings = shapely.union_all([c.polygon for c in site.ground.crossings])
    for road in site.ground.haul_roads:
        own_m = max(rules.haul_road_clearance_m, rules.clearance_m)
        yield road.name, road.polygon.difference(crossings.buffer(own_m + 0.1)), own_m
    for unit in site.units:
        machine = placed(site, unit, unit.posture)
        low = [s.footprint for s in machine.solids if s.bottom_m < 2.5]
        yield unit.unit, shapely.union_all(low), rules.clearance_m


def too_near(site, plan):
    """A leg or a stand on the ground nearer to something than its role allows."""
    kept = [(n, s, m) for n, s, m in kept_from(site) if not s.is_empty]
    for _, stop, line in legs(plan):
        for name, shape, keep_m in kept:
            away_m = line.distance(shape)
            if away_m < keep_m - NEAR_M:
                yield f"a leg to {stop.unit} passes {away_m:.3f} m from {name}, {keep_m} m is kept"
    for _, stop in stops(plan):
        for stand in (s for s in stop.stands if s.deck is None):
            for name, shape, keep_m in kept:
                away_m = shape.distance(Point(stand.x_m, stand.y_m))
                if away_m < keep_m - NEAR_M:
                    yield f"a stand at {stop.unit} is {away_m:.3f} m from {name}"


def leaving(site, plan):
    """(unit, moment) of each machine that leaves between the begin and the end of the walks."""
    begin = moment(plan.at)
    end = moment(plan.shift_start)
    for unit in site.units:
        goes = unit.parked_to
        if goes is None and unit.parked_to_clock is not None:
            goes = datetime.combine(begin.date(), unit.parked_to_clock, begin.tzinfo)
        if goes is not None and begin < goes < end:
            yield unit, goes


def over_the_way_of_one_that_left(site, plan):
    """A leg, a stand or a wait on the place of a machine that left, or on its way to a road.

    The place is the machine's own ground; the way is what the plan tells, which has to cover the
    place and reach a road where there is one within its own width.
    """
    told = {each.unit: each for each in plan.leaving}
    for unit, goes in leaving(site, plan):
        if unit.unit not in told:
            yield f"{unit.unit} leaves at {goes:%H:%M} and the plan does not say so"
            continue
        ground = Polygon(told[unit.unit].ground)
        body = shapely.union_all([s.footprint for s in placed(site, unit, unit.posture).solids])
        if not ground.buffer(NEAR_M).covers(body):
            yield f"{unit.unit}: its place is not all of it told as traffic"
        for who, line, begin, end in walked(plan):
            if end > goes and _inside_m(line, ground, begin, end, goes) > NEAR_M:
                yield f"{who} walks over the way of leaving machine {unit.unit} after {goes:%H:%M}"
        for _, stop in stops(plan):
            if moment(stop.leave) > goes + SLACK and any(
                ground.contains(Point(s.x_m, s.y_m)) for s in stop.stands
            ):
                yield f"{stop.unit} is worked at where leaving machine {unit.unit} drives"


def walked(plan):
    """(technician, line, from, to) of each leg; the last one home included."""
    for technician in plan.technicians:
        before = moment(technician.start)
        for stop in technician.stops:
            if len(stop.path) > 1:
                yield technician.name, LineString(stop.path), before, moment(stop.arrive)
            before = moment(stop.leave)
        if technician.stops and len(technician.path) > 1:
            home = LineString(technician.path)
            last = Point([*technician.stops[-1].path, *technician.stops[-1].inside][-1])
            yield technician.name, _after(home, last), before, moment(technician.finish)


def _after(line, point):
    """The part of a line after it last passes a point."""
    corners = list(line.coords)
    last = max(k for k, c in enumerate(corners) if Point(c).distance(point) < 0.01)
    return LineString(corners[last:]) if last + 1 < len(corners) else LineString([point, point])


def _inside_m(line, ground, begin, end, goes):
    """Metres of a leg on some ground that can only have been walked after a moment.

    Whoever waits on the way walks the rest later: what lies after the moment by an even pace is
    counted, so that a wait makes the check milder and never harder.
    """
    share = max(0.0, (goes + SLACK - begin) / (end - begin)) if end > begin else 1.0
    rest = substring(line, min(1.0, share), 1.0, normalized=True)
    return rest.intersection(ground.buffer(-NEAR_M)).length
