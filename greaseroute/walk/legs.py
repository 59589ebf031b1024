"""Legs by the clock: on ground that is open while it is walked, waiting where it opens.

A leg that ends before the hours change is the quickest walk on the ground of its span. Any other
follows the quickest line of the ground of some span, also of one that is over (its ground may be
open one piece after the other), in pieces that are open or shut together: a
piece is begun only if it stays open until it is left. One waits between two pieces, on ground that
stays open meanwhile, as far along the line as can be reached.

Where no such line can be walked, since the ground of the start is about to shut, one first leaves
it: to another point on the line of now, and from there on the line of a later span.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from greaseroute.solvers.arrays import IntArray
from greaseroute.walk.pieces import Cuts, Piece, pieces_of
from greaseroute.walk.tables import Grounds, Over, Point2, Walks

NEVER = 2**50  # ms: a leg that cannot be walked
MOST_OVER = 8  # points over which one leaves ground that shuts, the quickest ways first


class Wait(NamedTuple):
    """Standing still on the way: where, from when to when (ms)."""

    at_m: Point2
    from_ms: int
    until_ms: int


class Leg(NamedTuple):
    """A leg by the clock: when one sets off and arrives, the span whose line is walked, the waits.

    A wait before setting off lies between the moment asked for and ``depart_ms``; ``waits`` are
    those on the way. ``arrive_ms`` is ``NEVER`` where it cannot be walked. ``over``: the point that
    one passes, and the span whose line is walked from there on.
    """

    depart_ms: int
    arrive_ms: int
    span: int
    waits: tuple[Wait, ...] = ()
    over: Over | None = None

    @property
    def walk_ms(self) -> int:
        """Time on foot, without the waits."""
        waited = sum(w.until_ms - w.from_ms for w in self.waits)
        return self.arrive_ms - self.depart_ms - waited


Span = tuple[int, int]  # from, until (ms)
IMPOSSIBLE = Leg(NEVER, NEVER, 0)


@dataclass(frozen=True, eq=False)
class Legs:
    """Legs between numbered points over spans of hours: ``begins`` (ms) and times (P, P) of each.

    ``walks`` and ``grounds`` draw the lines; without them (one span) none is asked for.
    """

    spans: tuple[tuple[int, IntArray], ...]
    walks: Walks | None = None
    grounds: Grounds = ()
    speed_m_s: float = 1.2

    @cached_property
    def _pieces(self) -> dict[tuple[int, int, int], tuple[Piece, ...]]:
        return {}

    @cached_property
    def _cuts(self) -> dict[int, Cuts]:
        return {}

    @cached_property
    def _begins(self) -> list[int]:
        return [begin for begin, _ in self.spans]

    @cached_property
    def _lines(self) -> list[int]:
        """For each span the first one with the same ground."""
        first: dict[int, int] = {}
        return [first.setdefault(id(g), k) for k, (_, g) in enumerate(self.grounds)]

    def leg(self, a: int, b: int, *, from_ms: int) -> Leg:
        """The leg from point a to b that arrives first, setting off at ``from_ms`` or later."""
        if a == b or from_ms >= NEVER:
            return Leg(from_ms, from_ms, self.span_at(from_ms))
        now = self.span_at(from_ms)
        took = int(self.spans[now][1][a, b])
        if took >= 0 and self._ends_in(now, from_ms + took):
            return Leg(from_ms, from_ms + took, now)
        if self.walks is None:
            return IMPOSSIBLE
        best = IMPOSSIBLE
        for line in dict.fromkeys([*self._lines[now:], *self._lines[:now]]):
            took = int(self.spans[line][1][a, b])
            # Nobody is sooner along a line than without any wait on it.
            if 0 <= took < best.arrive_ms - from_ms:
                leg = self._along(self._pieces_of(a, b, line), line, from_ms=from_ms)
                best = min(best, leg, key=lambda leg: leg.arrive_ms)
        return best if best.arrive_ms < NEVER else self._leaving(a, b, from_ms=from_ms)

    def arrive_ms(self, a: int, b: int, *, from_ms: int) -> int:
        """When the leg from point a to b ends; the same as `leg` tells, asked most often."""
        if a == b or from_ms >= NEVER:
            return from_ms
        now = self.span_at(from_ms)
        took = int(self.spans[now][1][a, b])
        if took >= 0 and self._ends_in(now, from_ms + took):
            return from_ms + took
        return self.leg(a, b, from_ms=from_ms).arrive_ms

    def span_at(self, at_ms: int) -> int:
        """The span of hours of a moment."""
        # Asked half a million times in a round: for one number numpy takes ten times as long.
        return max(0, bisect_right(self._begins, at_ms) - 1)

    def _ends_in(self, span: int, at_ms: int) -> bool:
        return span + 1 == len(self.spans) or at_ms <= self._begins[span + 1]

    def _leaving(self, a: int, b: int, *, from_ms: int) -> Leg:
        """The leg that arrives first of those that leave by the line of now to some other point,
        and go on from there by the line of a later span."""
        now, best = self.span_at(from_ms), IMPOSSIBLE
        line, later = self._lines[now], dict.fromkeys(self._lines[now + 1 :])
        for onward in (k for k in later if k != line):
            there, on = self.spans[line][1][a], self.spans[onward][1][:, b]
            joined = np.flatnonzero((there > 0) & (on > 0))
            took = (there + on)[joined]
            for number in np.argsort(took, kind="stable")[:MOST_OVER].tolist():
                over = Over(int(joined[number]), onward)
                if int(took[number]) < best.arrive_ms - from_ms:
                    pieces = self._pieces_over(a, b, line, over=over)
                    leg = self._along(pieces, line, from_ms=from_ms)._replace(over=over)
                    best = min(best, leg, key=lambda leg: leg.arrive_ms)
        return best

    def _pieces_over(self, a: int, b: int, line: int, *, over: Over) -> tuple[Piece, ...]:
        """The pieces of a line up to a point, and of another one from there on."""
        first = self._pieces_of(a, over.point, line)
        ms = first[-1].end_ms
        return first + tuple(
            p._replace(begin_ms=p.begin_ms + ms, end_ms=p.end_ms + ms)
            for p in self._pieces_of(over.point, b, over.span)
        )

    def _along(self, pieces: Sequence[Piece], line: int, *, from_ms: int) -> Leg:
        """The leg along a line in pieces, begun on the ground of a span."""
        times = _times(pieces, self._begins, from_ms=from_ms)
        if times is None:
            return IMPOSSIBLE
        waits = [
            Wait(p.begin_m, arrive, leave)
            for p, (arrive, leave) in zip(pieces, times, strict=True)
            if leave > arrive
        ]
        depart = times[0][1]
        arrive = times[-1][1] + pieces[-1].end_ms - pieces[-1].begin_ms
        return Leg(depart, arrive, line, tuple(w for w in waits if w.until_ms > depart))

    def _pieces_of(self, a: int, b: int, line: int) -> tuple[Piece, ...]:
        key = (a, b, line)
        if key not in self._pieces:
            assert self.walks is not None
            took = int(self.spans[line][1][a, b])
            walked = self.walks.line(a, b, span=line)
            self._pieces[key] = pieces_of(walked, self._cuts_on(line), took_ms=took)
        return self._pieces[key]

    def _cuts_on(self, line: int) -> Cuts:
        if line not in self._cuts:
            self._cuts[line] = Cuts([g for _, g in self.grounds], line, self.speed_m_s)
        return self._cuts[line]


def _times(
    pieces: Sequence[Piece], begins: Sequence[int], *, from_ms: int
) -> list[tuple[int, int]] | None:
    """(arrive, leave) at the begin of each piece, for the earliest end; None where none can be."""
    reach: list[list[tuple[int, int]]] = []
    here = [(from_ms, from_ms)]
    for number, piece in enumerate(pieces):
        before = pieces[number - 1] if number else piece
        runs = _runs([x or y for x, y in zip(before.is_open, piece.is_open, strict=True)], begins)
        here = _waited(here, runs)
        reach.append(here)
        long = piece.end_ms - piece.begin_ms
        here = [
            (max(lo, first) + long, min(hi, last - long) + long)
            for lo, hi in here
            for first, last in _runs(piece.is_open, begins)
            if max(lo, first) <= min(hi, last - long)
        ]
        if not here:
            return None
    goal = min(lo for lo, _ in here)
    return _backwards(pieces, reach, goal)


def _backwards(
    pieces: Sequence[Piece], reach: Sequence[Sequence[tuple[int, int]]], goal: int
) -> list[tuple[int, int]]:
    """The same from the end on: at each begin of a piece the earliest arrival that may wait."""
    times = []
    for piece, spans in zip(reversed(pieces), reversed(reach), strict=True):
        leave = goal - (piece.end_ms - piece.begin_ms)
        goal = max(lo for lo, hi in spans if lo <= leave <= hi)
        times.append((goal, leave))
    return times[::-1]


def _waited(here: Sequence[Span], runs: Sequence[Span]) -> list[Span]:
    """Moments at which one can be somewhere, waiting from any arrival while it stays open."""
    found = []
    for lo, hi in here:
        ends = [last for first, last in runs if first <= hi <= last]
        found.append((lo, max([hi, *ends])))
    return found


def _runs(is_open: Sequence[bool], begins: Sequence[int]) -> list[tuple[int, int]]:
    """Stretches of time through which something is open."""
    found: list[tuple[int, int]] = []
    ends = [*begins[1:], 4 * NEVER]
    for k, free in enumerate(is_open):
        begin = begins[k] if k else -NEVER
        if free and found and found[-1][1] == begin:
            found[-1] = (found[-1][0], ends[k])
        elif free:
            found.append((begin, ends[k]))
    return found
