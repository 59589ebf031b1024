"""What else a round might have room for: joints for which its time and its bags could be enough.

Visits that serve part of a unit are made for a few sets of joints. Where a round found has a little
time left, one joint more may still fit. What is named here is tried with real visits afterwards:
nothing is walked for it here, so that what does not fit here does not fit.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from greaseroute.rounds.clock import Clock
from greaseroute.rounds.prepare import Prepared
from greaseroute.rounds.rounds import Units
from greaseroute.units import ms
from greaseroute.visits.visit import UnitVisit
from greaseroute.visits.work import JointWork, outfit_of
from greaseroute.walk.legs import NEVER

# Joints of a unit that are tried together and one by one, the weightiest first.
MOST_TOGETHER, MOST_ALONE = 6, 30
# With more to do other places to stand are kept: a walk between them may be shorter by a little.
WALKED_LESS_MS = 1_000


@dataclass(frozen=True, slots=True)
class _Place:
    """Where in a round more could be done: after so many halts, at a point (where one is, None),
    not before and not after some moments, with the time that a visit of its own takes anyway."""

    after: int
    point: int | None
    window: tuple[int, int]
    visit_ms: int = 0


def room_for_more(
    ready: Prepared, clocks: Sequence[Clock], units: Units, *, halts: Sequence[Sequence[int]]
) -> dict[str, list[frozenset[str]]]:
    """For each unit not served as well as it could be, sets of joints that a visit might serve: for
    a unit that is visited more than what is served now.
    """
    names = units.team.ways.units
    found: dict[str, list[frozenset[str]]] = {}
    for unit in units.left(halts):
        now = _visit_of(units, halts, unit)
        sets = [
            some
            for clock, row in zip(clocks, halts, strict=True)
            for some in _sets(_Room(ready, clock, row), unit, now)
        ]
        if sets:
            found[names[unit]] = list(dict.fromkeys(sets))
    return found


Now = tuple[int, int, UnitVisit]  # technician, number of the halt, visit


def _visit_of(units: Units, halts: Sequence[Sequence[int]], unit: int) -> Now | None:
    """By whom and how a unit is visited."""
    ways = units.team.ways
    for technician, row in enumerate(halts):
        for number, halt in enumerate(row):
            if halt >= 0 and units.unit_of_way[halt] == unit:
                return technician, number, ways.visits[ways.ways[halt].visit]
    return None


def _served(visit: UnitVisit) -> frozenset[str]:
    return frozenset(joint for joint, _ in visit.items)


def _sets(room: "_Room", unit: int, now: Now | None) -> list[frozenset[str]]:
    """What a technician could serve at a unit: in the visit made now, or in one of their own."""
    if now is not None:
        if now[0] != room.clock.number:
            return []
        place = _Place(now[1] + 1, None, room.clock.windows[room.row[now[1]]])
        return room.more(now[2], _served(now[2]), [place])
    visits = room.visits(unit)
    if not visits:
        return []
    return room.more(visits[0], frozenset(), room.places(visits))


@dataclass(frozen=True, slots=True)
class _Room:
    """The round of one technician and what there might be room for in it."""

    ready: Prepared
    clock: Clock
    row: Sequence[int]

    def visits(self, unit: int) -> list[UnitVisit]:
        """The technician's visits to a unit."""
        ways = self.clock.team.ways
        rows = dict.fromkeys(ways.ways[w].visit for w in self.clock.mine)
        return [ways.visits[v] for v in sorted(rows) if ways.unit_of[v] == unit]

    def places(self, visits: Sequence[UnitVisit]) -> list[_Place]:
        """A visit of its own between any two halts, at the end of a way that is reached first."""
        clock, ways = self.clock, self.clock.team.ways
        mine = [w for w in sorted(clock.mine) if ways.visits[ways.ways[w].visit] in visits]
        visit_ms = min(
            visit.total_ms(way) - sum(_pump_ms(j, visit) for j in visit.work.joints)
            for visit in visits
            for way in visit.ways
        )
        spots = [spot for spot in clock.spots(self.row) if spot is not None]
        points = sorted({clock.enter[w] for w in mine})
        return [
            _Place(k, min(points, key=lambda p: clock.arrive(spot, p)), clock.windows[mine[0]],
                   max(0, visit_ms))
            for k, spot in enumerate(spots)
        ]  # fmt: skip

    def more(
        self, visit: UnitVisit, served: frozenset[str], places: Sequence[_Place]
    ) -> list[frozenset[str]]:
        """What is served with one joint more, and with as many as there might be room for."""

        def fits(joints: Sequence[JointWork]) -> bool:
            return any(self._in_time(place, joints) for place in places)

        alone = [j for j in self._missing(visit, served) if fits([j])]
        many: tuple[JointWork, ...] = ()
        for joint in alone:
            if fits([*many, joint]):
                many = (*many, joint)
        tried = [many, *(many[:count] for count in range(1, MOST_TOGETHER + 1))]
        tried += [(joint,) for joint in alone[:MOST_ALONE]]
        return [served | {j.joint.name for j in some} for some in tried if some]

    def _missing(self, visit: UnitVisit, served: frozenset[str]) -> list[JointWork]:
        """Joints in reach that are not served, the weightiest first."""
        outfit = outfit_of(self.clock.member.technician, self.ready.site)
        outlook = next(o for o in self.ready.outlooks if o.outfit == outfit)
        reached = _served(outlook.visits[visit.work.unit.unit])
        joints = [j for j in visit.work.joints if j.joint.name in reached - served]
        return sorted(joints, key=lambda j: (-j.weight, j.joint.name))

    def _in_time(self, place: _Place, joints: Sequence[JointWork]) -> bool:
        """Whether the round is in time with some joints done as well, without a step between."""
        clock = self.clock
        spots = clock.spots(self.row[: place.after])
        spot = spots[-1]
        if spot is None:
            return False
        first, last = place.window
        if place.point is not None:
            arrive = clock.arrive(spot, place.point)
            spot = spot._replace(point=place.point, ready_ms=max(arrive, first) + place.visit_ms)
        guns = [gun.name for gun in clock.team.site.guns]
        fittings = [f for joint in joints for f in joint.fittings]
        pumped = [(guns.index(f.gun), f.strokes) for f in fittings]
        least_ms = max(0, sum(ms(f.pump_s) for f in fittings) - WALKED_LESS_MS)
        after = clock.pump_on(spot, pumped, least_ms=least_ms, by_ms=last)
        for halt in self.row[place.after :]:
            after = None if after is None else clock.step(after, halt)
        return after is not None and clock.home(after) < NEVER


def _pump_ms(joint: JointWork, visit: UnitVisit) -> int:
    """Time of a joint's fittings in a visit, without what a stand takes."""
    return sum(ms(f.pump_s) for f in joint.fittings if f.key in visit.items)
