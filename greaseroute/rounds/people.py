"""Who comes to a machine when: people with their hours, each at one machine at a time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning, clock_span
from greaseroute.site.people import Person
from greaseroute.solvers.arrays import IntArray
from greaseroute.visits.timeline import Need
from greaseroute.walk.legs import NEVER

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Booking:
    """Somebody at a machine: from when to when (ms), and the points of the site it lies between.

    ``enter`` and ``leave`` are those at which the technician who called comes to the unit and
    leaves it: from and to there the person walks.
    """

    person: str
    begin_ms: int
    end_ms: int
    enter: int
    leave: int


@dataclass(frozen=True, slots=True, eq=False)
class Hand:
    """One of the people who may be called, with the hours of this morning."""

    name: str
    person: Person
    span: Span


def hands_of(site: Site, morning: Morning) -> tuple[Hand, ...]:
    """Everybody whose hours meet the morning, in the order of the site file."""
    found = []
    for person in site.at_hand:
        span = clock_span(person.on_site_from, person.on_site_to, morning)
        if span is not None:
            found += [Hand(name, person, span) for name in person.names]
    return tuple(found)


def spans_for(hands: Sequence[Hand], machine: MachineType) -> tuple[Span, ...]:
    """When somebody who may operate a machine is at hand."""
    return tuple(dict.fromkeys(h.span for h in hands if h.person.may_operate(machine)))


@dataclass(frozen=True, eq=False)
class People:
    """Those who may be called by one technician: their hours, and where they are wanted already.

    ``walk_ms`` are the walking times by which they come from the machine before.
    """

    hands: tuple[Hand, ...]
    walk_ms: IntArray
    booked: Mapping[str, tuple[Booking, ...]]

    def with_booked(self, more: Sequence[Booking]) -> "People":
        """The same with some wanted elsewhere as well."""
        booked = dict(self.booked)
        for each in more:
            booked[each.person] = (*booked.get(each.person, ()), each)
        return replace(self, booked=booked)

    @cached_property
    def _ends(self) -> tuple[Booking, ...]:
        return tuple(each for some in self.booked.values() for each in some)

    def begin_ms(self, wanted: "Wanted", *, from_ms: int, before: Sequence[int]) -> int:
        """The first moment from ``from_ms`` on at which a visit may begin so that all can be had.

        ``before``: ms of cartridge changes before each need. ``NEVER`` where there is none.
        """
        if not wanted.needs:
            return from_ms
        starts = {from_ms}
        for need, late in zip(wanted.needs, before, strict=True):
            free_from = [h.span[0] for h in self.hands]
            free_from += [b.end_ms + self._way_ms(b.leave, wanted.enter) for b in self._ends]
            starts |= {at - need.offset_ms - late for at in free_from}
        tried = sorted(at for at in starts if from_ms <= at < NEVER)
        return next((at for at in tried if self.who(wanted, at, before) is not None), NEVER)

    def who(
        self, wanted: "Wanted", begin_ms: int, before: Sequence[int]
    ) -> tuple[Booking, ...] | None:
        """Who comes for each need of a visit that begins then; the same person if possible."""
        found: list[Booking] = []
        for need, late in zip(wanted.needs, before, strict=True):
            begin = begin_ms + need.offset_ms + late
            each = Booking("", begin, begin + need.duration_ms, wanted.enter, wanted.leave)
            order = sorted(self.hands, key=lambda h: h.name not in {b.person for b in found})
            hand = next((h for h in order if self._can(h, wanted.machine, each)), None)
            if hand is None:
                return None
            found.append(replace(each, person=hand.name))
        return tuple(found)

    def _can(self, hand: Hand, machine: MachineType, new: Booking) -> bool:
        if not hand.person.may_operate(machine):
            return False
        if new.begin_ms < hand.span[0] or new.end_ms > hand.span[1]:
            return False
        return all(self._apart(old, new) for old in self.booked.get(hand.name, ()))

    def _apart(self, old: Booking, new: Booking) -> bool:
        """Whether one person can be at both, the way from one to the other walked between them."""
        first, then = (old, new) if old.begin_ms <= new.begin_ms else (new, old)
        return first.end_ms + self._way_ms(first.leave, then.enter) <= then.begin_ms

    def _way_ms(self, a: int, b: int) -> int:
        walk = int(self.walk_ms[a, b])
        return walk if walk >= 0 else NEVER


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """What a way of a visit wants of people: machine, the points of its ends, each need."""

    machine: MachineType
    enter: int
    leave: int
    needs: tuple[Need, ...]
