"""Why a unit is not visited, or not served in full: what stops a visit to it, by the clock."""

from collections.abc import Sequence

from greaseroute.rounds.clock import STORE, Clock, too_late
from greaseroute.rounds.rounds import Units
from greaseroute.rounds.schedule import Schedule
from greaseroute.rounds.team import Team
from greaseroute.walk.legs import NEVER

NOBODY = "no technician has the gun or the skill for it"
CUT_OFF = "no path leads to it"
NO_BAG = "it takes more cartridges than a full bag holds"
NO_BAG_MORE = "with what is done at the unit it takes more cartridges than a full bag holds"
WINDOW = "its window is too short or too early for anyone to work in it"
SHIFT = "the shift ends before anyone could be back from it"
NO_TIME = "no time is left for it beside what weighs more"
BAG_EMPTY = "the bag holds no cartridge more for it and there is no store to fill it again"
STANDS_DOWN = "no way to the finish before the shift ends"
ANY = 10**6  # cartridges: more than any round takes
BY_HURDLES = (CUT_OFF, NO_BAG, WINDOW, SHIFT, NO_TIME)


def why_left(
    clocks: Sequence[Clock], units: Units, unit: int, *, loss: int, halts: Sequence[Sequence[int]]
) -> str:
    """The first thing that no visit to a unit with less than ``loss`` left out gets past.

    Parameters
    ----------
    loss : int
        What is left out at the unit now.
    halts : sequence of rounds
        What each technician does now: where only the bag keeps the unit out of all of them, that
        is the reason.
    """
    choices = [
        (clock, way)
        for clock in clocks
        for ways in units.choices(clock)[unit]
        if units.loss_of(ways) < loss
        for way in ways
    ]
    if not choices:
        return NOBODY
    furthest = max(_hurdles(clock, way) for clock, way in choices)
    if furthest == len(BY_HURDLES) - 1 and _bag_alone(clocks, choices, halts):
        return NO_BAG if clocks[0].team.stores else BAG_EMPTY
    return BY_HURDLES[furthest]


def stands_down(schedule: Schedule, team: Team) -> bool:
    """Whether a technician stays at the start since the finish cannot be reached in time."""
    member = team.members[schedule.route.technician]
    if schedule.halts:
        return False
    walk = member.legs.leg(member.start, member.finish, from_ms=member.start_ms)
    return walk.arrive_ms > member.end_ms or too_late(member)


def _hurdles(clock: Clock, way: int) -> int:
    """How many of the hurdles path, bag, window, end are taken when going there alone."""
    start, free = clock.start, clock.unhurried()
    arrive = clock.arrive(start, clock.enter[way])
    if arrive >= NEVER:  # its ground is shut once it leaves: nobody gets there before
        return 2 if clock.windows[way][1] < clock.member.end_ms else 0
    if clock.pumped(way, start.left).put_in > clock.room:
        return 1
    there = free.work(start, way)
    if there is None:
        return 2
    if free.home(there) >= NEVER:
        return 0
    inside = clock.work(start, way)
    return 3 if inside is None or clock.home(inside) >= NEVER else 4


def _bag_alone(
    clocks: Sequence[Clock], choices: Sequence[tuple[Clock, int]], halts: Sequence[Sequence[int]]
) -> bool:
    """Whether with more cartridges in the bag the unit would fit into somebody's round as it is.

    Nobody who would only have to fill the bag at a store before is short of cartridges: of time.
    """
    places = [
        (clock, way, row, place)
        for clock, way in choices
        for row in [_without(halts[clock.number], clock, way)]
        for place in range(len(row) + 1)
        if clock.with_room(ANY).run([*row[:place], way, *row[place:]]) < NEVER
    ]
    return bool(places) and not any(
        clock.unhurried().run([*row[:place], STORE - store, way]) < NEVER
        for clock, way, row, place in places
        for store in range(len(clock.team.stores))
    )


def _without(row: Sequence[int], clock: Clock, way: int) -> list[int]:
    """A round without the unit of a way."""
    rows = clock.team.ways.way_unit
    return [halt for halt in row if halt < 0 or rows[halt] != rows[way]]
