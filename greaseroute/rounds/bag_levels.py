"""Which joints of a unit a bag of cartridges and what the guns hold are enough for.

A unit is visited once. Where all that is due there takes more cartridges than a full bag holds, the
weightiest joints that it does hold are served, and those that the guns can do as they are.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.rounds.clock import Clock, Spot, clocks_of
from greaseroute.rounds.schedule import halts_of
from greaseroute.rounds.solved import Solved
from greaseroute.rounds.team import bag
from greaseroute.site.crew import Technician
from greaseroute.site.model import Site
from greaseroute.visits.all_units import Levels
from greaseroute.visits.visit import UnitVisit
from greaseroute.visits.work import JointWork, UnitWork

Joints = tuple[JointWork, ...]


@dataclass(frozen=True, slots=True)
class _Guns:
    """Strokes in each gun, and in a cartridge for it."""

    left: Mapping[str, int]
    capacity: Mapping[str, int]

    def emptied(self) -> "_Guns":
        """The same with nothing in any gun."""
        return _Guns(dict.fromkeys(self.left, 0), self.capacity)

    def with_waste(self, joints: Sequence[JointWork]) -> "_Guns":
        """The same less what is wasted at most of each cartridge, in whatever order one pumps."""
        most = dict.fromkeys(self.left, 1)
        for f in (f for joint in joints for f in joint.fittings):
            most[f.gun] = max(most[f.gun], f.strokes)
        return _Guns(
            {gun: max(0, left - most[gun] + 1) for gun, left in self.left.items()},
            {gun: max(1, holds - most[gun] + 1) for gun, holds in self.capacity.items()},
        )

    def put_in(self, joints: Sequence[JointWork]) -> int:
        """Cartridges that go in for some joints, pumped in that order."""
        left, count = dict(self.left), 0
        for f in (f for joint in joints for f in joint.fittings):
            if left[f.gun] < f.strokes:
                new = -(-f.strokes // self.capacity[f.gun])
                count, left[f.gun] = count + new, new * self.capacity[f.gun]
            left[f.gun] -= f.strokes
        return count

    def most(self, joints: Sequence[JointWork], room: int) -> Joints:
        """The weightiest joints for which no more than ``room`` cartridges go in."""
        chosen: Joints = ()
        for joint in sorted(joints, key=lambda j: (-j.weight, j.joint.name)):
            if self.put_in((*chosen, joint)) <= room:
                chosen = (*chosen, joint)
        return chosen


def levels_for_bags(
    site: Site, technicians: Sequence[Technician], more: Mapping[str, Sequence[frozenset[str]]]
) -> Levels:
    """The levels of service of a unit, and those that a full bag is enough for where all is not.

    ``more`` has further ones, for each unit sets of names of joints.
    """
    greases = {g.name: g for g in site.greases}
    capacity = {gun.name: cartridge_strokes(gun, greases[gun.grease]) for gun in site.guns}
    guns = _Guns({gun.name: gun.left_strokes for gun in site.guns}, capacity)

    def levels(work: UnitWork) -> list[Joints]:
        used = {f.gun for joint in work.joints for f in joint.fittings}
        rooms = sorted({bag(t, site) for t in technicians if used <= set(t.guns)}, reverse=True)
        fewer = [some for room in rooms for some in _fewer(work.joints, guns, room)]
        named = [
            tuple(j for j in work.joints if j.joint.name in names)
            for names in more.get(work.unit.unit, ())
        ]
        return [*work.levels(), *(some for some in dict.fromkeys([*fewer, *named]) if some)]

    return levels


def fuller(solved: Solved) -> dict[str, list[frozenset[str]]]:
    """For units served in part, whose whole work takes more cartridges than a full bag holds: the
    joints for which there is enough with the guns as they are when one comes there.
    """
    found: dict[str, list[frozenset[str]]] = {}
    for clock, schedule in zip(clocks_of(solved.team), solved.schedules, strict=True):
        spot: Spot | None = clock.start
        for halt, row in zip(schedule.halts, halts_of(solved.team, schedule), strict=True):
            assert spot is not None
            visit = None if halt.call is None else halt.call.visit
            name = "" if visit is None else visit.work.unit.unit
            if visit is not None and name in solved.skipped:
                found[name] = _more(visit, _in_reach(solved, visit), at=(clock, spot))
            spot = clock.step(spot, row)
    return {unit: sets for unit, sets in found.items() if sets}


def _in_reach(solved: Solved, visit: UnitVisit) -> Joints:
    """The joints of a unit with their fittings in reach."""
    outlook = next(o for o in solved.ready.outlooks if o.outfit == visit.outfit)
    full = outlook.visits[visit.work.unit.unit].items
    joints = (
        replace(j, fittings=tuple(f for f in j.fittings if f.key in full))
        for j in visit.work.joints
    )
    return tuple(joint for joint in joints if joint.fittings)


def _more(visit: UnitVisit, joints: Joints, *, at: tuple[Clock, Spot]) -> list[frozenset[str]]:
    """Sets of joints that weigh more than those served, and that the bag is enough for there."""
    clock, spot = at
    site = clock.team.site
    names = [gun.name for gun in site.guns]
    guns = _Guns(
        dict(zip(names, spot.left, strict=True)), dict(zip(names, clock.capacity, strict=True))
    )
    if guns.with_waste(joints).put_in(joints) <= clock.room:
        return []
    served = sum(j.weight for j in joints if any(f.key in visit.items for f in j.fittings))
    tried = [
        some.most(joints, room)
        for room in (clock.room, clock.room - spot.used)
        for some in (guns, guns.with_waste(joints))
    ]
    better = [some for some in tried if sum(j.weight for j in some) > served]
    return [frozenset(j.joint.name for j in some) for some in dict.fromkeys(better)]


def _fewer(joints: Joints, guns: _Guns, room: int) -> Iterator[Joints]:
    """Sets of joints that a bag holds enough for; none where it does for all, whatever is left."""
    for now in (guns, guns.emptied()):
        careful = now.with_waste(joints)
        if careful.put_in(joints) > room:
            yield now.most(joints, room)
            yield careful.most(joints, room)
    if guns.with_waste(joints).put_in(joints) > room:
        yield guns.most(joints, 0)
