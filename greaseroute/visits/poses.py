"""The postures that a unit is worked in: as it stands, and those that can be asked for and help."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.site.swept import path_between
from greaseroute.visits.calls import Calls, NoCall
from greaseroute.visits.hoses import with_longer_hoses
from greaseroute.visits.nodes import LOOK, Item
from greaseroute.visits.reach import (
    Posed,
    Terms,
    UnitReach,
    fewest_moves,
    reach_unit,
    stands_in,
    turning,
)
from greaseroute.visits.work import UnitWork
from greaseroute.walk.shapes import clip

# Stands and clear points lie nearer to their unit's outline than this.
NEAR_M = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Poses:
    """The postures a unit is worked in, and for what stays out of reach which would help.

    ``now`` is the unit as it stands, ``further`` the postures asked for beside that one, ``here``
    its stands as all units stand now, ``no_call`` why a posture cannot be asked for.
    """

    work: UnitWork
    now: Posed
    further: tuple[str, ...]
    elsewhere: Mapping[Item, str]
    here: UnitReach
    no_call: Mapping[str, NoCall] = field(default_factory=dict)

    @property
    def poses(self) -> tuple[Posed, ...]:
        """The unit in each of these postures."""
        others = (self.now.other(self.work, posture=name) for name in self.further)
        return (self.now, *(pose for pose in others if pose is not None))


def helping_poses(work: UnitWork, now: Posed, *, terms: Terms, calls: Calls) -> Poses:
    """The unit as it stands, and the fewest postures that can be asked for and serve the rest.

    The others are tried one by one on the ground that is left when the unit closes what it
    closes in both postures. A look point alone is no reason to move a machine.
    """
    here = _with_the_gun_that_reaches(reach_unit(work, [now], terms=terms), now, terms=terms)
    work = here.work
    missing = _missing(here)
    if not missing:
        return Poses(work, now, (), {}, here)
    names = [p.name for p in work.machine_type.postures]
    served = {n: _tried(work, now, name=n, terms=terms) & missing for n in names}
    if (hosed := _hosed(work, now, served, missing=missing, terms=terms)) != work:
        work, here = hosed, reach_unit(hosed, [now], terms=terms)
        served = {n: _tried(work, now, name=n, terms=terms) & missing for n in names}
    elsewhere = {item: name for name in reversed(names) for item in served[name]}
    if still := missing - elsewhere.keys():
        for name in reversed(names):
            parked = _tried(work, now, name=name, terms=terms, parked=True) & still
            elsewhere |= dict.fromkeys(parked, name)
    if not calls.rules.posture_moves:
        return Poses(work, now, (), elsewhere, here)
    no_call = {n: why for n in names if served[n] and (why := _no_call(work, now, n, calls=calls))}
    can = {name: items for name, items in served.items() if name not in no_call}
    chosen = fewest_moves(can, now=here.now, wanted=missing, order=list(can))
    elsewhere |= {item: name for name in reversed(list(can)) for item in can[name]}
    return Poses(work, now, chosen, elsewhere, here, no_call)


def _no_call(work: UnitWork, now: Posed, name: str, *, calls: Calls) -> NoCall | None:
    """Why a unit cannot be asked for a posture: nobody to move it, no room to, or to slew in it."""
    other = now.other(work, posture=name)
    if other is None:
        return None
    slews = any(j.joint.procedure is not None and j.joint.procedure.turns for j in work.joints)
    return calls.for_posture(work, now.placed, other.placed) or (
        calls.for_slew(work, other.placed) if slews else None
    )


def _missing(here: UnitReach) -> frozenset[Item]:
    return frozenset(i for i in here.wanted - here.served(here.now) if i[0] != LOOK)


def _hosed(
    work: UnitWork,
    now: Posed,
    served: Mapping[str, Collection[Item]],
    *,
    missing: frozenset[Item],
    terms: Terms,
) -> UnitWork:
    """The work with longer hoses for what no posture brings into reach of the gun taken first."""
    for same in (True, False):
        lacking = missing.difference(*served.values())
        longer = with_longer_hoses(work, lacking, same_grease=same)
        if longer == work:
            continue
        tried = {name: _tried(longer, now, name=name, terms=terms) & lacking for name in served}
        helped = frozenset().union(*tried.values())
        work = with_longer_hoses(work, helped, same_grease=same)
        served = {name: frozenset(served[name]) | tried[name] for name in served}
    return work


def _with_the_gun_that_reaches(here: UnitReach, now: Posed, *, terms: Terms) -> UnitReach:
    """The same with the technician's gun of a longer hose where that alone reaches a fitting.

    One with the same grease comes first, then one with another grease that suits the joint.
    """
    for same in (True, False):
        missing = _missing(here)
        if not any(f.key in missing for joint in here.work.joints for f in joint.longer):
            continue
        tried = with_longer_hoses(here.work, missing, same_grease=same)
        if tried == here.work:
            continue
        reach = reach_unit(tried, [now], terms=terms)
        helped = missing & reach.served(reach.now)
        if helped:
            work = with_longer_hoses(here.work, helped, same_grease=same)
            here = reach_unit(work, [now], terms=terms)
    return here


def _tried(
    work: UnitWork, now: Posed, *, name: str, terms: Terms, parked: bool = False
) -> frozenset[Item]:
    """What another posture would serve; nothing where the unit cannot take it.

    ``parked``: the unit stands in it from the start, so the ground it closes now is free.
    """
    pose = None if name == now.placed.posture else now.other(work, posture=name)
    if pose is None:
        return frozenset()
    closed = [p.buffer(terms.clearance_m) for p in pose.closed]
    free = terms.free
    if parked:
        opened = shapely.union_all([p.buffer(terms.clearance_m) for p in now.closed])
        free = free.union(opened)
    free = _less(free, closed, near=pose.placed.outline)
    terms = replace(terms, free=free)
    found = UnitReach(work, now.placed.posture, {name: stands_in(work, pose, terms=terms)})
    return found.served(name)


def _less(free: BaseGeometry, closed: Sequence[Polygon], *, near: BaseGeometry) -> BaseGeometry:
    """Free ground round ``near`` less some shapes."""
    local = clip(free, near.buffer(30.0).bounds)
    return local.difference(shapely.union_all(list(closed)))


@dataclass(frozen=True, slots=True, eq=False)
class Surveyed:
    """One unit: stands in each posture it is worked in; for items out of reach, what would help.

    ``closed_off`` are in reach as all units stand, and no more where some are moved.
    """

    reach: UnitReach
    elsewhere: Mapping[Item, str]
    no_call: Mapping[str, NoCall] = field(default_factory=dict)
    closed_off: frozenset[Item] = frozenset()


def apart(poses: Sequence[Mapping[str, Poses]], calls: Calls) -> list[dict[str, Poses]]:
    """The postures that can be asked for at all units together, in the order of the units.

    A posture is dropped where the unit would stand in the way that another one is moved or
    slewed on, or would itself be moved into it.
    """
    kept: list[tuple[str, list[BaseGeometry], list[BaseGeometry]]] = []
    found: list[dict[str, Poses]] = []
    for each in poses:
        mine = {}
        for unit, pose in each.items():
            mine[unit] = _apart(pose, [k for k in kept if k[0] != unit], gap_m=calls.around.gap_m)
            if mine[unit].further or turning(pose.work):
                kept.append((unit, _swept(mine[unit]), _taken(mine[unit])))
        found.append(mine)
    return found


def _swept(pose: Poses) -> list[BaseGeometry]:
    """Ground that a unit sweeps on its way into its postures, and where it is slewed."""
    paths = [path_between(pose.now.placed, p.placed) for p in pose.poses[1:]]
    slews = any(j.joint.procedure is not None and j.joint.procedure.turns for j in pose.work.joints)
    discs = [p.placed.slew_clear for p in pose.poses if slews]
    return [*paths, *(disc for disc in discs if disc is not None)]


def _taken(pose: Poses) -> list[BaseGeometry]:
    return [p.placed.outline for p in pose.poses[1:]]


def _apart(
    pose: Poses,
    kept: Sequence[tuple[str, list[BaseGeometry], list[BaseGeometry]]],
    *,
    gap_m: float,
) -> Poses:
    if not pose.further:
        return pose
    swept, taken = _swept(pose), _taken(pose)
    for name, its_swept, its_taken in kept:
        pairs = [(a, b) for a in swept for b in its_taken]
        pairs += [(a, b) for a in taken for b in its_swept]
        if any(a.distance(b) < gap_m for a, b in pairs):
            why = NoCall(f"no room beside {name}, which is moved as well", "park it farther off")
            no_call = {**pose.no_call, **dict.fromkeys(pose.further, why)}
            return replace(pose, further=(), no_call=no_call)
    return pose


def survey(
    works: Sequence[UnitWork], poses: Mapping[str, Poses], *, terms: Terms, changed: BaseGeometry
) -> dict[str, Surveyed]:
    """Stands at each unit on the ground that is left by all units in all their postures.

    ``changed`` is the ground that further postures close: far from it a unit that keeps its
    posture has the stands it had.
    """
    return {
        work.unit.unit: surveyed(work, poses[work.unit.unit], terms=terms, changed=changed)
        for work in works
    }


def surveyed(work: UnitWork, poses: Poses, *, terms: Terms, changed: BaseGeometry) -> Surveyed:
    """The same for one unit."""
    outline = poses.poses[0].placed.outline
    same = len(poses.poses) == 1 and outline.distance(changed) > NEAR_M
    reach = poses.here if same else reach_unit(poses.work, poses.poses, terms=terms)
    served = frozenset[Item]().union(*(reach.served(posture) for posture in reach.stands))
    closed_off = poses.here.served(poses.here.now) - served
    return Surveyed(reach, poses.elsewhere, poses.no_call, closed_off)


def newly_closed(poses: Sequence[Mapping[str, Poses]]) -> BaseGeometry:
    """Ground that units close in postures which they do not stand in yet."""
    shapes = [
        shape
        for each in poses
        for unit in each.values()
        for pose in unit.poses[1:]
        for shape in pose.closed
    ]
    return shapely.union_all(shapes)
