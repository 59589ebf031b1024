"""Fewer metres where there is time for them: single ways exchanged, walking inside units counted.

The search looks at times, and at metres between units alone. Whoever is home before the last one
may take ways that are a little slower and shorter.
"""

from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

from greaseroute.rounds.schedule import (
    Halt,
    Schedule,
    clock_of,
    ends_of,
    keeps_windows,
    timed,
    unit_halt,
)
from greaseroute.rounds.team import Team
from greaseroute.solvers.unit_tour import nodes_of
from greaseroute.walk.tables import MM_PER_M


@dataclass(frozen=True, slots=True)
class _Exchange:
    """Another way at one halt: what it saves in metres and costs in time."""

    saved_mm: int
    longer_ms: int
    place: int
    way: int


def with_fewer_metres(schedule: Schedule, team: Team, *, last_ms: int) -> Schedule:
    """The schedule with ways exchanged that save metres, ending not after ``last_ms``.

    Legs are reckoned in the span of hours they were walked in; the whole is timed again in the end
    and kept only if it is in time. The ways of one visit serve the same and pump the same.
    """
    route = schedule.route
    halts, spare_ms = list(route.halts), last_ms - schedule.finish_ms
    exchanges = _Exchanges(team, schedule)
    while (best := exchanges.best(halts, spare_ms)) is not None:
        halts[best.place] = unit_halt(team, best.way)
        spare_ms -= best.longer_ms
    if tuple(halts) == route.halts:
        return schedule
    found = timed(replace(route, halts=tuple(halts)), clock_of(team, route.technician))
    in_time = found.finish_ms <= last_ms and keeps_windows(found, team)
    return found if in_time else schedule


class _Exchanges:
    """Ways that could be taken instead, on one technician's route."""

    def __init__(self, team: Team, schedule: Schedule) -> None:
        self._team, self._route = team, schedule.route
        self._spans = [*(halt.phase for halt in schedule.halts), schedule.phase]
        self._walk_ms = [ms for _, ms in team.members[schedule.route.technician].spans]
        self._total_ms = team.ways.total_ms
        self._inside_mm = cache(self._measured_mm)

    def best(self, halts: list[Halt], spare_ms: int) -> _Exchange | None:
        """The exchange that saves most metres within the time that is spare; None if none saves."""
        found = [
            exchange
            for place, halt in enumerate(halts)
            if halt.way >= 0
            for exchange in self._at(halts, place, spare_ms=spare_ms)
        ]
        return max(found, key=lambda e: (e.saved_mm, -e.longer_ms, -e.way), default=None)

    def _at(self, halts: list[Halt], place: int, *, spare_ms: int) -> list[_Exchange]:
        ways, mine = self._team.ways.ways, halts[place].way
        before = ends_of(halts[place - 1], self._team.ways)[1] if place else self._route.start
        last = place + 1 == len(halts)
        after = self._route.finish if last else ends_of(halts[place + 1], self._team.ways)[0]
        now = self._cost(before, mine, after, place=place)
        found = []
        for way, other in enumerate(ways):
            if other.visit == ways[mine].visit and way != mine and now is not None:
                then = self._cost(before, way, after, place=place)
                if then is not None and then[0] - now[0] <= spare_ms and then[1] < now[1]:
                    found.append(_Exchange(now[1] - then[1], then[0] - now[0], place, way))
        return found

    def _cost(self, before: int, way: int, after: int, *, place: int) -> tuple[int, int] | None:
        """(ms, mm) from point ``before`` by a way to point ``after``; None where one cannot go."""
        here, ms, mm = self._team.ways.ways[way], 0, 0
        for a, b, leg in ((before, here.enter, place), (here.leave, after, place + 1)):
            span = self._spans[leg]
            took = int(self._walk_ms[span][a, b])
            if took < 0:
                return None
            ms, mm = ms + took, mm + int(self._team.length_mm[span][a, b])
        return ms + int(self._total_ms[way]), mm + self._inside_mm(way)

    def _measured_mm(self, way: int) -> int:
        here = self._team.ways.ways[way]
        visit = self._team.ways.visits[here.visit]
        length_m = visit.walks.travel.length_m
        steps = pairwise(nodes_of(visit.tour, here.way))
        return round(sum(float(length_m[a, b]) for a, b in steps) * MM_PER_M)
