"""Ground that a machine sweeps while it is slewed or brought into another posture, and what is in
its way there.

What moves must keep ``swing_gap_m`` from everything round it: other machines as they stand,
buildings and heaps, edges and fences, zones, traffic, the boundary, and places where people go.
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.link_frames import link_angles
from greaseroute.catalogue.kinematics.placed import PlacedMachine, place
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.posture import Posture
from greaseroute.errors import GreaserouteError
from greaseroute.site.ground_plan import GroundPlan

STEPS = 5  # parts of a posture move between which what moves is looked at
MOVED_M = 0.005  # a corner that moves by less stays where it is
EDGE_STEP_M = 0.1  # how finely the outline of an overlap is looked at for its depth
ROLL_M = 3.0  # a machine rolled on to bring a fitting up: a turn of its shaft, at most


@dataclass(frozen=True, slots=True, order=True)
class Miss:
    """What is in the way of a move, and by how many metres the move overlaps it, gap included."""

    by_m: float
    name: str


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What is round the machines: shapes by name, the boundary, and the gap that is kept."""

    named: tuple[tuple[str, BaseGeometry], ...]
    boundary: BaseGeometry
    gap_m: float

    def without(self, unit: str) -> "Surroundings":
        """The same for one of the machines."""
        return Surroundings(
            tuple((n, s) for n, s in self.named if n != unit), self.boundary, self.gap_m
        )


def surroundings(
    plan: GroundPlan, machines: Mapping[str, Iterable[BaseGeometry]], *, gap_m: float
) -> Surroundings:
    """The ground plan and the outlines of the machines as they stand."""
    areas = (*plan.obstacles, *plan.no_go, *plan.haul_roads)
    named: list[tuple[str, BaseGeometry]] = [(a.name, a.polygon) for a in areas]
    named += [(b.name, b.line_string) for b in plan.barriers]
    named += [(g.name, g.opening) for g in plan.gates]
    named += [(p.name, p.point) for p in plan.places if p.kind != "here"]
    named += [(unit, shape) for unit, shapes in machines.items() for shape in shapes]
    return Surroundings(tuple(named), plan.boundary, gap_m)


def slew_misses(placed: PlacedMachine, around: Surroundings) -> tuple[Miss, ...]:
    """What a full turn of the upperstructure would touch, the deepest overlap first."""
    if placed.slew_clear is None:
        return ()
    middle, radius_m = swing_circle(placed)
    keep_m = radius_m + around.gap_m
    near = [(n, keep_m - middle.distance(shape)) for n, shape in around.named]
    inside = around.boundary.covers(middle)
    edge_m = middle.distance(shapely.boundary(around.boundary))
    near.append(("boundary", keep_m - (edge_m if inside else -edge_m)))
    return _sorted(near)


def swing_circle(placed: PlacedMachine) -> tuple[Point, float]:
    """Middle and radius of the circle that the upperstructure sweeps with its implement.

    Raises ValueError where nothing slews.
    """
    if placed.slew_clear is None:
        raise ValueError(f"{placed.machine_type.name} does not slew")
    disc = placed.slew_clear
    middle = Point(shapely.get_coordinates(disc)[:-1].mean(axis=0))
    return middle, float(disc.exterior.distance(middle))  # its sides touch the true circle


def move_misses(path: BaseGeometry, around: Surroundings) -> tuple[Miss, ...]:
    """What a path would touch, the deepest overlap first."""
    kept = path.buffer(around.gap_m)
    shapely.prepare(kept)
    near = [(name, _depth_m(kept, shape)) for name, shape in around.named if kept.intersects(shape)]
    outside = kept.difference(around.boundary)
    if not outside.is_empty:
        corners = shapely.points(shapely.get_coordinates(outside))
        near.append(("boundary", float(shapely.distance(around.boundary, corners).max())))
    return _sorted(near)


def _depth_m(kept: BaseGeometry, shape: BaseGeometry) -> float:
    """How deep a shape lies in what is kept free."""
    common = shapely.segmentize(kept.intersection(shape), EDGE_STEP_M)
    corners = shapely.points(shapely.get_coordinates(common))
    return float(shapely.distance(shapely.boundary(kept), corners).max())


def _sorted(near: Iterable[tuple[str, float]]) -> tuple[Miss, ...]:
    deepest: dict[str, float] = {}
    for name, by_m in near:
        if by_m > 1e-6:
            deepest[name] = max(by_m, deepest.get(name, 0.0))
    return tuple(
        sorted((Miss(by, n) for n, by in deepest.items()), key=lambda m: (-m.by_m, m.name))
    )


def path_between(one: PlacedMachine, other: PlacedMachine) -> BaseGeometry:
    """Ground under what moves from one posture to another: hulls between steps on the way.

    Where the upperstructure turns as well, its whole circle. Worked out once for each pose of a
    machine type.
    """
    known: dict[tuple[str, str, Hashable], BaseGeometry] = one.machine_type.swept
    key = one.posture, other.posture, (one.pose, other.pose)
    if key not in known:
        known[key] = _path(one, other)
    return known[key]


def _path(one: PlacedMachine, other: PlacedMachine) -> BaseGeometry:
    steps = [one, *_between(one, other), other]
    shapes = [shape for a, b in pairwise(steps) for shape in _moved(a, b)]
    if _turned(one, other):
        shapes += [m.slew_clear for m in (one, other) if m.slew_clear is not None]
    return shapely.union_all(shapes)


def _moved(a: PlacedMachine, b: PlacedMachine) -> Iterator[BaseGeometry]:
    for old, new in zip(a.solids, b.solids, strict=True):
        if old.points_m.shape == new.points_m.shape:
            off = np.abs(old.points_m - new.points_m).max()
            if off <= MOVED_M:
                continue
        yield shapely.union(old.footprint, new.footprint).convex_hull


def _turned(one: PlacedMachine, other: PlacedMachine) -> bool:
    link = one.machine_type.slew_link
    if link is None:
        return False
    angles = [
        m.machine_type.posture(m.posture).angles_deg.get(link.name, 0.0) for m in (one, other)
    ]
    return abs(angles[0] - angles[1]) > 0.1


def _between(one: PlacedMachine, other: PlacedMachine) -> list[PlacedMachine]:
    """The machine at some steps on the way, by its angles; steps it cannot take are left out."""
    machine = one.machine_type
    keys = _driven(machine, one.posture) | _driven(machine, other.posture)
    begin, end = (link_angles(machine, m.posture) for m in (one, other))
    middle = tuple(
        Posture(
            name=f"{one.posture} to {other.posture} {k}",
            angles_deg={
                key: begin[key] + (end[key] - begin[key]) * k / STEPS
                for key in sorted(keys)
                if key in begin and key in end
            },
        )
        for k in range(1, STEPS)
    )
    wider = machine.model_copy(update={"postures": (*machine.postures, *middle)})
    return list(_placed(wider, one, [p.name for p in middle]))


def _driven(machine: MachineType, posture: str) -> set[str]:
    """The links whose angle a posture gives, as such or by the length of a cylinder."""
    given = machine.posture(posture)
    rods = {c.rod_link for c in machine.cylinders if c.name in given.lengths_m}
    return {*given.angles_deg, *rods}


def _placed(
    machine: MachineType, like: PlacedMachine, postures: Sequence[str]
) -> Iterator[PlacedMachine]:
    for posture in postures:
        try:
            yield place(machine, like.pose, posture=posture)
        except GreaserouteError:
            continue


def rolled(placed: PlacedMachine) -> BaseGeometry:
    """Ground that a machine stands on or runs over when it is rolled on by ``ROLL_M``."""
    heading = np.radians(placed.pose.heading_deg)
    dx, dy = ROLL_M * float(np.sin(heading)), ROLL_M * float(np.cos(heading))
    step = np.asarray((dx, dy))
    ahead = shapely.transform(placed.outline, lambda at: at + step)
    return shapely.union(placed.outline, ahead).convex_hull


def told(miss: Miss, gap_m: float) -> str:
    """An overlap in words: how deep what moves reaches in, or how near it comes within the gap."""
    over_m = miss.by_m - gap_m
    if over_m > 0:
        return f"overlaps {miss.name} by {over_m:.2f} m"
    return f"comes within {-over_m:.2f} m of {miss.name}"
