"""Compiled: the routes of all technicians, units put in and taken out, and steps undone.

``stops`` is as in ``route``; ``tech`` has one column per technician. Before a row of ``stops`` is
changed for the first time within a step it is copied into ``undo``: a step that is not accepted is
taken back in the time it took.
"""

# Argument lists stay in rows: one argument a line would hide the code.
# fmt: off

from typing import NamedTuple

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.compiled import inner_njit
from greaseroute.solvers.vrp.kernels.route import (
    AFTER,
    BACK,
    BEFORE,
    CHANGE,
    HOLDER,
    LABELS,
    LEVEL,
    LINK,
    STAMP,
    backward,
    backward_clock,
    forward,
    forward_clock,
    link,
)
from greaseroute.solvers.vrp.layout import (
    CLOSES,
    FIRST_WAY,
    STROKES,
    UNIT,
    WALKER,
    Instance,
)

# Rows of ``tech``: finish (ms), time of cartridge changes in it, walking time (with a clock only),
# units that follow another than before, cartridges put in, 1 if changed in this step, number of
# stores visited, 1 if the technician can reach the finish at all; strokes of gun kind g of all its
# units are in row PUMPED + g. The lower half are copies from before the step.
FINISH, CHANGING, WALKED, MOVED, USED, DIRTY, STORES, TAKES_PART, PUMPED = 0, 1, 2, 3, 4, 5, 6, 7, 8
# ``marks``: number of this step, rows in ``undo``, number of this search for a place, 1 if windows
# or hours matter, 1 if cartridges do.
STEP, LOGGED, LOOK, CLOCK, CARTRIDGES, MARKS = 0, 1, 2, 3, 4, 5


class State(NamedTuple):
    """The routes of all technicians and what it needs to take a step back.

    ``stops`` (stops, columns), ``tech`` (2 * (PUMPED + G), T), ``undo`` (stops, 1 + columns) number
    and former row of each stop changed in this step, ``marks`` (MARKS,).
    """

    stops: IntArray
    tech: IntArray
    undo: IntArray
    marks: IntArray


@inner_njit
def remember(stops: IntArray, undo: IntArray, marks: IntArray, stop: int) -> None:
    """Copy a stop's row before it is changed for the first time in this step."""
    if stops[stop, STAMP] == marks[STEP]:
        return
    row = marks[LOGGED]
    undo[row, 0] = stop
    for column in range(stops.shape[1]):
        undo[row, 1 + column] = stops[stop, column]
    marks[LOGGED] = row + 1
    stops[stop, STAMP] = marks[STEP]


@inner_njit
def begin_step(s: State) -> None:
    """From here on changes can be taken back."""
    s.marks[STEP] += 1
    s.marks[LOGGED] = 0
    half = s.tech.shape[0] // 2
    for t in range(s.tech.shape[1]):
        s.tech[DIRTY, t] = 0
        for row in range(half):
            s.tech[half + row, t] = s.tech[row, t]


@inner_njit
def take_back(s: State) -> None:
    """Make the routes what they were when the step began."""
    for row in range(s.marks[LOGGED]):
        stop = s.undo[row, 0]
        for column in range(s.stops.shape[1]):
            s.stops[stop, column] = s.undo[row, 1 + column]
    half = s.tech.shape[0] // 2
    for t in range(s.tech.shape[1]):
        for row in range(half):
            s.tech[row, t] = s.tech[half + row, t]


@inner_njit
def update(inst: Instance, s: State, most: int, t: int, head: int, tail: int) -> None:
    """Bring labels up to date after the stops from ``head`` to ``tail`` got new neighbours.

    Forward from ``head`` at least to the stop after ``tail``, back from ``tail`` at least to the
    stop before ``head``, and on in both directions until nothing changes any more.
    """
    if s.marks[CLOCK] == 1:
        update_clock(inst, s, most, t, head, tail)
        return
    stops, y = s.stops, inst.crew[t, WALKER]
    last, stop = stops[tail, AFTER], head
    certain = True
    while True:
        remember(stops, s.undo, s.marks, stop)
        moved = forward(inst.travel, inst.way, inst.level, stops, most, y, t, stop)
        certain = certain and stop != last
        if stops[stop, AFTER] < 0 or not (moved or certain):
            break
        stop = stops[stop, AFTER]
    end, first, stop, certain = stop, stops[head, BEFORE], tail, True
    while True:
        remember(stops, s.undo, s.marks, stop)
        moved = backward(inst.travel, inst.way, inst.level, stops, most, y, t, stop)
        certain = certain and stop != first
        if stops[stop, BEFORE] < 0 or not (moved or certain):
            break
        stop = stops[stop, BEFORE]
    if stops[stop, BEFORE] >= 0:
        stop = stops[stop, BEFORE]
        remember(stops, s.undo, s.marks, stop)
    if stops[end, AFTER] >= 0:
        end = stops[end, AFTER]
    while stop != end:
        after = stops[stop, AFTER]
        stops[stop, LINK] = link(
            inst.travel, inst.way, inst.level, stops, most, y, stop, after
        )
        stop = after


@inner_njit
def update_clock(inst: Instance, s: State, most: int, t: int, head: int, tail: int) -> None:
    """The same with a clock: forward until times meet again, then the tails of all before that."""
    stops, y = s.stops, inst.crew[t, WALKER]
    last, stop, certain = stops[tail, AFTER], head, True
    while True:
        remember(stops, s.undo, s.marks, stop)
        moved = forward_clock(
            inst.travel, inst.way, inst.level, inst.phase_from, stops, most, y, t, stop
        )
        certain = certain and stop != last
        if stops[stop, AFTER] < 0 or not (moved or certain):
            break
        stop = stops[stop, AFTER]
    if stops[stop, AFTER] < 0:
        s.tech[FINISH, t] = stops[stop, LABELS]
        s.tech[WALKED, t] = stops[stop, LABELS + 4 * most]
        stop = stops[stop, BEFORE]
    first, certain = stops[head, BEFORE], True
    while True:
        remember(stops, s.undo, s.marks, stop)
        moved = backward_clock(
            inst.travel, inst.way, inst.level, inst.phase_from, stops, most, y, t, stop
        )
        certain = certain and stop != first
        if stops[stop, BEFORE] < 0 or not (moved or certain):
            break
        stop = stops[stop, BEFORE]


@inner_njit
def unlink(inst: Instance, s: State, most: int, stop: int) -> None:
    """Take a unit or a store out of its route; labels beside it are left as they are."""
    stops, t = s.stops, s.stops[stop, HOLDER]
    p, q, level = stops[stop, BEFORE], stops[stop, AFTER], stops[stop, LEVEL]
    for one in (p, stop, q):
        remember(stops, s.undo, s.marks, one)
    if s.marks[CLOCK] == 0:
        straight = link(inst.travel, inst.way, inst.level, stops, most, inst.crew[t, WALKER], p, q)
        s.tech[FINISH, t] += straight - stops[p, LINK] - stops[stop, BACK]
    stops[p, AFTER], stops[q, BEFORE] = q, p
    stops[stop, HOLDER] = -1
    s.tech[DIRTY, t] = 1
    if inst.level[level, UNIT] >= 0:
        for gun in range(inst.level.shape[1] - STROKES):
            s.tech[PUMPED + gun, t] -= inst.level[level, STROKES + gun]
    else:
        s.tech[STORES, t] -= 1


@inner_njit
def take_out(inst: Instance, s: State, most: int, stop: int) -> None:
    """Take a unit or a store out of its route."""
    t, p, q = s.stops[stop, HOLDER], s.stops[stop, BEFORE], s.stops[stop, AFTER]
    unlink(inst, s, most, stop)
    update(inst, s, most, t, q, p)


@inner_njit
def put_in(
    inst: Instance, s: State, most: int, stop: int, level: int, t: int, p: int, later: int
) -> None:
    """Put a unit or a store at a level into the route of t after stop p.

    ``later`` is what ``price`` says of it; it is not needed with a clock.
    """
    stops, q = s.stops, s.stops[p, AFTER]
    for one in (p, stop, q):
        remember(stops, s.undo, s.marks, one)
    stops[stop, BEFORE], stops[stop, AFTER] = p, q
    stops[p, AFTER], stops[q, BEFORE] = stop, stop
    stops[stop, HOLDER], stops[stop, LEVEL], stops[stop, CHANGE] = t, level, 0
    s.tech[DIRTY, t] = 1
    if s.marks[CLOCK] == 0:
        s.tech[FINISH, t] += later
    if inst.level[level, UNIT] >= 0:
        for gun in range(inst.level.shape[1] - STROKES):
            s.tech[PUMPED + gun, t] += inst.level[level, STROKES + gun]
    else:
        s.tech[STORES, t] += 1
    update(inst, s, most, t, stop, stop)


@inner_njit
def is_feasible(inst: Instance, s: State, t: int) -> bool:
    """Whether the technician is at the finish before the end of the shift."""
    finish = inst.level[inst.level.shape[0] - inst.crew.shape[0] + t, FIRST_WAY]
    return bool(s.tech[FINISH, t] <= min(inst.way[CLOSES, finish], FAR - 1))
