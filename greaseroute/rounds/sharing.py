"""Rounds of several technicians who call the same people: nobody is called to two machines at once.

The search and the clock of one technician know everybody's hours. Here the technicians are taken
one after the other: whoever comes later in the order finds people wanted elsewhere and waits, or
leaves what can no longer be done in time. Every order of the technicians is tried while they are
few; the rounds lose as little, and end as early, as is found.
"""

from collections.abc import Iterator, Sequence
from itertools import permutations

from greaseroute.rounds.clock import Clock
from greaseroute.rounds.in_order import best_in_order
from greaseroute.rounds.mend_late import Mender
from greaseroute.rounds.people import Booking
from greaseroute.rounds.rounds import Rounds, Units
from greaseroute.rounds.schedule import schedule_of
from greaseroute.walk.legs import NEVER

Halts = tuple[int, ...]

MOST_IN_EVERY_ORDER = 5  # units of one technician that are gone through in every order
MOST_ORDERED = 4  # technicians who call somebody and are tried in every order


def shared(clocks: Sequence[Clock], units: Units, rounds: Rounds) -> tuple[list[Clock], Rounds]:
    """Clocks in which each finds the others' people wanted, and the rounds that come of it."""
    callers = [k for k, row in enumerate(rounds.halts) if _booked(clocks[k], row)]
    if len(callers) < 2:
        return list(clocks), rounds
    found = [_in_turn(clocks, units, rounds, order=order) for order in _orders(callers)]
    return min(found, key=lambda each: units.worth(each[1]))


def _orders(callers: Sequence[int]) -> Iterator[tuple[int, ...]]:
    if len(callers) <= MOST_ORDERED:
        yield from permutations(callers)
    else:
        yield tuple(callers)


def _in_turn(
    clocks: Sequence[Clock], units: Units, rounds: Rounds, *, order: Sequence[int]
) -> tuple[list[Clock], Rounds]:
    clocks, rows = list(clocks), list(rounds.halts)
    booked: list[Booking] = []
    ends = [clock.run(row) for clock, row in zip(clocks, rows, strict=True)]
    for k in order:
        clocks[k] = clocks[k].with_people(clocks[k].people.with_booked(booked))
        if clocks[k].run(rows[k]) != ends[k]:
            rows[k] = sooner(clocks[k], units, rows[k])
        if clocks[k].run(rows[k]) >= NEVER:
            rows[k] = tuple(Mender(clocks, units).in_time(k, rows[k]))
        booked += _booked(clocks[k], rows[k])
    return clocks, units.judged(clocks, rows)


def sooner(clock: Clock, units: Units, row: Sequence[int]) -> tuple[int, ...]:
    """The same units in an order that ends sooner, so that waiting is used for work next door.

    All orders of few units are gone through; of more, one halt after the other is moved to where
    that helps most, until nothing does, and the ways of the order found are chosen anew.
    """
    ways = [w for w in row if w >= 0]
    if len(ways) <= MOST_IN_EVERY_ORDER:
        tried = (_by_visit(clock, units, order) for order in permutations(ways))
        return min([(clock.run(row), tuple(row)), *tried])[1]
    best = clock.run(row), tuple(row)
    while True:
        better = min(_one_moved(clock, best[1]))
        if better[0] >= best[0]:
            return min(best, _by_visit(clock, units, [h for h in best[1] if h >= 0]))[1]
        best = better


def _one_moved(clock: Clock, row: Halts) -> Iterator[tuple[int, Halts]]:
    """(finish, halts) with one halt moved to another place; a finish of ``NEVER`` where it is
    plain on the way that it cannot be before the row's own."""
    spots = clock.spots(row)
    for k, halt in enumerate(row):
        rest = (*row[:k], *row[k + 1 :])
        for place in range(len(row)):
            if place != k:
                halts = (*rest[:place], halt, *rest[place:])
                yield clock.run_beside(halts, spots, apart=(min(k, place), max(k, place))), halts


def _by_visit(clock: Clock, units: Units, ways: Sequence[int]) -> tuple[int, tuple[int, ...]]:
    """(finish, halts) of visits in an order, by their best ways and store visits."""
    visits = [units.team.ways.ways[w].visit for w in ways]
    return best_in_order(clock, [units.ways_of_visit[visit] for visit in visits])


def _booked(clock: Clock, row: Sequence[int]) -> list[Booking]:
    """Who is where during a round."""
    return [each for halt in schedule_of(clock, row).halts for each in halt.people or ()]
