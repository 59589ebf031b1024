"""From visits to the integers of the solvers: points, ways, walking times, windows, loads."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.rounds.people import Hand, spans_for
from greaseroute.rounds.request import Keep
from greaseroute.site.crew import Gun, Technician
from greaseroute.site.model import Site
from greaseroute.solvers.arrays import BoolArray, IntArray
from greaseroute.solvers.unit_tour import Way
from greaseroute.solvers.vrp.problem import CANNOT, CrewProblem, Phase
from greaseroute.units import ms
from greaseroute.visits.steps import unit_call
from greaseroute.visits.timeline import needs_of
from greaseroute.visits.visit import UnitVisit
from greaseroute.visits.work import Outfit, outfit_of
from greaseroute.walk.legs import Legs
from greaseroute.walk.tables import Point2

NO_TIME = (0, 0)  # the window of a way that nobody can take: those wanted come when it is over


@dataclass(frozen=True, slots=True)
class SiteWay:
    """One way of one visit: which visit it is, which points it begins and ends at."""

    visit: int
    way: Way
    enter: int
    leave: int


@dataclass(frozen=True, slots=True, eq=False)
class SiteWays:
    """Every way of every visit over the points of the site.

    ``units`` are the units visited, ``unit_of`` the row in it for each visit.
    """

    visits: tuple[UnitVisit, ...]
    ways: tuple[SiteWay, ...]
    units: tuple[str, ...]
    unit_of: tuple[int, ...]

    @property
    def way_unit(self) -> IntArray:
        """The unit of each way, as a row of ``units``."""
        return np.asarray([self.unit_of[w.visit] for w in self.ways], dtype=np.int64)

    @property
    def way_enter(self) -> IntArray:
        """The point at which each way begins."""
        return np.asarray([w.enter for w in self.ways], dtype=np.int64)

    @property
    def way_leave(self) -> IntArray:
        """The point at which each way ends."""
        return np.asarray([w.leave for w in self.ways], dtype=np.int64)

    @property
    def route_ms(self) -> IntArray:
        """The part of each way's time that the route decides."""
        return np.asarray([self.visits[w.visit].route_ms(w.way) for w in self.ways], dtype=np.int64)

    @property
    def total_ms(self) -> IntArray:
        """Each way's time at the unit, isolation and all."""
        return np.asarray([self.visits[w.visit].total_ms(w.way) for w in self.ways], dtype=np.int64)


def site_ways(visits: Sequence[UnitVisit], row: Mapping[Point2, int]) -> SiteWays:
    """All ways of all visits, each between the points (by ``row``) of its first and last node."""
    units = tuple(dict.fromkeys(v.work.unit.unit for v in visits))
    ways = tuple(
        SiteWay(number, way, row[visit.nodes[way.enter].foot_m], row[visit.nodes[way.leave].foot_m])
        for number, visit in enumerate(visits)
        for way in visit.ways
    )
    rows = tuple(units.index(v.work.unit.unit) for v in visits)
    return SiteWays(tuple(visits), ways, units, rows)


def cluster_cost(
    ways: SiteWays, travel_ms: IntArray, *, start: int, finish: int
) -> tuple[IntArray, list[list[int]]]:
    """Cost of going from one way to the next, and the ways of each unit.

    One more node, the last, stands for finish and start: from it the walk begins at point
    ``start``, into it it ends at point ``finish``. CostArray are the route-dependent time alone.
    """
    count = len(ways.ways)
    enter, leave = np.append(ways.way_enter, finish), np.append(ways.way_leave, start)
    cost = travel_ms[np.ix_(leave, enter)] + np.append(ways.route_ms, 0)[None, :]
    cost[count, count] = 0
    groups: list[list[int]] = [[] for _ in ways.units]
    for node, unit in enumerate(ways.way_unit.tolist()):
        groups[unit].append(node)
    return np.ascontiguousarray(cost, dtype=np.int64), [*groups, [count]]


def strokes_of(visit: UnitVisit, guns: Sequence[str]) -> list[int]:
    """Strokes that a visit takes from each gun, in the order of ``guns``."""
    total: Mapping[str, int] = {
        gun: sum(
            f.strokes
            for joint in visit.work.joints
            for f in joint.fittings
            if f.gun == gun and f.key in visit.items
        )
        for gun in guns
    }
    return [total[gun] for gun in guns]


def pumped_by(ways: SiteWays, way: int, guns: Sequence[str]) -> tuple[tuple[int, int], ...]:
    """(row of ``guns``, strokes) of each fitting of a way in pumping order."""
    here = ways.ways[way]
    call = unit_call(ways.visits[here.visit], here.way)
    return tuple((guns.index(f.gun), f.strokes) for f in call.fittings)


@dataclass(frozen=True, slots=True, eq=False)
class Member:
    """One technician of the round: points of start and finish, hours, walking times by span."""

    technician: Technician
    start: int
    finish: int
    start_ms: int
    end_ms: int
    legs: Legs

    @property
    def spans(self) -> tuple[tuple[int, IntArray], ...]:
        """(begin, walking times) of each span of hours."""
        return self.legs.spans


@dataclass(frozen=True, slots=True, eq=False)
class Team:
    """Everything the crew's problem is filled from.

    ``outfit_of_visit`` says who a visit is for; ``hands`` are those who may be called.
    """

    site: Site
    members: tuple[Member, ...]
    ways: SiteWays
    outfit_of_visit: tuple[Outfit, ...]
    windows: Mapping[str, tuple[int, int]]
    hands: tuple[Hand, ...]
    length_mm: tuple[IntArray, ...]
    stores: tuple[int, ...]

    def window_of(self, way: int) -> tuple[int, int]:
        """When the work of a way may begin and must end."""
        visit = self.ways.visits[self.ways.ways[way].visit]
        return self.windows[visit.work.unit.unit]

    def people_window(self, way: int) -> tuple[int, int]:
        """The same as far as people let it: from the first who comes to the last who goes.

        A relaxation: the clock knows each one's hours and where else they are wanted.
        """
        here = self.ways.ways[way]
        visit = self.ways.visits[here.visit]
        begin, end = self.window_of(way)
        if not visit.needs_people:
            return begin, end
        needs = needs_of(unit_call(visit, here.way))
        spans = spans_for(self.hands, visit.work.machine_type)
        if not needs or not spans:
            return (begin, end) if not needs else NO_TIME
        first, last = min(a for a, _ in spans), max(b for _, b in spans)
        rest_ms = visit.total_ms(here.way) - (needs[-1].offset_ms + needs[-1].duration_ms)
        begin, end = max(begin, first - needs[0].offset_ms), min(end, last + rest_ms)
        return (begin, end) if begin <= end else NO_TIME


# Long: one array of the solver after the other, each a line or two.
def crew_problem(
    team: Team, *, skip_loss: Mapping[str, int], keep: Keep | None = None
) -> CrewProblem:
    """The integers of the crew's problem."""
    members, ways = team.members, team.ways
    guns = [gun.name for gun in team.site.guns]
    used = used_points(team)
    row = {int(point): k for k, point in enumerate(used)}
    pick = np.ix_(used, used)
    travel = [
        np.stack([m.spans[k][1][pick] for m in members]) for k in range(len(members[0].spans))
    ]
    length = [mm[pick] for mm in team.length_mm]
    can = can_take(team)
    strokes = [strokes_of(visit, guns) for visit in ways.visits]
    pumped = [pumped_by(ways, way, guns) for way in range(len(ways.ways))]
    total = np.where(can, ways.total_ms[None, :], CANNOT)
    fixed = np.where(can, total - ways.route_ms[None, :], 0)
    return CrewProblem(
        travel_ms=travel[0],
        length_mm=length[0],
        way_unit=ways.way_unit,
        way_enter=_column(row[w.enter] for w in ways.ways),
        way_leave=_column(row[w.leave] for w in ways.ways),
        way_ms=total,
        way_loss=np.asarray([ways.visits[w.visit].loss for w in ways.ways], np.int64),
        way_strokes=np.asarray([strokes[w.visit] for w in ways.ways], np.int64),
        skip_loss=np.asarray([skip_loss[unit] for unit in ways.units], np.int64),
        window_ms=np.asarray([team.windows[unit] for unit in ways.units], np.int64),
        start_point=_column(row[m.start] for m in members),
        finish_point=_column(row[m.finish] for m in members),
        start_ms=_column(m.start_ms for m in members),
        end_ms=_column(m.end_ms for m in members),
        store_points=_column(row[s] for s in team.stores),
        bag_cartridges=_column(bag(m.technician, team.site) for m in members),
        cartridge_strokes=whole_cartridges(team),
        reload_ms=ms(team.site.rules.reload_s),
        phases=_phases(team, travel, length),
        gun_left_strokes=np.asarray(
            [[g.left_strokes for g in team.site.guns]] * len(members), np.int64
        ),
        change_ms=np.asarray([[ms(g.change_s) for g in team.site.guns]] * len(members), np.int64),
        fitting_first=np.cumsum([0, *map(len, pumped)], dtype=np.int64),
        fitting_gun=_column(gun for row in pumped for gun, _ in row),
        fitting_strokes=_column(strokes for row in pumped for _, strokes in row),
        way_fixed_ms=fixed,
        way_window_ms=_people_windows(team),
        keep=None if keep is None else _kept_orders(team, keep),
        change_cost_ms=0 if keep is None else ms(keep.change_cost_s),
    )


def _people_windows(team: Team) -> IntArray | None:
    """(W, 2) windows of the ways, where somebody is wanted on some of them."""
    if not any(visit.needs_people for visit in team.ways.visits):
        return None
    rows = [team.people_window(way) for way in range(len(team.ways.ways))]
    return np.asarray(rows, np.int64).reshape(-1, 2)


def _kept_orders(team: Team, keep: Keep) -> tuple[tuple[int, ...], ...]:
    """The order to keep to in rows of units, without units that are no longer visited."""
    row = {unit: k for k, unit in enumerate(team.ways.units)}
    return tuple(
        tuple(row[u] for u in keep.sequences.get(m.technician.name, ()) if u in row)
        for m in team.members
    )


def used_points(team: Team) -> IntArray:
    """The points that some way, start, finish or store uses, ascending."""
    ends = [p for m in team.members for p in (m.start, m.finish)]
    every = [*ends, *team.stores, *team.ways.way_enter, *team.ways.way_leave]
    return np.unique(np.asarray(every, dtype=np.int64))


def _column(values: Iterable[int]) -> IntArray:
    return np.asarray(list(values), dtype=np.int64)


def _phases(
    team: Team, travel: Sequence[IntArray], length: Sequence[IntArray]
) -> tuple[Phase, ...]:
    begins = [begin for begin, _ in team.members[0].spans]
    return tuple(Phase(begins[k], travel[k], length[k]) for k in range(1, len(travel)))


def can_take(team: Team) -> BoolArray:
    """Which technician may take which way: those of the outfit that it was worked out for."""
    outfits = [outfit_of(m.technician, team.site) for m in team.members]
    return np.asarray(
        [[o == team.outfit_of_visit[w.visit] for w in team.ways.ways] for o in outfits], dtype=bool
    )


def bag(technician: Technician, site: Site) -> int:
    """Cartridges to put in that fit into the bag beside each grease's reserve; at least one."""
    held = {gun.grease for gun in site.guns if gun.name in technician.guns}
    reserve = sum(g.reserve_cartridges for g in site.greases if g.name in held)
    return max(1, technician.bag_cartridges - reserve)


def capacity(gun: Gun, site: Site) -> int:
    """Strokes of a full cartridge."""
    return cartridge_strokes(gun, next(g for g in site.greases if g.name == gun.grease))


def whole_cartridges(team: Team) -> IntArray:
    """(T, G) strokes out of a cartridge of each gun, where none is wasted."""
    row = [capacity(gun, team.site) for gun in team.site.guns]
    return np.asarray([row] * len(team.members), np.int64)
