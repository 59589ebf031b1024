"""Where one stands at a unit in each posture that may be asked for, and what stays out of reach."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import TypeVar

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.placed import PlacedMachine, Pose, place
from greaseroute.errors import PostureRefused
from greaseroute.site.fleet import Unit
from greaseroute.site.model import Site
from greaseroute.site.reach import Reach
from greaseroute.stands.candidates import Skin, skin_stands, wanted_fittings
from greaseroute.stands.clear import clear_points
from greaseroute.stands.fences import fences_of
from greaseroute.stands.reach import Array
from greaseroute.stands.stand import UnitStands
from greaseroute.visits.nodes import LOOK, Item, item_of
from greaseroute.visits.work import UnitWork, with_longer_hoses
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.shapes import clip
from greaseroute.walk.site_ground import ClosedBy


@dataclass(frozen=True, slots=True, eq=False)
class Posed:
    """A unit in one posture and the ground that it closes."""

    placed: PlacedMachine
    closed: tuple[Polygon, ...]
    _skins: dict[float, Skin] = field(default_factory=dict)
    _others: dict[str, "Posed | None"] = field(default_factory=dict)

    def skin(self, clearance_m: float) -> Skin:
        """The unit with a clearance, worked out once for all who stand round it."""
        return self._skins.setdefault(clearance_m, Skin(self.placed, self.closed, clearance_m))

    def other(self, work: UnitWork, *, posture: str) -> "Posed | None":
        """The unit in another posture, worked out once; None where it cannot take it."""
        if posture not in self._others:
            self._others[posture] = posed(work.unit, work, posture=posture)
        return self._others[posture]


@dataclass(frozen=True, slots=True)
class Terms:
    """Under which terms somebody works: free ground (that can be walked to), distance, reach.

    No arm goes through ``fences``.
    """

    free: BaseGeometry
    clearance_m: float
    reach: Reach
    fences: BaseGeometry | None = None


@dataclass(frozen=True, slots=True, eq=False)
class UnitReach:
    """Stands at one unit in its posture and in those that would help; where to stand clear."""

    work: UnitWork
    now: str
    stands: Mapping[str, UnitStands]
    clear: Array = field(default_factory=lambda: np.zeros((0, 2)))

    def served(self, posture: str) -> frozenset[Item]:
        """What the stands of a posture serve."""
        found = self.stands[posture]
        return frozenset(
            item_of(found.wanted[j].look, found.wanted[j].key)
            for stand in found.stands
            for j in stand.serves
        )

    @property
    def has_clear(self) -> bool:
        """Whether there is a place to stand clear while the machine moves."""
        return len(self.clear) > 0

    @property
    def wanted(self) -> frozenset[Item]:
        """Every fitting and look point to be done here."""
        fittings = {f.key for joint in self.work.joints for f in joint.fittings}
        return frozenset(fittings | {(LOOK, name) for name in self.work.looks})

    def moves(self, wanted: frozenset[Item]) -> tuple[str, ...]:
        """The fewest postures to ask for, in order, that serve all of ``wanted`` in reach."""
        served = {posture: self.served(posture) for posture in self.stands}
        order = [p.name for p in self.work.machine_type.postures if p.name in self.stands]
        return fewest_moves(served, now=self.now, wanted=wanted, order=order)


def posed(unit: Unit, work: UnitWork, *, posture: str | None = None) -> Posed | None:
    """The unit in a posture (the one it stands in if not told), None where it cannot take it."""
    pose = Pose(unit.x_m, unit.y_m, unit.heading_deg, unit.slew_deg)
    try:
        placed = place(work.machine_type, pose, posture=posture or unit.posture)
    except PostureRefused:
        return None
    return Posed(placed, tuple(closed_ground(placed)))


def reach_unit(work: UnitWork, poses: Sequence[Posed], *, terms: Terms) -> UnitReach:
    """Stands at one unit in the given poses; the first is the posture it stands in."""
    stands = {p.placed.posture: _stands(work, p, terms=terms) for p in poses}
    moves_here = len(poses) > 1 or any(_turns(work))
    clear = clear_points([p.placed for p in poses], free=terms.free) if moves_here else None
    now = poses[0].placed.posture
    return UnitReach(work, now, stands, np.zeros((0, 2)) if clear is None else clear)


def _turns(work: UnitWork) -> list[str]:
    """Joints here that make the machine turn while one stands clear."""
    return [
        j.joint.name
        for j in work.joints
        if j.joint.procedure is not None and j.joint.procedure.stand_clear
    ]


def _stands(work: UnitWork, pose: Posed, *, terms: Terms) -> UnitStands:
    posture = pose.placed.posture
    hoses = {
        f.key: f.hose_m
        for joint in work.joints
        if not joint.joint.postures or posture in joint.joint.postures
        for f in joint.fittings
    }
    looks = [
        look.name
        for look in work.machine_type.looks
        if look.name in work.looks and look.posture in (None, posture)
    ]
    return skin_stands(
        pose.skin(terms.clearance_m),
        wanted_fittings(pose.placed, hoses, looks=looks),
        free=terms.free,
        reach=terms.reach,
        fences=terms.fences,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Poses:
    """The postures a unit is worked in, and for what stays out of reach which would help.

    ``now`` is the unit as it stands, ``further`` the postures asked for beside that one, ``here``
    its stands as all units stand now.
    """

    work: UnitWork
    now: Posed
    further: tuple[str, ...]
    elsewhere: Mapping[Item, str]
    here: UnitReach

    @property
    def poses(self) -> tuple[Posed, ...]:
        """The unit in each of these postures."""
        others = (self.now.other(self.work, posture=name) for name in self.further)
        return (self.now, *(pose for pose in others if pose is not None))


def helping_poses(work: UnitWork, now: Posed, *, terms: Terms, may_move: bool) -> Poses:
    """The unit as it stands, and (if it ``may_move``) the fewest postures that serve the rest.

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
    elsewhere = {item: name for name in reversed(names) for item in served[name]}
    if still := missing - elsewhere.keys():
        for name in reversed(names):
            parked = _tried(work, now, name=name, terms=terms, parked=True) & still
            elsewhere |= dict.fromkeys(parked, name)
    if not may_move:
        return Poses(work, now, (), elsewhere, here)
    chosen = fewest_moves(served, now=here.now, wanted=missing, order=names)
    return Poses(work, now, chosen, elsewhere, here)


def _missing(here: UnitReach) -> frozenset[Item]:
    return frozenset(i for i in here.wanted - here.served(here.now) if i[0] != LOOK)


def _with_the_gun_that_reaches(here: UnitReach, now: Posed, *, terms: Terms) -> UnitReach:
    """The same with the technician's gun of a longer hose where that alone reaches a fitting."""
    missing = _missing(here)
    if not any(f.key in missing for joint in here.work.joints for f in joint.longer):
        return here
    tried = reach_unit(with_longer_hoses(here.work, missing), [now], terms=terms)
    helped = missing & tried.served(tried.now)
    if not helped:
        return here
    return reach_unit(with_longer_hoses(here.work, helped), [now], terms=terms)


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
    found = UnitReach(work, now.placed.posture, {name: _stands(work, pose, terms=terms)})
    return found.served(name)


def _less(free: BaseGeometry, closed: Sequence[Polygon], *, near: BaseGeometry) -> BaseGeometry:
    """Free ground round ``near`` less some shapes."""
    import shapely

    local = clip(free, near.buffer(30.0).bounds)
    return local.difference(shapely.union_all(list(closed)))


K = TypeVar("K")


def fewest_moves(
    served: Mapping[str, Collection[K]], *, now: str, wanted: Collection[K], order: Sequence[str]
) -> tuple[str, ...]:
    """Postures to be taken after ``now``, in catalogue order, that serve all that any would.

    Parameters
    ----------
    served : mapping
        What each posture serves.
    now : str
        The posture the unit stands in: no move is needed for it.
    wanted : collection
        What is to be served; what no posture serves is not counted.
    order : sequence of str
        Postures that may be asked for, in catalogue order; of equally good choices the first.
    """
    open_ = set(wanted) - set(served.get(now, ()))
    useful = [p for p in order if p != now and open_ & set(served.get(p, ()))]
    most = len(open_ & set().union(*(served[p] for p in useful))) if useful else 0
    for moves in range(len(useful) + 1):
        for chosen in combinations(useful, moves):
            got = open_ & set().union(*(served[p] for p in chosen))
            if len(got) == most:
                return chosen
    return tuple(useful)


# Stands and clear points lie nearer to their unit's outline than this.
NEAR_M = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Surveyed:
    """One unit: stands in each posture it is worked in; for items out of reach, what would help."""

    reach: UnitReach
    elsewhere: Mapping[Item, str]


def as_posed(placed: PlacedMachine, closed_by: ClosedBy = closed_ground) -> Posed:
    """A placed machine with the ground it closes."""
    return Posed(placed, tuple(closed_by(placed)))


def terms_of(free: BaseGeometry, site: Site, reach: Reach) -> Terms:
    """The terms on which a technician works."""
    fences = None if site.rules.reach_through_barriers else fences_of(site.ground)
    return Terms(free, site.rules.clearance_m, reach, fences)


def poses_for(
    works: Sequence[UnitWork],
    now: Mapping[str, Posed],
    *,
    terms: Terms,
    may_move: bool,
) -> dict[str, Poses]:
    """For each unit the postures it is to be worked in, with every unit as it stands."""
    return {
        work.unit.unit: helping_poses(work, now[work.unit.unit], terms=terms, may_move=may_move)
        for work in works
    }


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
    return Surveyed(reach, poses.elsewhere)


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
