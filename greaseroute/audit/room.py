"""What a machine sweeps when it is slewed or moved, re-derived, and what lies in its way."""

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.house_rules import PLACE_M
from greaseroute.catalogue.kinematics.placed import PlacedMachine

ROOMY_M = 3.0  # beyond all corners of both postures nothing that moves gets in between


def things_around(case: Case, unit: str) -> Iterator[tuple[str, BaseGeometry]]:
    """Everything that a moving machine keeps its gap from, but the boundary."""
    plan, machines = case.basis.site.ground, case.machines
    for area in (*plan.obstacles, *plan.no_go, *plan.haul_roads):
        yield area.name, area.polygon
    for barrier in plan.barriers:
        yield barrier.name, barrier.line_string
    for gate in plan.gates:
        yield gate.name, gate.opening
    for place in plan.places:
        if place.kind != "here":
            yield place.name, place.point
    for other in case.basis.units.values():
        outline = machines.outlines.get((other.unit, other.posture))
        if other.unit != unit and outline is not None:
            yield other.unit, outline


def circle_of(machine: PlacedMachine) -> tuple[Point, float] | None:
    """Middle and radius of what the upperstructure sweeps, from the corners that turn with it."""
    link = machine.machine_type.slew_link
    if link is None or machine.slew_clear is None:
        return None
    middle = machine.slew_clear.centroid
    turning = machine.machine_type.below(link.name)
    corners = [s.points_m[:, :2] for s in machine.solids if s.link in turning]
    if not corners:
        return None
    away = np.hypot(*(np.vstack(corners) - (middle.x, middle.y)).T)
    return middle, float(away.max())


def slew_overlap(case: Case, unit: str, posture: str) -> tuple[float, str]:
    """By how many metres a full turn comes nearer than the gap to something, and to what."""
    machine = case.machines.placed_in(unit, posture)
    circle = None if machine is None else circle_of(machine)
    if circle is None:
        return 0.0, ""
    middle, radius_m = circle
    keep_m = radius_m + case.basis.site.rules.swing_gap_m
    boundary = case.basis.site.ground.boundary
    found = [(keep_m - middle.distance(shape), name) for name, shape in things_around(case, unit)]
    found.append((keep_m - middle.distance(boundary.exterior), "boundary"))
    return max(found)


def move_overlap(case: Case, unit: str, postures: tuple[str, str]) -> tuple[float, str]:
    """The same for a move, by the hulls of what moves between its first and its last place."""
    machines = [case.machines.placed_in(unit, p) for p in postures]
    if machines[0] is None or machines[1] is None:
        return 0.0, ""
    path = _hulls(machines[0], machines[1])
    if path.is_empty:
        return 0.0, ""
    gap_m = case.basis.site.rules.swing_gap_m
    found = [(gap_m - path.distance(shape), name) for name, shape in things_around(case, unit)]
    outside = path.difference(case.basis.site.ground.boundary)
    found.append((0.0 if outside.area <= PLACE_M else gap_m, "boundary"))
    return max(found)


def _hulls(one: PlacedMachine, other: PlacedMachine) -> BaseGeometry:
    pairs = zip(one.solids, other.solids, strict=True)
    moved = [
        shapely.union(a.footprint, b.footprint).convex_hull
        for a, b in pairs
        if a.points_m.shape != b.points_m.shape or np.abs(a.points_m - b.points_m).max() > 0.01
    ]
    return shapely.union_all(moved)


def roomy(case: Case, unit: str, postures: tuple[str, str]) -> bool:
    """Whether nothing at all stands near a machine, wherever it reaches in two postures."""
    machines = [m for p in postures if (m := case.machines.placed_in(unit, p)) is not None]
    if len(machines) < 2:
        return False
    shapes = [s.footprint for m in machines for s in m.solids]
    shapes += [m.slew_clear for m in machines if m.slew_clear is not None]
    wide = shapely.union_all(shapes).convex_hull.buffer(ROOMY_M)
    if not case.basis.site.ground.boundary.contains(wide):
        return False
    gap_m = case.basis.site.rules.swing_gap_m
    return all(wide.distance(shape) >= gap_m for _, shape in things_around(case, unit))


def moves_have_room(case: Case) -> Iterator[Finding]:
    """No machine is slewed or moved where what it sweeps would touch something."""
    for (t, _), visit in case.visits.items():
        name, unit = case.basis.plan.technicians[t].name, visit.stop.unit
        posture = case.basis.units[unit].posture
        for stand in visit.stop.stands:
            if not stand.event:
                continue
            where = Where(name, unit, stand.event_joint, place_m=(stand.x_m, stand.y_m))
            if stand.event == "posture":
                off_m, what = move_overlap(case, unit, (posture, stand.posture))
                posture = stand.posture
            else:
                off_m, what = slew_overlap(case, unit, stand.posture)
            if off_m > PLACE_M:
                text = f"what moves comes too near to {what}"
                yield where.finding("swept ground", text, off=off_m, measure="m")
