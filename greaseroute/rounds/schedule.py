"""When a technician is where: a route of calls turned into times, cartridge changes and all."""

from dataclasses import dataclass

from greaseroute.rounds.cartridges import Carried, carried, change_ms
from greaseroute.rounds.team import SiteWays, Team
from greaseroute.site.model import Site
from greaseroute.solvers.arrays import IntArray
from greaseroute.units import ms
from greaseroute.visits.steps import UnitCall, unit_call


@dataclass(frozen=True, slots=True)
class Halt:
    """One halt of a route: a way at a unit, or (``way`` -1) the store at ``point``.

    ``not_before_ms``: work does not begin earlier, whatever the clock says on arrival.
    """

    way: int
    point: int = -1
    not_before_ms: int = 0


@dataclass(frozen=True, slots=True)
class Route:
    """The halts of one technician in order, between two points, from a moment on."""

    technician: int
    start: int
    finish: int
    start_ms: int
    halts: tuple[Halt, ...]


@dataclass(frozen=True, slots=True, eq=False)
class TimedHalt:
    """A halt with its times: set off, arrive, begin, leave. ``call`` is None at a store.

    ``origin`` and ``enter`` are the points of the site that the leg to it joins.
    """

    halt: Halt
    call: UnitCall | None
    origin: int
    enter: int
    put_in: tuple[int, ...]
    depart_ms: int
    arrive_ms: int
    begin_ms: int
    leave_ms: int
    phase: int

    @property
    def walk_ms(self) -> int:
        """Walking time of the leg to it."""
        return self.arrive_ms - self.depart_ms


@dataclass(frozen=True, slots=True, eq=False)
class Schedule:
    """A route with all its times and cartridges; ``last`` is the point it leaves last."""

    route: Route
    halts: tuple[TimedHalt, ...]
    carried: Carried
    last: int
    depart_ms: int
    finish_ms: int
    phase: int


@dataclass(frozen=True, slots=True, eq=False)
class Clockwork:
    """What times are made from: ways, walking times per span of hours for one technician."""

    site: Site
    ways: SiteWays
    spans: tuple[tuple[int, IntArray], ...]

    def leg(self, a: int, b: int, *, from_ms: int) -> tuple[int, int, int]:
        """(depart, arrive, span) of the leg from point a to b, setting off at ``from_ms`` or later.

        A leg that lasts through a change of the hours takes the longest of the spans it touches;
        where one of them has no way, one waits for the next span.
        """
        if a == b:
            return from_ms, from_ms, self._span_at(from_ms)
        for span in range(self._span_at(from_ms), len(self.spans)):
            depart = max(from_ms, self.spans[span][0])
            took = self._lasting(a, b, depart=depart, span=span)
            if took is not None:
                return depart, depart + took[0], took[1]
        raise AssertionError(f"no way from point {a} to point {b} after {from_ms} ms")

    def _span_at(self, at_ms: int) -> int:
        return max(k for k, (from_ms, _) in enumerate(self.spans) if from_ms <= at_ms or k == 0)

    def _lasting(self, a: int, b: int, *, depart: int, span: int) -> tuple[int, int] | None:
        longest, by = int(self.spans[span][1][a, b]), span
        if longest < 0:
            return None
        for later in range(span + 1, len(self.spans)):
            if depart + longest <= self.spans[later][0]:
                break
            took = int(self.spans[later][1][a, b])
            if took < 0:
                return None
            if took > longest:
                longest, by = took, later
        return longest, by


def unit_halt(team: Team, way: int) -> Halt:
    """The halt at a unit by one of its ways, not before its window."""
    return Halt(way, not_before_ms=team.window_of(way)[0])


def clock_of(team: Team, technician: int) -> Clockwork:
    """What the times of one technician of a team are made from."""
    return Clockwork(team.site, team.ways, team.members[technician].spans)


def keeps_windows(schedule: Schedule, team: Team) -> bool:
    """Whether the work at every unit ends within its window."""
    return all(
        halt.leave_ms <= team.window_of(halt.halt.way)[1]
        for halt in schedule.halts
        if halt.call is not None
    )


def timed(route: Route, clock: Clockwork) -> Schedule:
    """Every time of a route: walking, waiting for windows, work, changes of cartridges, reloads."""
    calls = [_call(halt, clock.ways) for halt in route.halts]
    pumped = carried([c for c in calls if c is not None], clock.site)
    put_in = iter(pumped.put_in)
    guns = {gun.name: gun for gun in clock.site.guns}
    now, here = route.start_ms, route.start
    halts = []
    for halt, call in zip(route.halts, calls, strict=True):
        enter, leave = ends_of(halt, clock.ways)
        depart, arrive, phase = clock.leg(here, enter, from_ms=now)
        begin = max(arrive, halt.not_before_ms)
        origin, here = here, leave
        mine = next(put_in) if call is not None else ()
        if call is None:
            now = begin + ms(clock.site.rules.reload_s)
        else:
            now = begin + call.visit.total_ms(call.way) + change_ms(call, mine, guns=guns)
        halts.append(TimedHalt(halt, call, origin, enter, mine, depart, arrive, begin, now, phase))
    depart, finish, phase = clock.leg(here, route.finish, from_ms=now)
    return Schedule(route, tuple(halts), pumped, here, depart, finish, phase)


def _call(halt: Halt, ways: SiteWays) -> UnitCall | None:
    if halt.way < 0:
        return None
    way = ways.ways[halt.way]
    return unit_call(ways.visits[way.visit], way.way)


def ends_of(halt: Halt, ways: SiteWays) -> tuple[int, int]:
    """The points of the site at which a halt begins and ends."""
    if halt.way < 0:
        return halt.point, halt.point
    way = ways.ways[halt.way]
    return way.enter, way.leave


def fixed_ms(schedule: Schedule, site: Site) -> int:
    """The part of a schedule that no route changes: isolation, pumping, procedures, changes."""
    guns = {gun.name: gun for gun in site.guns}
    return sum(
        h.call.visit.fixed_ms + change_ms(h.call, h.put_in, guns=guns)
        for h in schedule.halts
        if h.call is not None
    )


def route_dependent_ms(schedule: Schedule, site: Site) -> int:
    """What the route decides: walking, waits, climbs, settling, posture moves, reloads."""
    return schedule.finish_ms - schedule.route.start_ms - fixed_ms(schedule, site)
