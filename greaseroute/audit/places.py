"""Is there a place from which a fitting is served after all? Looked for on a fine grid.

A reason such as "hidden" claims that there is none. The grid is laid over all free ground within
arm and hose of the fitting and over every deck that can be climbed; a place that is found
disproves the claim, while finding none proves nothing: the audit accuses only where it can show.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.case import Case
from greaseroute.audit.house_rules import (
    BELOW_FEET_M,
    FOOT_WITHIN_M,
    GAP_M,
    HAND_M,
    PLACE_M,
    SHOULDER_SHARE,
    STAND_CLEAR_SIGHT_DEG,
)
from greaseroute.audit.machines import closed_by, extent_of
from greaseroute.audit.reach import cut_lines, sight_solids
from greaseroute.audit.surface import Floats
from greaseroute.audit.visits import band_of
from greaseroute.catalogue.kinematics.placed import PlacedFitting, PlacedMachine
from greaseroute.site.reach import Reach

GRID_M = 0.05
ROOM_M = 0.005  # a place counts only with so much to spare: no quarrel about a hair
FEET_M = 0.01  # and only where the feet may stand so far beside it: nobody sets them down closer
BESIDE_M = 3.0  # how far beyond the distance kept a place to stand clear is looked for
CLEAR_GRID_M = 0.25
EIGHTHS = np.arange(8) * np.pi / 4
FEET_BESIDE = FEET_M * np.column_stack([np.cos(EIGHTHS), np.sin(EIGHTHS)])


@dataclass(frozen=True, slots=True)
class Arm:
    """Whose arm with which hose: a technician's name, reach, and the hose of one gun."""

    name: str
    reach: Reach
    hose_m: float


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere to stand: x, y, height of the feet, the deck if it is one."""

    x_m: float
    y_m: float
    height_m: float
    deck: str = ""

    def __str__(self) -> str:
        on = f" on the {self.deck}" if self.deck else ""
        return f"({self.x_m:.2f}, {self.y_m:.2f}){on}"


def serving_place(
    case: Case, unit: str, fitting: tuple[str, str], *, posture: str, arm: Arm
) -> Place | None:
    """A place from which a fitting is in reach and in sight in a posture; None if none is found.

    The ground is the one that can be walked to at some hour, less what the unit closes in that
    posture.
    """
    machine = case.machines.placed_in(unit, posture)
    if machine is None:
        return None
    placed = next((f for f in machine.fittings if (f.joint.name, f.fitting.name) == fitting), None)
    if placed is None or (placed.joint.postures and posture not in placed.joint.postures):
        return None
    ground = _ground(case, unit, posture, machine=machine)
    for spots, height_m, deck in _candidates(machine, placed, ground=ground, arm=arm):
        found = _served(case, machine, placed, arm=arm, feet=(spots, height_m))
        if found is not None:
            return Place(found[0], found[1], height_m, deck)
    return None


def _ground(case: Case, unit: str, posture: str, *, machine: PlacedMachine) -> BaseGeometry:
    """Walkable ground round a unit in a posture."""
    low, high = extent_of(machine)
    box = shapely.box(*(low - 6.0), *(high + 6.0))
    ground = case.ground.walkable.intersection(box)
    if posture not in case.machines.asked_for[unit]:
        shut = [case.ground.kept_off(shape) for shape in closed_by(machine)]
        ground = ground.difference(shapely.union_all(shut))
    return ground.buffer(-PLACE_M)


def _candidates(
    machine: PlacedMachine, placed: PlacedFitting, *, ground: BaseGeometry, arm: Arm
) -> Iterator[tuple[Floats, float, str]]:
    """(n, 2) places within arm and hose, the height of the feet, the deck: ground first."""
    around = shapely.Point(placed.at_m[:2]).buffer(arm.reach.arm_m + arm.hose_m - ROOM_M)
    yield _grid(around.intersection(ground).buffer(-FEET_M)), 0.0, ""
    for deck in machine.decks:
        foot_m = float(ground.distance(shapely.Point(deck.foot_m))) if not ground.is_empty else 99.0
        if foot_m <= FOOT_WITHIN_M - ROOM_M:
            inside = deck.footprint.buffer(-ROOM_M).intersection(around)
            yield _grid(inside), deck.height_m, deck.name


def _grid(shape: BaseGeometry, *, step_m: float = GRID_M) -> Floats:
    """(n, 2) points of a grid inside a shape."""
    if shape.is_empty:
        return np.empty((0, 2))
    west, south, east, north = shape.bounds
    x, y = np.meshgrid(np.arange(west, east + step_m, step_m),
                       np.arange(south, north + step_m, step_m))  # fmt: skip
    spots = np.column_stack([x.ravel(), y.ravel()])
    shapely.prepare(shape)
    return spots[shapely.contains_xy(shape, spots[:, 0], spots[:, 1])]


def _served(
    case: Case,
    machine: PlacedMachine,
    placed: PlacedFitting,
    *,
    arm: Arm,
    feet: tuple[Floats, float],
) -> tuple[float, float] | None:
    """The first of some places whose shoulder sees the fitting, its height being in a band."""
    spots, height_m = feet
    above_m = placed.at_m[2] - height_m
    # At the limit of two bands there is no quarrel about which: in sight from either shoulder.
    bands = dict.fromkeys(band_of(above_m + room, arm.reach) for room in (ROOM_M, -ROOM_M))
    if None in bands or above_m < ROOM_M - BELOW_FEET_M:
        return None
    solids = sight_solids(case, _unit_of(case, machine), machine)
    for share in (SHOULDER_SHARE[band] for band in bands if band is not None):
        shoulder_m = height_m + share * arm.reach.shoulder_m
        # The place itself first: where it is hidden the eight beside it are not asked for.
        for beside in (np.zeros((1, 2)), FEET_BESIDE):
            lines = [
                ((x, y, shoulder_m), placed.at_m)
                for spot in spots
                for x, y in (spot + beside).tolist()
            ]
            cut = {k // len(beside) for k in cut_lines(lines, solids, slack_m=HAND_M - ROOM_M)}
            spots = spots[[k for k in range(len(spots)) if k not in cut]]
    return None if not len(spots) else (float(spots[0, 0]), float(spots[0, 1]))


def _unit_of(case: Case, machine: PlacedMachine) -> str:
    """The unit that stands where a placed machine does."""
    pose = machine.pose
    return next(u.unit for u in case.basis.site.units if (u.x_m, u.y_m) == (pose.x_m, pose.y_m))


def clear_place(case: Case, unit: str, postures: Sequence[str]) -> tuple[float, float] | None:
    """A place off all that a unit sweeps in some postures; None if none is found."""
    machines = [m for p in postures if (m := case.machines.placed_in(unit, p)) is not None]
    shapes = [solid.footprint for machine in machines for solid in machine.solids]
    shapes += [m.slew_clear for m in machines if m.slew_clear is not None]
    swept = shapely.union_all(shapes)
    clear_m = case.basis.site.rules.stand_clear_m
    off = swept.buffer(clear_m + ROOM_M, quad_segs=32)
    ring = swept.buffer(clear_m + BESIDE_M).difference(off)
    spots = _grid(ring.intersection(case.ground.walkable), step_m=CLEAR_GRID_M)
    spot = next((s for s in spots.tolist() if machines and waits_well(case, unit, s)), None)
    return None if spot is None else (spot[0], spot[1])


def waits_well(case: Case, unit: str, spot: Sequence[float], *, slack_m: float = 0.0) -> bool:
    """Whether somebody who stands clear is seen from the seat and not in a gap between machines."""
    machine = case.machines.placed_in(unit, case.basis.units[unit].posture)
    if machine is None:
        return True
    pose = machine.pose
    ahead = math.radians(pose.heading_deg - pose.slew_deg)
    dx, dy = spot[0] - pose.x_m, spot[1] - pose.y_m
    along = dx * math.sin(ahead) + dy * math.cos(ahead)
    sector = math.cos(math.radians(STAND_CLEAR_SIGHT_DEG)) * math.hypot(dx, dy)
    if along < sector - PLACE_M - slack_m:
        return False
    own = case.machines.outlines[unit, case.basis.units[unit].posture]
    line = shapely.linestrings([(pose.x_m, pose.y_m), (spot[0], spot[1])])
    for name, other in case.basis.units.items():
        outline = case.machines.outlines.get((name, other.posture))
        if name == unit or outline is None:
            continue
        shape = outline.buffer(-PLACE_M)
        if shape.intersects(line):
            return False
        if shape.distance(own) <= GAP_M and shapely.union(shape, own).convex_hull.buffer(
            -PLACE_M - slack_m
        ).contains(shapely.points(spot[0], spot[1])):
            return False
    return True
