"""Where one stands at a unit in each posture that may be asked for, and what stays out of reach."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
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
from greaseroute.visits.work import JointWork, UnitWork
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.site_ground import ClosedBy

FAR_M = 40.0  # machines farther off hide nobody who stands clear


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

    No arm goes through ``fences``. ``machines`` are the outlines of all units as they stand;
    ``clear_m`` is kept from what moves.
    """

    free: BaseGeometry
    clearance_m: float
    reach: Reach
    fences: BaseGeometry | None = None
    machines: Mapping[str, BaseGeometry] = field(default_factory=dict)
    clear_m: float = 1.0

    def others(self, unit: str, near: BaseGeometry) -> BaseGeometry:
        """The outlines of the other machines round one of them."""
        return shapely.union_all(
            [m for name, m in self.machines.items() if name != unit and m.distance(near) < FAR_M]
        )


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

    def with_fewer_moves(self) -> list[tuple[JointWork, ...]]:
        """Sets of joints that are done as far as they can be reached at all without moving the
        unit, then by moving it into a single posture; none where no move helps.

        The first is once more without what needs a second person: who operates it is wanted at
        other machines as well.
        """
        further = [p for p in self.stands if p != self.now]
        if not further:
            return []
        served = {posture: self.served(posture) for posture in self.stands}
        anywhere = frozenset[Item]().union(*served.values())
        singly = further if len(further) > 1 else []
        found = [
            tuple(j for j in self.work.joints if (keys := _keys(j) & anywhere) and keys <= here)
            for here in (served[self.now], *(served[self.now] | served[p] for p in singly))
        ]
        found.append(tuple(joint for joint in found[0] if not joint.needs_second))
        return [joints for joints in dict.fromkeys(found) if joints]


def _keys(joint: JointWork) -> frozenset[Item]:
    return frozenset(f.key for f in joint.fittings)


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
    stands = {p.placed.posture: stands_in(work, p, terms=terms) for p in poses}
    moves_here = len(poses) > 1 or any(turning(work))
    now = poses[0].placed
    if not moves_here:
        return UnitReach(work, now.posture, stands)
    clear = clear_points(
        [p.placed for p in poses],
        free=terms.free,
        clear_m=terms.clear_m,
        others=terms.others(work.unit.unit, now.outline),
    )
    return UnitReach(work, now.posture, stands, clear)


def turning(work: UnitWork) -> list[str]:
    """Joints here that make the machine turn while one stands clear."""
    return [
        j.joint.name
        for j in work.joints
        if j.joint.procedure is not None and j.joint.procedure.stand_clear
    ]


def stands_in(work: UnitWork, pose: Posed, *, terms: Terms) -> UnitStands:
    """Stands at a unit in one posture, for what may be done in it."""
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


def as_posed(placed: PlacedMachine, closed_by: ClosedBy = closed_ground) -> Posed:
    """A placed machine with the ground it closes."""
    return Posed(placed, tuple(closed_by(placed)))


def terms_of(
    free: BaseGeometry, site: Site, reach: Reach, *, machines: Mapping[str, BaseGeometry]
) -> Terms:
    """The terms on which a technician works; ``machines`` are the outlines of all units."""
    rules = site.rules
    fences = None if rules.reach_through_barriers else fences_of(site.ground)
    return Terms(free, rules.clearance_m, reach, fences, machines, rules.stand_clear_m)
