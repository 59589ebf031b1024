"""Compiled: the stops of all routes as chains, and for every way of every stop what it leads to.

Stops are numbered: unit u is stop u, technician t starts in stop U + t and finishes in U + T + t,
visits to stores follow. Each has one row of ``stops``::

    BEFORE AFTER HOLDER LEVEL LINK BACK CHANGE STAMP SEEN | F F | D D | E E | L L | W W

The labels behind it are one per way of the stop's level, K columns for each kind.

Without a clock (no window, no hours) only differences between the ways of one stop matter. F is the
time from the start of the route to leaving the stop by a way, D the time from arriving by a way to
the finish, both less the least over the ways of that stop; BACK is what was taken off D, LINK the
least of F + walking + D between a stop and the one after it. The finish changes by what one link
changes, and labels behind a change soon are what they were: a step costs the same however long the
route is.

With a clock F is the earliest time of leaving, W the walking time up to then. The finish of the
rest of the route, for one who is there at a time not after L, is max(time + D, E). It is exact for
one way a stop; for several it follows the chain of ways that is best at the present times, so that
it tells what an insertion would cost and never whether it is possible. LINK is the least walking
time to the stop after it, CHANGE the time of cartridge changes; STAMP and SEEN are marks of the
search.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

from greaseroute.solvers.arrays import FAR, NOWHERE, IntArray
from greaseroute.solvers.compiled import inner_njit
from greaseroute.solvers.vrp.kernels.legs import leg
from greaseroute.solvers.vrp.layout import (
    CLOSES,
    END_WAY,
    ENTER,
    FIRST_WAY,
    LEAVE,
    OPENS,
    WORK,
)

BEFORE, AFTER, HOLDER, LEVEL, LINK, BACK, CHANGE, STAMP, SEEN, LABELS = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9


@inner_njit
def forward(
    travel: IntArray, way: IntArray, levels: IntArray, stops: IntArray, most: int, y: int, t: int,
    stop: int,
) -> bool:
    """Bring F of a stop up to date, without a clock; true if it changed. ``most`` is K."""
    before = stops[stop, BEFORE]
    w0, w1 = levels[stops[stop, LEVEL], FIRST_WAY], levels[stops[stop, LEVEL], END_WAY]
    changed = False
    if w1 == w0 + 1:
        changed = bool(stops[stop, LABELS] != 0)
        stops[stop, LABELS] = 0
        return changed
    v0, v1 = levels[stops[before, LEVEL], FIRST_WAY], levels[stops[before, LEVEL], END_WAY]
    fresh = stops.shape[1] - most  # the last columns are for work in hand
    least = FAR
    for w in range(w0, w1):
        time, q = FAR, way[ENTER, w]
        for v in range(v0, v1):
            time = min(time, stops[before, LABELS + v - v0] + travel[0, y, way[LEAVE, v], q])
        time = FAR if way[WORK + t, w] < 0 else min(FAR, time + way[WORK + t, w])
        least = min(least, time)
        stops[stop, fresh + w - w0] = time
    for k in range(w1 - w0):
        time = min(FAR, stops[stop, fresh + k] - least)
        if stops[stop, LABELS + k] != time:
            changed = True
            stops[stop, LABELS + k] = time
    return changed


@inner_njit
def backward(
    travel: IntArray, way: IntArray, levels: IntArray, stops: IntArray, most: int, y: int, t: int,
    stop: int,
) -> bool:
    """Bring D and BACK of a stop up to date, without a clock; true if D changed."""
    after = stops[stop, AFTER]
    w0, w1 = levels[stops[stop, LEVEL], FIRST_WAY], levels[stops[stop, LEVEL], END_WAY]
    n0, n1 = levels[stops[after, LEVEL], FIRST_WAY], levels[stops[after, LEVEL], END_WAY]
    fresh, d = stops.shape[1] - most, LABELS + most
    least, changed = FAR, False
    for w in range(w0, w1):
        time, p = FAR, way[LEAVE, w]
        for n in range(n0, n1):
            time = min(time, travel[0, y, p, way[ENTER, n]] + stops[after, d + n - n0])
        time = FAR if way[WORK + t, w] < 0 else min(FAR, time + way[WORK + t, w])
        least = min(least, time)
        stops[stop, fresh + w - w0] = time
    for k in range(w1 - w0):
        time = min(FAR, stops[stop, fresh + k] - least)
        if stops[stop, d + k] != time:
            changed = True
            stops[stop, d + k] = time
    stops[stop, BACK] = least
    return changed


@inner_njit
def link(
    travel: IntArray, way: IntArray, levels: IntArray, stops: IntArray, most: int, y: int, p: int,
    q: int,
) -> int:
    """Least of F + walking + D from stop p to stop q, without a clock."""
    v0, v1 = levels[stops[p, LEVEL], FIRST_WAY], levels[stops[p, LEVEL], END_WAY]
    n0, n1 = levels[stops[q, LEVEL], FIRST_WAY], levels[stops[q, LEVEL], END_WAY]
    best = FAR
    for v in range(v0, v1):
        left, here = stops[p, LABELS + v - v0], way[LEAVE, v]
        for n in range(n0, n1):
            rest = travel[0, y, here, way[ENTER, n]] + stops[q, LABELS + most + n - n0]
            best = min(best, left + rest)
    return int(best)


@inner_njit
def price(
    travel: IntArray, way: IntArray, levels: IntArray, stops: IntArray, most: int, y: int, t: int,
    p: int, level: int,
) -> int:
    """How much later the route ends with ``level`` after stop p, without a clock."""
    q = stops[p, AFTER]
    v0, v1 = levels[stops[p, LEVEL], FIRST_WAY], levels[stops[p, LEVEL], END_WAY]
    n0, n1 = levels[stops[q, LEVEL], FIRST_WAY], levels[stops[q, LEVEL], END_WAY]
    best = FAR
    for w in range(levels[level, FIRST_WAY], levels[level, END_WAY]):
        if way[WORK + t, w] < 0:
            continue
        there, on, enter, leave = FAR, FAR, way[ENTER, w], way[LEAVE, w]
        for v in range(v0, v1):
            there = min(there, stops[p, LABELS + v - v0] + travel[0, y, way[LEAVE, v], enter])
        for n in range(n0, n1):
            rest = travel[0, y, leave, way[ENTER, n]] + stops[q, LABELS + most + n - n0]
            on = min(on, rest)
        best = min(best, there + way[WORK + t, w] + on)
    return FAR if best >= FAR else int(best - stops[p, LINK])


@inner_njit
def forward_clock(
    travel: IntArray, way: IntArray, levels: IntArray, phase_from: IntArray, stops: IntArray,
    most: int, y: int, t: int, stop: int,
) -> bool:
    """Bring F and W of a stop up to date, with a clock; true if they changed."""
    before, walked = stops[stop, BEFORE], LABELS + 4 * most
    v0, v1 = levels[stops[before, LEVEL], FIRST_WAY], levels[stops[before, LEVEL], END_WAY]
    w0, w1 = levels[stops[stop, LEVEL], FIRST_WAY], levels[stops[stop, LEVEL], END_WAY]
    plain = travel.shape[0] == 1  # one table: read at once, which is what most of the time is
    changed = False
    for w in range(w0, w1):
        time, walk, q = FAR, FAR, way[ENTER, w]
        opens, spent = way[OPENS, w], way[WORK + t, w]
        for v in range(v0, v1):
            ready = stops[before, LABELS + v - v0]
            if spent < 0 or ready > time:
                continue
            if plain:
                depart, arrive = ready, ready + travel[0, y, way[LEAVE, v], q]
            else:
                arrive, depart, _ = leg(travel, phase_from, y, way[LEAVE, v], q, ready)
            far = stops[before, walked + v - v0] + arrive - depart
            arrive = max(arrive, opens)
            if arrive < time or (arrive == time and far < walk):
                time, walk = arrive, far
        time += spent + stops[stop, CHANGE]
        if time > way[CLOSES, w]:
            time = FAR
        if stops[stop, LABELS + w - w0] != time or stops[stop, walked + w - w0] != walk:
            changed = True
            stops[stop, LABELS + w - w0], stops[stop, walked + w - w0] = time, walk
    return changed


# Long: one loop over pairs of ways, the hottest there is.
@inner_njit
def backward_clock(
    travel: IntArray, way: IntArray, levels: IntArray, phase_from: IntArray, stops: IntArray,
    most: int, y: int, t: int, stop: int,
) -> bool:
    """Bring D, E, L and LINK of a stop up to date, with a clock; true if D, E or L changed."""
    after, d, e, last = stops[stop, AFTER], LABELS + most, LABELS + 2 * most, LABELS + 3 * most
    w0, w1 = levels[stops[stop, LEVEL], FIRST_WAY], levels[stops[stop, LEVEL], END_WAY]
    n0, n1 = levels[stops[after, LEVEL], FIRST_WAY], levels[stops[after, LEVEL], END_WAY]
    plain, changed, nearest = travel.shape[0] == 1, False, FAR
    for w in range(w0, w1):
        opens, p = way[OPENS, w], way[LEAVE, w]
        spent = way[WORK + t, w] + stops[stop, CHANGE]
        best, best_d, best_e, best_l = FAR, FAR, FAR, NOWHERE
        now = stops[stop, LABELS + w - w0]
        if now >= FAR:
            now = opens + spent  # not reached in the present order: told from its opening
        for n in range(n0, n1):
            if way[WORK + t, w] < 0:
                break
            nearest = min(nearest, travel[0, y, p, way[ENTER, n]])
            if plain:
                there = now + travel[0, y, p, way[ENTER, n]]
            else:
                there = leg(travel, phase_from, y, p, way[ENTER, n], now)[0]
            on = spent + there - now
            if opens + on > stops[after, last + n - n0]:
                continue
            more = on + stops[after, d + n - n0]
            end = max(opens + more, stops[after, e + n - n0])
            latest = min(way[CLOSES, w] - spent, stops[after, last + n - n0] - on)
            finish = max(now - spent + more, end)
            if finish < best or (finish == best and latest > best_l):
                best, best_d, best_e, best_l = finish, more, end, latest
        k = w - w0
        if (
            stops[stop, d + k] != best_d or stops[stop, e + k] != best_e
            or stops[stop, last + k] != best_l
        ):
            changed = True
            stops[stop, d + k], stops[stop, e + k], stops[stop, last + k] = best_d, best_e, best_l
    stops[stop, LINK] = nearest
    return changed


@inner_njit
def price_clock(
    travel: IntArray, way: IntArray, levels: IntArray, phase_from: IntArray, stops: IntArray,
    most: int, y: int, t: int, p: int, level: int, more: int,
) -> tuple[int, int]:
    """(finish, more walking) with ``level`` after stop p, with a clock; finish FAR if impossible.

    ``more`` is the time of cartridge changes to allow for at the new stop.
    """
    q = stops[p, AFTER]
    v0, v1 = levels[stops[p, LEVEL], FIRST_WAY], levels[stops[p, LEVEL], END_WAY]
    n0, n1 = levels[stops[q, LEVEL], FIRST_WAY], levels[stops[q, LEVEL], END_WAY]
    d, e, last, plain = LABELS + most, LABELS + 2 * most, LABELS + 3 * most, travel.shape[0] == 1
    best, walking = FAR, FAR
    for w in range(levels[level, FIRST_WAY], levels[level, END_WAY]):
        spent, enter, leave = way[WORK + t, w], way[ENTER, w], way[LEAVE, w]
        if spent < 0:
            continue
        time, walk = FAR, FAR
        for v in range(v0, v1):
            ready, here = stops[p, LABELS + v - v0], way[LEAVE, v]
            if ready >= time:
                continue
            if plain:
                arrive = ready + travel[0, y, here, enter]
            else:
                arrive = leg(travel, phase_from, y, here, enter, ready)[0]
            if arrive < time:
                time, walk = arrive, arrive - ready
        time = max(time, way[OPENS, w]) + spent + more
        if time > way[CLOSES, w]:
            continue
        for n in range(n0, n1):
            if plain:
                arrive = time + travel[0, y, leave, way[ENTER, n]]
            else:
                arrive = leg(travel, phase_from, y, leave, way[ENTER, n], time)[0]
            if arrive > stops[q, last + n - n0]:
                continue
            finish = max(arrive + stops[q, d + n - n0], stops[q, e + n - n0])
            far = walk + arrive - time
            if finish < best or (finish == best and far < walking):
                best, walking = finish, far
    return int(best), int(walking - stops[p, LINK])
