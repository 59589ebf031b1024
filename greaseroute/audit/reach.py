"""Promises about hands and eyes: fittings where they are, stands in reach, nothing in the way."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.house_rules import (
    BELOW_FEET_M,
    EYES_ABOVE_SHOULDER_M,
    GRAZE_M,
    HAND_M,
    LOOK_HEIGHT_M,
    LOOK_M,
    PLACE_M,
    SHOULDER_SHARE,
    TIGHT_M,
)
from greaseroute.audit.machines import extent_of
from greaseroute.audit.surface import Floats
from greaseroute.audit.visits import Visit, band_of
from greaseroute.catalogue.kinematics.placed import PlacedFitting, PlacedMachine, PlacedSolid
from greaseroute.plan.round import FittingTask, StandVisit
from greaseroute.site.reach import Reach

HAIR = 1e-9  # a share of a line: what only touches does not cut
Point3 = tuple[float, float, float]
Line3 = tuple[Point3, Point3]
NamedSolid = tuple[str, PlacedSolid]


@dataclass(frozen=True, slots=True)
class Hand:
    """One fitting at one stand, with the machine as it stands then and who is at work."""

    technician: str
    visit: Visit
    number: int
    stand: StandVisit
    task: FittingTask
    machine: PlacedMachine
    placed: PlacedFitting | None

    @property
    def where(self) -> Where:
        """Where this is, for a finding."""
        return Where(
            self.technician,
            self.visit.stop.unit,
            self.task.joint,
            self.task.fitting,
            place_m=(self.stand.x_m, self.stand.y_m),
        )


def hands(case: Case) -> Iterator[Hand]:
    """Every fitting pumped at a unit that is known, in a posture that it can take."""
    for (t, _), visit in case.visits.items():
        name = case.basis.plan.technicians[t].name
        for number, stand in enumerate(visit.stop.stands):
            machine = case.machines.placed.get((visit.stop.unit, stand.posture))
            if machine is None:
                continue
            by_name = {(f.joint.name, f.fitting.name): f for f in machine.fittings}
            for task in stand.fittings:
                placed = by_name.get((task.joint, task.fitting))
                yield Hand(name, visit, number, stand, task, machine, placed)


def fittings_are_where_told(case: Case) -> Iterator[Finding]:
    """The place, head and posture told of each fitting are those of the machine as it stands."""
    for hand in hands(case):
        if hand.placed is None:
            continue
        off_m = math.dist(hand.placed.at_m, hand.task.at_m)
        if off_m > PLACE_M:
            what = "the fitting is elsewhere than told"
            yield hand.where.finding("places", what, off=off_m, measure="m")
        if hand.task.head != hand.placed.head:
            what = f"the head is told as {hand.task.head}, it is {hand.placed.head}"
            yield hand.where.finding("places", what)
        allowed = hand.placed.joint.postures
        if allowed and hand.stand.posture not in allowed:
            what = f"is greased in posture {hand.stand.posture!r}, allowed: {', '.join(allowed)}"
            yield hand.where.finding("postures", what)


def fittings_are_in_reach(case: Case) -> Iterator[Finding]:
    """Every fitting is within arm and hose of its stand, in the height band that is told."""
    for hand in hands(case):
        gun = case.basis.guns.get(hand.task.gun)
        if hand.placed is None or gun is None:
            continue
        reach, (x, y, z) = hand.visit.reach, hand.placed.at_m
        height_m = z - hand.stand.height_m
        flat_m = math.hypot(x - hand.stand.x_m, y - hand.stand.y_m)
        for what, off_m in (
            ("arm and hose are too short", flat_m - reach.arm_m - gun.hose_m),
            ("the fitting is too high", height_m - reach.overhead_to_m),
            ("the fitting is below the feet", -BELOW_FEET_M - height_m),
        ):
            if off_m > 2 * TIGHT_M:
                yield hand.where.finding("reach", what, off=off_m, measure="m")
        band = band_of(height_m, reach)
        if band is not None and band != hand.task.band:
            what = f"the height band is told as {hand.task.band}, it is {band}"
            yield hand.where.finding("reach", what)


def stands_hold_a_person(case: Case) -> Iterator[Finding]:
    """A stand is on the walk, or on a deck of the machine at its height, steps near the walk."""
    for (t, s), visit in case.visits.items():
        name = case.basis.plan.technicians[t].name
        for number, stand in enumerate(visit.stop.stands):
            where = Where(name, visit.stop.unit, place_m=(stand.x_m, stand.y_m))
            if case.feet[t, s][number] is None:
                yield where.finding("stands", f"the walk does not come to stand {number + 1}")
            if stand.deck is not None:
                yield from _on_deck(case, visit, number, where=where)
            elif stand.height_m != 0.0:
                what = f"stand {number + 1} on the ground is told to be up"
                yield where.finding("stands", what, off=stand.height_m, measure="m")


def _on_deck(case: Case, visit: Visit, number: int, *, where: Where) -> Iterator[Finding]:
    stand = visit.stop.stands[number]
    machine = case.machines.placed.get((visit.stop.unit, stand.posture))
    decks = () if machine is None else machine.decks
    deck = next((d for d in decks if d.name == stand.deck), None)
    if deck is None:
        yield where.finding("stands", f"stand {number + 1}: there is no deck {stand.deck!r}")
        return
    beside_m = float(deck.footprint.distance(shapely.points(stand.x_m, stand.y_m)))
    off_m = max(beside_m, abs(deck.height_m - stand.height_m))
    if off_m > PLACE_M:
        what = f"stand {number + 1} is not on the {stand.deck}"
        yield where.finding("stands", what, off=off_m, measure="m")


def fittings_are_in_sight(case: Case) -> Iterator[Finding]:
    """No solid of any machine cuts the line from the shoulder to the fitting."""
    by_stance: dict[tuple[str, str], list[Hand]] = {}
    for hand in hands(case):
        by_stance.setdefault((hand.visit.stop.unit, hand.stand.posture), []).append(hand)
    for (unit, posture), each in by_stance.items():
        lines = [line for hand in each if (line := _line_of(hand)) is not None]
        seen = [hand for hand in each if _line_of(hand) is not None]
        solids = sight_solids(case, unit, case.machines.placed[unit, posture])
        for number, (solid, inside_m) in cut_lines(lines, solids, slack_m=HAND_M).items():
            what = f"the line from shoulder to fitting goes through {solid}"
            yield seen[number].where.finding("sight", what, off=inside_m, measure="m")


def _line_of(hand: Hand) -> Line3 | None:
    if hand.placed is None:
        return None
    band = band_of(hand.placed.at_m[2] - hand.stand.height_m, hand.visit.reach)
    if band is None:
        return None
    return shoulder_m(hand.stand, hand.visit.reach, band=band), hand.placed.at_m


def shoulder_m(stand: StandVisit, reach: Reach, *, band: str) -> Point3:
    """The shoulder of somebody at a stand who works in a band."""
    return stand.x_m, stand.y_m, stand.height_m + SHOULDER_SHARE[band] * reach.shoulder_m


def sight_solids(case: Case, unit: str, own: PlacedMachine) -> list[NamedSolid]:
    """Solids of a unit as it stands, and of units beside it as they were parked, with names."""
    low, high = extent_of(own)
    found = [(f"its {solid.name}", solid) for solid in own.solids]
    for other in case.basis.site.units:
        machine = case.machines.placed.get((other.unit, other.posture))
        if other.unit == unit or machine is None:
            continue
        first, last = case.machines.extents[other.unit, other.posture]
        far = np.maximum(first - high, low - last).max()
        if far <= 2 * LOOK_M:
            found += [(f"the {solid.name} of {other.unit}", solid) for solid in machine.solids]
    return found


def cut_lines(
    lines: Sequence[Line3], solids: Sequence[NamedSolid], *, slack_m: float
) -> dict[int, tuple[str, float]]:
    """For each line that is cut: the solid that it is in for longest, and for how many metres.

    The last ``slack_m`` of a line are not looked at; what is less than a graze inside is no cut.
    """
    if not lines:
        return {}
    ends = np.asarray(lines, dtype=float)
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    stop = np.maximum(0.0, 1.0 - slack_m / np.maximum(length, HAIR))
    found: dict[int, tuple[str, float]] = {}
    for name, solid in solids:
        inside = _share_inside(ends, solid.planes, stop)
        for number in np.flatnonzero(inside > HAIR).tolist():
            inside_m = float(inside[number] * length[number])
            if inside_m > found.get(number, ("", 0.0))[1]:
                found[number] = name, inside_m
    return found


def _share_inside(ends: Floats, planes: Floats, stop: Floats) -> Floats:
    """The share of each line (n, 2, 3), up to ``stop``, inside a convex solid less the graze."""
    unit = planes / np.linalg.norm(planes[:, :3], axis=1, keepdims=True)
    above = np.einsum("nij,kj->nik", ends, unit[:, :3]) + unit[:, 3] + GRAZE_M
    before, after = above[:, 0], above[:, 1]
    change = after - before
    level = np.abs(change) < 1e-12
    with np.errstate(divide="ignore", invalid="ignore"):
        at = np.where(level, np.nan, -before / np.where(level, 1.0, change))
    enter = np.where(change < 0, at, -np.inf)
    leave = np.where(change > 0, at, np.inf)
    never = (level & (before > 0)).any(axis=1)
    begin = np.nanmax(np.where(level, -np.inf, enter), axis=1)
    end = np.nanmin(np.where(level, np.inf, leave), axis=1)
    inside: Floats = np.minimum(end, stop) - np.maximum(begin, 0.0)
    return np.where(never, 0.0, inside)


def looks_are_in_sight(case: Case) -> Iterator[Finding]:
    """A look point is near, not too high, and seen from the stand."""
    for (t, _), visit in case.visits.items():
        name = case.basis.plan.technicians[t].name
        for number, stand in enumerate(visit.stop.stands):
            where = Where(name, visit.stop.unit, place_m=(stand.x_m, stand.y_m))
            for look, what, off_m in _looks_amiss(case, visit, stand):
                text = f"{look}: {what} (stand {number + 1})"
                yield where.finding("looks", text, off=off_m, measure="m")


def _looks_amiss(
    case: Case, visit: Visit, stand: StandVisit
) -> Iterator[tuple[str, str, float | None]]:
    machine = case.machines.placed.get((visit.stop.unit, stand.posture))
    if machine is None:
        return
    points = {p.look.name: p for p in machine.looks}
    eyes = stand.x_m, stand.y_m, stand.height_m + visit.reach.shoulder_m + EYES_ABOVE_SHOULDER_M
    for look in stand.looks:
        point = points.get(look.name)
        if point is None or point.look.posture not in (None, stand.posture):
            yield look.name, "the unit has no such look point in this posture", None
            continue
        x, y, z = point.at_m
        yield from (
            (look.name, what, off_m)
            for what, off_m in (
                ("is elsewhere than told", math.dist(point.at_m, look.at_m)),
                ("is too far", math.hypot(x - stand.x_m, y - stand.y_m) - LOOK_M),
                ("is too high", z - stand.height_m - LOOK_HEIGHT_M),
                ("is below the feet", stand.height_m - BELOW_FEET_M - z),
            )
            if off_m > PLACE_M
        )
        solids = sight_solids(case, visit.stop.unit, machine)
        for solid, inside_m in cut_lines([(eyes, (x, y, z))], solids, slack_m=2 * HAND_M).values():
            yield look.name, f"is hidden behind {solid}", inside_m
