"""When a technician is where: a route of calls turned into times, cartridge changes and all."""

from collections.abc import Sequence
from dataclasses import dataclass

from greaseroute.rounds.cartridges import Carried, carried, change_ms, changes_ms
from greaseroute.rounds.clock import STORE, Clock
from greaseroute.rounds.people import Booking
from greaseroute.rounds.team import SiteWays, Team
from greaseroute.site.model import Site
from greaseroute.units import ms
from greaseroute.visits.steps import UnitCall, unit_call
from greaseroute.walk.legs import NEVER, Leg, Legs


@dataclass(frozen=True, slots=True)
class Halt:
    """One halt of a route: a way at a unit, or (``way`` -1) the store at ``point``.

    ``not_before_ms``: work does not begin earlier, whatever the clock says on arrival.
    ``longer_ms``: time spent there beyond what is planned, such as a learner's.
    """

    way: int
    point: int = -1
    not_before_ms: int = 0
    longer_ms: int = 0


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

    ``origin`` and ``enter`` are the points of the site that the leg to it joins. ``people`` come
    for each need of the visit; None where somebody is missing.
    """

    halt: Halt
    call: UnitCall | None
    origin: int
    enter: int
    put_in: tuple[int, ...]
    begin_ms: int
    leave_ms: int
    leg: Leg
    people: tuple[Booking, ...] | None = ()

    @property
    def depart_ms(self) -> int:
        """When one sets off for it."""
        return self.leg.depart_ms

    @property
    def arrive_ms(self) -> int:
        """When one is there."""
        return self.leg.arrive_ms

    @property
    def walk_ms(self) -> int:
        """Walking time of the leg to it."""
        return self.leg.walk_ms


@dataclass(frozen=True, slots=True, eq=False)
class Schedule:
    """A route with all its times and cartridges; ``last`` is the point it leaves last."""

    route: Route
    halts: tuple[TimedHalt, ...]
    carried: Carried
    last: int
    home: Leg

    @property
    def depart_ms(self) -> int:
        """When one sets off for the finish."""
        return self.home.depart_ms

    @property
    def finish_ms(self) -> int:
        """When one is there."""
        return self.home.arrive_ms

    @property
    def calls(self) -> list[UnitCall]:
        """The visits to units in their order."""
        return [halt.call for halt in self.halts if halt.call is not None]

    @property
    def idle_ms(self) -> int:
        """Time at which one neither walks nor works: waits on the way, at places, for windows."""
        left = [self.route.start_ms, *(h.leave_ms for h in self.halts)]
        legs = [*(h.leg for h in self.halts), self.home]
        on_legs = sum(
            leg.arrive_ms - before - leg.walk_ms for before, leg in zip(left, legs, strict=True)
        )
        return on_legs + sum(h.begin_ms - h.arrive_ms for h in self.halts)


@dataclass(frozen=True, slots=True, eq=False)
class Clockwork:
    """What times are made from: ways, and the legs of one technician."""

    site: Site
    ways: SiteWays
    legs: Legs
    clock: Clock

    def leg(self, a: int, b: int, *, from_ms: int) -> Leg:
        """The leg from point a to b, setting off at ``from_ms`` or later."""
        return self.legs.leg(a, b, from_ms=from_ms)


def unit_halt(team: Team, way: int) -> Halt:
    """The halt at a unit by one of its ways, not before its window."""
    return Halt(way, not_before_ms=team.window_of(way)[0])


def clock_of(team: Team, technician: int) -> Clockwork:
    """What the times of one technician of a team are made from."""
    return clockwork(Clock(team, technician))


def clockwork(clock: Clock) -> Clockwork:
    """The same with the people that a clock has."""
    return Clockwork(clock.team.site, clock.team.ways, clock.member.legs, clock)


def keeps_windows(schedule: Schedule, team: Team) -> bool:
    """Whether the work at every unit ends within its window, with all who are wanted for it."""
    return all(
        halt.leave_ms <= team.window_of(halt.halt.way)[1] and halt.people is not None
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
        leg = clock.leg(here, enter, from_ms=now)
        begin = max(leg.arrive_ms, halt.not_before_ms)
        origin, here = here, leave
        mine = next(put_in) if call is not None else ()
        people: tuple[Booking, ...] | None = ()
        if call is None:
            now = begin + ms(clock.site.rules.reload_s)
        else:
            each = changes_ms(call, mine, guns=guns)
            had = clock.clock.begin_ms(halt.way, begin, each)
            begin = begin if had >= NEVER else had
            people = clock.clock.who(halt.way, begin, each)
            now = begin + call.visit.total_ms(call.way) + sum(each) + halt.longer_ms
        halts.append(TimedHalt(halt, call, origin, enter, mine, begin, now, leg, people))
    home = clock.leg(here, route.finish, from_ms=now)
    return Schedule(route, tuple(halts), pumped, here, home)


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
    """What the route decides: walking, climbs, settling, posture moves, reloads; no idle time."""
    spent = schedule.finish_ms - schedule.route.start_ms - schedule.idle_ms
    return spent - fixed_ms(schedule, site)


def schedule_of(clock: Clock, halts: Sequence[int]) -> Schedule:
    """A round with its times; who visits nothing and cannot get home stays at the start."""
    member, team = clock.member, clock.team
    stuck = not halts and clock.home(clock.start) >= NEVER
    finish = member.start if stuck else member.finish
    each = tuple(
        unit_halt(team, halt) if halt >= 0 else Halt(-1, point=team.stores[STORE - halt])
        for halt in halts
    )
    route = Route(clock.number, member.start, finish, member.start_ms, each)
    return timed(route, clockwork(clock))


def halts_of(team: Team, schedule: Schedule) -> tuple[int, ...]:
    """Halts of a schedule as the clock takes them: ways, and stores below 0."""
    stores = {point: STORE - k for k, point in enumerate(team.stores)}
    return tuple(h.halt.way if h.halt.way >= 0 else stores[h.halt.point] for h in schedule.halts)
