"""One technician by the clock, in whole numbers: legs, windows, people, guns, bag, stores."""

from collections.abc import Iterable, Sequence
from copy import copy
from functools import cached_property
from typing import NamedTuple

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.rounds.people import Booking, People, Wanted
from greaseroute.rounds.team import Member, Team, bag, can_take, pumped_by, strokes_of
from greaseroute.units import ms
from greaseroute.visits.steps import unit_call
from greaseroute.visits.timeline import needs_of
from greaseroute.walk.legs import NEVER

ANY = 10**6  # cartridges: more than any round takes
STORE = -1  # in a round: ways are 0 and more, the stores -1, -2, ... in their order


class Spot(NamedTuple):
    """Where somebody is and from when on, strokes in each gun, cartridges put in from this bag."""

    point: int
    ready_ms: int
    left: tuple[int, ...]
    used: int = 0


class Pumped(NamedTuple):
    """What pumping all of a way does to the guns: strokes left, cartridges put in, their time."""

    left: tuple[int, ...]
    put_in: int
    change_ms: int
    each_ms: tuple[int, ...] = ()  # changes before each fitting; none at all where it is empty


class Clock:
    """What a technician's steps take. A step that cannot be made in time gives None.

    A cartridge that cannot finish the next fitting is changed before it, as on the card.
    """

    def __init__(self, team: Team, number: int, fittings: "Fittings | None" = None) -> None:
        member, site = team.members[number], team.site
        fittings = fittings or Fittings(team)
        self.team, self.member, self.number = team, member, number
        greases = {g.name: g for g in site.greases}
        self.capacity = [cartridge_strokes(gun, greases[gun.grease]) for gun in site.guns]
        self.change_ms = [ms(gun.change_s) for gun in site.guns]
        self.room = bag(member.technician, site)
        self.end_ms = member.end_ms
        self.reload_ms = ms(site.rules.reload_s)
        self.enter, self.leave = team.ways.way_enter.tolist(), team.ways.way_leave.tolist()
        self.total_ms = team.ways.total_ms.tolist()
        self.windows = [team.window_of(way) for way in range(len(team.ways.ways))]
        self._pumped: dict[tuple[int, tuple[int, ...]], Pumped] = {}
        self._fittings = fittings
        self.people = People(team.hands, member.spans[0][1], {})

    def with_people(self, people: People) -> "Clock":
        """The same with people of whom some are wanted elsewhere."""
        other = copy(self)
        other.people = people
        return other

    def with_room(self, cartridges: int) -> "Clock":
        """The same with a bag of that room."""
        other = copy(self)
        other.room = cartridges
        return other

    def unhurried(self) -> "Clock":
        """The same without an end of the shift."""
        other = copy(self)
        other.end_ms = NEVER - 1
        return other

    @cached_property
    def mine(self) -> frozenset[int]:
        """The ways that this technician may take."""
        return frozenset(int(w) for w in can_take(self.team)[self.number].nonzero()[0])

    @property
    def start(self) -> Spot:
        """At the start, with what the guns hold and a full bag."""
        left = tuple(gun.left_strokes for gun in self.team.site.guns)
        return Spot(self.member.start, self.member.start_ms, left)

    def arrive(self, spot: Spot, point: int) -> int:
        """When one can be at a point."""
        return self.member.legs.arrive_ms(spot.point, point, from_ms=spot.ready_ms)

    def step(self, spot: Spot, halt: int) -> Spot | None:
        """The way or store after a spot."""
        return self.work(spot, halt) if halt >= 0 else self.fill(spot, STORE - halt)

    def work(self, spot: Spot, way: int) -> Spot | None:
        """All of a way: there, waiting for the window, work, cartridges as they run out."""
        pumped = self.pumped(way, spot.left)
        used = spot.used + pumped.put_in
        if used > self.room:
            return None
        first, last = self.windows[way]
        begin = self.begin_ms(way, max(self.arrive(spot, self.enter[way]), first), pumped.each_ms)
        leave = begin + self.total_ms[way] + pumped.change_ms
        if leave > min(last, self.end_ms):
            return None
        return Spot(self.leave[way], leave, pumped.left, used)

    def begin_ms(self, way: int, from_ms: int, each_ms: Sequence[int]) -> int:
        """When the work of a way begins: as soon as all who are wanted for it can be had then.

        ``each_ms``: changes of cartridges before each fitting, empty where there are none.
        """
        wanted = self._fittings.wanted(way)
        if not wanted.needs:
            return from_ms
        before = late_by(wanted, each_ms)
        return self.people.begin_ms(wanted, from_ms=from_ms, before=before)

    def who(self, way: int, begin_ms: int, each_ms: Sequence[int]) -> tuple[Booking, ...] | None:
        """Who comes to a way that begins then; None where somebody is missing."""
        wanted = self._fittings.wanted(way)
        return self.people.who(wanted, begin_ms, late_by(wanted, each_ms))

    def fill(self, spot: Spot, store: int) -> Spot | None:
        """The bag filled at a store."""
        point = self.team.stores[store]
        ready = self.arrive(spot, point) + self.reload_ms
        return Spot(point, ready, spot.left, 0) if ready <= self.end_ms else None

    def pump_on(
        self, spot: Spot, tasks: Sequence[tuple[int, int]], *, least_ms: int, by_ms: int
    ) -> Spot | None:
        """The same place after more (gun, strokes) there; None beyond ``by_ms`` or the bag."""
        pumped = self._pump(tasks, list(spot.left))
        used, ready = spot.used + pumped.put_in, spot.ready_ms + least_ms + pumped.change_ms
        if used > self.room or ready > min(by_ms, self.end_ms):
            return None
        return Spot(spot.point, ready, pumped.left, used)

    def home(self, spot: Spot) -> int:
        """When one is at the finish; ``NEVER`` where that is too late."""
        if too_late(self.member):
            return NEVER
        arrive = self.arrive(spot, self.member.finish)
        return arrive if arrive <= self.end_ms else NEVER

    def run(self, halts: Iterable[int]) -> int:
        """The finish of a round, ``NEVER`` where some step of it cannot be made in time."""
        spot: Spot | None = self.start
        for halt in halts:
            assert spot is not None
            spot = self.step(spot, halt)
            if spot is None:
                return NEVER
        assert spot is not None
        return self.home(spot)

    def spots(self, halts: Sequence[int]) -> list[Spot | None]:
        """Where one is before each halt of a round and after the last; None from where on it is
        late."""
        found: list[Spot | None] = [self.start]
        for halt in halts:
            before = found[-1]
            found.append(None if before is None else self.step(before, halt))
        return found

    def run_beside(
        self, halts: Sequence[int], spots: Sequence[Spot | None], *, apart: tuple[int, int]
    ) -> int:
        """The finish of a round that differs from another, with ``spots``, from one halt to
        another alone: the same as `run`, but ``NEVER`` where it plainly ends no sooner.

        Who stands at the same point with the same guns, no sooner and with no more room in the
        bag, is nowhere sooner from there on.
        """
        first, last = apart
        spot = spots[first]
        for place, halt in enumerate(halts[first:], first):
            if spot is None:
                return NEVER
            there = spots[place] if place > last else None
            if there is not None and _no_better(spot, there):
                return NEVER
            spot = self.step(spot, halt)
        return NEVER if spot is None else self.home(spot)

    def pumped(self, way: int, left: tuple[int, ...]) -> Pumped:
        """What a way does to the guns."""
        key = way, left
        if key not in self._pumped:
            need = self._fittings.strokes(way)
            if all(n <= has for n, has in zip(need, left, strict=True)):
                rest = tuple(has - n for n, has in zip(need, left, strict=True))
                self._pumped[key] = Pumped(rest, 0, 0)
            else:
                self._pumped[key] = self._pump(self._fittings.of(way), list(left))
        return self._pumped[key]

    def _pump(self, tasks: Sequence[tuple[int, int]], left: list[int]) -> Pumped:
        put_in, each_ms = 0, []
        for gun, strokes in tasks:
            new = 0
            if left[gun] < strokes:
                new = -(-strokes // self.capacity[gun])
                left[gun] = new * self.capacity[gun]
            put_in += new
            each_ms.append(new * self.change_ms[gun])
            left[gun] -= strokes
        return Pumped(tuple(left), put_in, sum(each_ms), tuple(each_ms))

    def dominates(self, one: Spot, other: Spot) -> bool:
        """Whether one spot is as good as the other whatever comes after.

        A gun with fewer strokes left needs at most one change more than the other from there on.
        """
        used, change_ms = one.used, 0
        for gun, (mine, its) in enumerate(zip(one.left, other.left, strict=True)):
            if mine < its:
                used, change_ms = used + 1, change_ms + self.change_ms[gun]
        # Nobody arrives before setting off: the walk is looked up where it can still decide.
        if used > other.used or one.ready_ms + change_ms > other.ready_ms:
            return False
        there = one.point == other.point
        ready_ms = one.ready_ms if there else self.arrive(one, other.point)
        return ready_ms + change_ms <= other.ready_ms


class Fittings:
    """What each way pumps, gun by gun and in order: worked out where it is asked for."""

    def __init__(self, team: Team) -> None:
        self._team = team
        self._guns = [gun.name for gun in team.site.guns]
        self._strokes: dict[int, list[int]] = {}
        self._of: dict[int, tuple[tuple[int, int], ...]] = {}
        self._wanted: dict[int, Wanted] = {}

    def strokes(self, way: int) -> list[int]:
        """Strokes of a way from each gun."""
        visit = self._team.ways.ways[way].visit
        if visit not in self._strokes:
            self._strokes[visit] = strokes_of(self._team.ways.visits[visit], self._guns)
        return self._strokes[visit]

    def of(self, way: int) -> tuple[tuple[int, int], ...]:
        """(gun, strokes) of each fitting of a way in pumping order."""
        if way not in self._of:
            self._of[way] = pumped_by(self._team.ways, way, self._guns)
        return self._of[way]

    def wanted(self, way: int) -> Wanted:
        """Who is wanted during a way."""
        if way not in self._wanted:
            here = self._team.ways.ways[way]
            visit = self._team.ways.visits[here.visit]
            needs = needs_of(unit_call(visit, here.way)) if visit.needs_people else ()
            self._wanted[way] = Wanted(visit.work.machine_type, here.enter, here.leave, needs)
        return self._wanted[way]


def _no_better(spot: Spot, there: Spot) -> bool:
    """Whether a spot is at no point of a round better than another at the same place."""
    same = (spot.point, spot.left) == (there.point, there.left)
    return same and spot.ready_ms >= there.ready_ms and spot.used >= there.used


def late_by(wanted: Wanted, each_ms: Sequence[int]) -> tuple[int, ...]:
    """By how much changes of cartridges put off each need of a visit."""
    return tuple(sum(each_ms[: need.pumped]) for need in wanted.needs)


def too_late(member: Member) -> bool:
    """Whether a technician comes when the time for work is over."""
    return member.start_ms > member.end_ms


def clocks_of(team: Team) -> list[Clock]:
    """The clock of each technician."""
    fittings = Fittings(team)
    return [Clock(team, number, fittings) for number in range(len(team.members))]
