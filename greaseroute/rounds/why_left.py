"""Why a unit is not visited, or not served in full: what stops a visit to it, by the clock."""

from collections.abc import Sequence

from greaseroute.rounds.clock import ANY, STORE, Clock, too_late
from greaseroute.rounds.rounds import Units
from greaseroute.rounds.schedule import Schedule
from greaseroute.rounds.team import Team
from greaseroute.walk.legs import NEVER

NOBODY = "no technician has the gun or the skill for it"
CUT_OFF = "no path leads to it"
SHUT_THERE = "every way to it is shut from the time anyone could set off"
SHUT_BACK = "every way back from it is shut by the time its work is done"
NO_BAG = "it takes more cartridges than a full bag holds"
NO_BAG_MORE = "with what is done at the unit it takes more cartridges than a full bag holds"
WINDOW = "its window is too short or too early for anyone to work in it"
SHIFT = "the shift ends before anyone could be back from it"
NO_TIME = "no time is left for it beside what weighs more"
NO_CARTRIDGE = "no cartridge is left for it beside what weighs more"
BAG_EMPTY = "the bag holds no cartridge more for it and there is no store to fill it again"
STANDS_DOWN = "no way to the finish before the shift ends"
OPEN_WAY = "other hours for what is shut on the way, or another place for what leaves over it"
MORE_ROOM = "room for more cartridges in a bag"
HELPS = {
    SHUT_THERE: OPEN_WAY,
    SHUT_BACK: OPEN_WAY,
    CUT_OFF: "a gate, a crossing or another place",
    NO_BAG: MORE_ROOM,
    NO_BAG_MORE: MORE_ROOM,
    NO_CARTRIDGE: MORE_ROOM,
    BAG_EMPTY: MORE_ROOM,
}
BY_HURDLES = (CUT_OFF, SHUT_THERE, NO_BAG, WINDOW, SHUT_BACK, SHIFT, NO_TIME)


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
        return NO_CARTRIDGE if clocks[0].team.stores else BAG_EMPTY
    return BY_HURDLES[furthest]


def stands_down(schedule: Schedule, team: Team) -> bool:
    """Whether a technician stays at the start since the finish cannot be reached in time."""
    member = team.members[schedule.route.technician]
    if schedule.halts:
        return False
    walk = member.legs.leg(member.start, member.finish, from_ms=member.start_ms)
    return walk.arrive_ms > member.end_ms or too_late(member)


def _hurdles(clock: Clock, way: int) -> int:
    """How many of `BY_HURDLES` are taken when going there alone."""
    start, free = clock.start, clock.unhurried()
    if clock.arrive(start, clock.enter[way]) >= NEVER:
        return BY_HURDLES.index(_why_nobody_arrives(clock, way))
    if clock.pumped(way, start.left).put_in > clock.room:
        return BY_HURDLES.index(NO_BAG)
    there = free.work(start, way)
    if there is None:
        return BY_HURDLES.index(WINDOW)
    if free.home(there) >= NEVER and not too_late(clock.member):
        return BY_HURDLES.index(SHUT_BACK if _is_joined(clock, there.point, back=True) else CUT_OFF)
    inside = clock.work(start, way)
    late = inside is None or clock.home(inside) >= NEVER
    return BY_HURDLES.index(SHIFT if late else NO_TIME)


def _why_nobody_arrives(clock: Clock, way: int) -> str:
    """Why the way in of a visit is never reached."""
    if clock.windows[way][1] < clock.member.end_ms:
        return WINDOW  # its ground is shut once it leaves: nobody gets there before
    return SHUT_THERE if _is_joined(clock, clock.enter[way]) else CUT_OFF


def _is_joined(clock: Clock, point: int, *, back: bool = False) -> bool:
    """Whether a way leads from the start to a point, or back to the finish, in some span."""
    ends = (point, clock.member.finish) if back else (clock.member.start, point)
    return any(table[ends] >= 0 for _, table in clock.member.spans)


def _bag_alone(
    clocks: Sequence[Clock], choices: Sequence[tuple[Clock, int]], halts: Sequence[Sequence[int]]
) -> bool:
    """Whether with more cartridges in the bag the unit would fit into somebody's round as it is.

    Nobody who would only have to fill the bag at a store beside it is short of cartridges: of time.
    """
    places = [
        (clock, way, row, place)
        for clock, way in choices
        for row in [_without(halts[clock.number], clock, way)]
        for place in range(len(row) + 1)
        if clock.with_room(ANY).run([*row[:place], way, *row[place:]]) < NEVER
    ]
    return bool(places) and not any(
        clock.unhurried().run([*row[:place], *more, *row[place:]]) < NEVER
        for clock, way, row, place in places
        for store in range(STORE, STORE - len(clock.team.stores), -1)
        for more in ((store, way), (way, store), (store, way, store))
    )


def _without(row: Sequence[int], clock: Clock, way: int) -> list[int]:
    """A round without the unit of a way."""
    rows = clock.team.ways.way_unit
    return [halt for halt in row if halt < 0 or rows[halt] != rows[way]]
