"""Can the crew grease what the fleet has: hands that get there, a gun with the right grease?

Both tests here are cheap and lenient: what they refuse can never be greased; what they let pass
is tested in full where stands are chosen.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, partial

from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from greaseroute.catalogue.joint import Joint, Point3
from greaseroute.catalogue.kinematics.placed import PlacedMachine, Pose, place
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.errors import Fault, GreaserouteError
from greaseroute.site.crew import Grease, Gun, Technician
from greaseroute.site.files.draft import FLEET, SITE, Draft, OwnType
from greaseroute.site.fleet import Unit
from greaseroute.site.grease_fit import lacks_purpose, misfits
from greaseroute.site.reach import Reach

HEADROOM_M = 2.5  # nobody stands under a solid lower than this
LIKELY = "greasing"  # the posture in which most fittings are in reach

Gap = tuple[float, float]


def joint_faults(draft: Draft) -> Iterator[Fault]:
    """Fittings nobody reaches in any posture, and joints that no gun on the site suits."""
    yield from out_of_reach(draft)
    yield from without_gun(draft)


@dataclass(frozen=True, slots=True)
class Hand:
    """How far the longest arm with the longest hose of the site gets."""

    across_m: float
    up_m: float


def farthest_hand(draft: Draft) -> Hand:
    """The farthest reach of anybody on the site; the defaults where nobody is described."""
    people: list[Technician] = draft.settings.good("technician")
    reaches = [p.reach for p in people] or [Reach()]
    hoses_m = [gun.hose_m for gun in draft.settings.good("gun")] or [0.0]
    return Hand(max(r.arm_m for r in reaches) + max(hoses_m), max(r.overhead_to_m for r in reaches))


def out_of_reach(draft: Draft) -> Iterator[Fault]:
    """A fitting that no posture brings into reach from the ground or a deck: once for each type."""
    hand = farthest_hand(draft)
    seen: set[tuple[str, tuple[str, ...]]] = set()
    for unit in draft.units:
        key = (unit.type, unit.attachments)
        if key in seen or unit.unit not in draft.fitted:
            continue
        seen.add(key)
        for miss in _misses(draft.fitted[unit.unit], hand):
            yield _reach_fault(draft, unit, miss)


@dataclass(frozen=True, slots=True)
class Miss:
    """A fitting out of reach in every posture, at its lowest height above ground or deck."""

    joint: Joint
    fitting: str
    height_m: float
    across_m: float
    hand: Hand


class _Standing:
    """One machine in one posture, and where a person may stand about it."""

    def __init__(self, machine: PlacedMachine) -> None:
        self.machine = machine

    @cached_property
    def closed(self) -> BaseGeometry:
        """Ground under solids that are too low to stand under."""
        low = [s.footprint for s in self.machine.solids if s.bottom_m < HEADROOM_M]
        return unary_union(low)

    @cached_property
    def places(self) -> dict[tuple[str, str], Point3]:
        """Where each fitting is, by joint and fitting."""
        return {(f.joint.name, f.fitting.name): f.at_m for f in self.machine.fittings}

    def gaps(self, joint: str, fitting: str) -> Iterator[Gap]:
        """(height above the feet, least distance across) from the ground and from each deck."""
        x, y, z = self.places[joint, fitting]
        point = Point(x, y)
        yield z, point.distance(self.closed.boundary) if self.closed.contains(point) else 0.0
        for deck in self.machine.decks:
            yield z - deck.height_m, point.distance(deck.footprint)


def _misses(machine_type: MachineType, hand: Hand) -> Iterator[Miss]:
    """Fittings of the type that no allowed posture brings within reach of ``hand``."""
    standing = cache(partial(_standing, machine_type))  # most fittings need but one posture
    every = sorted((p.name for p in machine_type.postures), key=lambda name: name != LIKELY)
    for joint in machine_type.joints:
        if not joint.by_hand:
            continue
        allowed = [p for p in every if p in joint.postures] if joint.postures else every
        for fitting in joint.within_reach:
            gaps: list[Gap] = []
            for gap in _gaps(standing, allowed, joint=joint.name, fitting=fitting.name):
                if gap[0] <= hand.up_m and gap[1] <= hand.across_m:
                    break
                gaps.append(gap)
            else:
                if gaps:
                    yield _least_miss(joint, fitting.name, gaps, hand=hand)


def _gaps(
    standing: Callable[[str], _Standing | None],
    postures: Iterable[str],
    *,
    joint: str,
    fitting: str,
) -> Iterator[Gap]:
    """From every place beside the fitting in every posture, as far as anybody asks on."""
    for posture in postures:
        machine = standing(posture)
        if machine is not None:
            yield from machine.gaps(joint, fitting)


def _least_miss(joint: Joint, fitting: str, gaps: Sequence[Gap], *, hand: Hand) -> Miss:
    up_m, across_m = min(gaps, key=lambda g: (max(g[0] - hand.up_m, 0) + g[1], g))
    return Miss(joint, fitting, up_m, across_m, hand)


def _standing(machine_type: MachineType, posture: str) -> _Standing | None:
    """The type in a posture, None where it cannot take it."""
    try:
        return _Standing(place(machine_type, Pose(0.0, 0.0, 0.0), posture=posture))
    except GreaserouteError:
        return None  # told where the type is read, and where a unit stands in it


def _reach_fault(draft: Draft, unit: Unit, miss: Miss) -> Fault:
    """On the joint's line of the site's own type, else on the line of the unit."""
    value = f"{miss.fitting}: {miss.height_m:.2f} m up, {miss.across_m:.2f} m in"
    allowed = f"up to {miss.hand.up_m:.2f} m up, {miss.hand.across_m:.2f} m in, in some posture"
    do = "add a posture, a deck or a remote bank that brings it there"
    own = next((o for o in draft.own_types if o.machine_type and _is(o, unit.type)), None)
    file, line = (own.file, joint_line(own, miss.joint.name)) if own else (FLEET, unit.line)
    record = f"type {unit.type}, joint {miss.joint.name}"
    return Fault(file, line, record, "fitting", value, allowed, do)


def _is(own: OwnType, name: str) -> bool:
    return own.machine_type is not None and own.machine_type.name == name


def joint_line(own: OwnType, joint: str) -> int:
    """The line of a joint in the file of the site's own type."""
    for key, entries in own.text.data.items():
        if key.startswith("joint") and isinstance(entries, list):
            for number, entry in enumerate(entries):
                if isinstance(entry, dict) and entry.get("name") == joint:
                    return own.text.line((key, number, "name"))
    return 1


def without_gun(draft: Draft) -> Iterator[Fault]:
    """A want that no gun on the site meets: once for each want, on the first gun's grease."""
    guns: list[Gun] = draft.settings.good("gun")
    greases = {g.name: g for g in draft.settings.good("grease")}
    whole = all(draft.settings.whole(kind) for kind in ("gun", "grease"))
    if not whole or not guns or any(g.grease not in greases for g in guns):
        return  # told where guns and greases are checked
    wanting: dict[str, list[tuple[Unit, Joint]]] = {}
    for unit in draft.units:
        machine = draft.fitted.get(unit.unit)
        for joint in machine.joints if machine else ():
            reasons = _refusals(joint, guns, greases)
            if reasons is not None:
                wanting.setdefault(reasons, []).append((unit, joint))
    number, gun = draft.settings.entries("gun")[0]
    line = draft.settings.text.line(("gun", number, "grease"))
    for reasons, found in wanting.items():
        unit, joint = found[0]
        more = f" and {len(found) - 1} more" if len(found) > 1 else ""
        allowed = f"a gun for joint {joint.name} of unit {unit.unit}{more}"
        do = f"add a grease and a gun that fit ({reasons})"
        record = f"gun {gun.get('name')}"
        yield Fault(SITE, line, record, "grease", str(gun.get("grease")), allowed, do)


def _refusals(joint: Joint, guns: Sequence[Gun], greases: dict[str, Grease]) -> str | None:
    """Why each gun is refused for a joint, or None where one suits or none is needed."""
    if not joint.by_hand or not joint.within_reach:
        return None
    if lacks_purpose(joint.grease, greases.values()):
        return None  # told of the joint in the plan: a special grease that the site does not keep
    heads = {f.head for f in joint.within_reach}
    told = []
    for gun in guns:
        missing = sorted(heads - set(gun.couplers))
        reasons = misfits(joint.grease, greases[gun.grease])
        if missing:
            reasons.append(f"no coupler for {', '.join(missing)} heads")
        if not reasons:
            return None
        told.append(f"{gun.name}: {' and '.join(reasons)}")
    return "; ".join(told)
