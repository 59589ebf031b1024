"""Legs by the clock: on ground that is open while it is walked, waiting where it opens.

A leg that ends before the hours change is the quickest walk on the ground of its span. Any other
follows the quickest line of the ground of some span, in pieces that are open or shut together: a
piece is begun only if it stays open until it is left. One waits between two pieces, on ground that
stays open meanwhile, as far along the line as can be reached.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from greaseroute.solvers.arrays import IntArray
from greaseroute.walk.arrays import Floats
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.shapes import clip
from greaseroute.walk.tables import Grounds, Point2, Walks
from greaseroute.walk.waits import wait_seconds

NEVER = 2**50  # ms: a leg that cannot be walked
ON_EDGE_M = 1e-5  # a line along the edge of free ground lies on it, whatever the rounding
NO_PIECE_M = 1e-4  # pieces shorter than this are joined to the one before


class Piece(NamedTuple):
    """A part of a line: when it begins and ends (ms from the line's start), where it begins, and
    for each span of hours whether it is open."""

    begin_ms: int
    end_ms: int
    begin_m: Point2
    is_open: tuple[bool, ...]


class Wait(NamedTuple):
    """Standing still on the way: where, from when to when (ms)."""

    at_m: Point2
    from_ms: int
    until_ms: int


class Leg(NamedTuple):
    """A leg by the clock: when one sets off and arrives, the span whose line is walked, the waits.

    A wait before setting off lies between the moment asked for and ``depart_ms``; ``waits`` are
    those on the way. ``arrive_ms`` is ``NEVER`` where it cannot be walked.
    """

    depart_ms: int
    arrive_ms: int
    span: int
    waits: tuple[Wait, ...] = ()

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
        lines = dict.fromkeys(self._lines[k] for k in range(now, len(self.spans)))
        found = [self._along(a, b, line, from_ms=from_ms) for line in lines]
        return min(found, key=lambda leg: leg.arrive_ms)

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

    def _along(self, a: int, b: int, line: int, *, from_ms: int) -> Leg:
        """The leg along the quickest line of one span's ground."""
        if int(self.spans[line][1][a, b]) < 0:
            return IMPOSSIBLE
        pieces = self._pieces_of(a, b, line)
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
            free = [ground.free for _, ground in self.grounds]
            took = int(self.spans[line][1][a, b])
            walked = self.walks.line(a, b, span=line)
            ground = self.grounds[line][1]
            pace = _Pace(ground, self.speed_m_s)
            self._pieces[key] = pieces_of(walked, free, took_ms=took, pace=pace)
        return self._pieces[key]


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


@dataclass(frozen=True, slots=True)
class _Pace:
    """How long parts of a line take on one ground, up to a common factor."""

    ground: FreeGround
    speed_m_s: float

    def seconds(self, begin: Point2, end: Point2) -> float:
        """Time of a straight part: slow ground, slope, waits of crossings."""
        ends = np.asarray(_cut(begin, end, [area.shape for area in self.ground.slow]))
        a, b = ends[:-1], ends[1:]
        time_s = np.hypot(*(b - a).T) / self.speed_m_s * self._slow((a + b) / 2)
        if self.ground.slope is not None:
            time_s = time_s * self.ground.slope.factor(a, b)
        return float(time_s.sum() + wait_seconds(a, b, self.ground.waits).sum())

    def _slow(self, middles: Floats) -> Floats:
        """The time factor at (n, 2) points: of the slowest area, on a border of the better side."""
        factor, here = np.ones(len(middles)), shapely.points(middles)
        for area in self.ground.slow:
            inside = shapely.contains(area.shape, here)
            inside &= shapely.distance(shapely.boundary(area.shape), here) > ON_EDGE_M
            factor[inside] = np.maximum(factor[inside], area.time_factor)
        return factor


def pieces_of(
    line: Sequence[Point2], free: Sequence[BaseGeometry], *, took_ms: int, pace: _Pace
) -> tuple[Piece, ...]:
    """A line that takes ``took_ms`` in pieces, each open or shut as a whole in each span."""
    low_x, low_y = np.min(line, axis=0) - 1.0
    high_x, high_y = np.max(line, axis=0) + 1.0
    local = [
        clip(f, (low_x, low_y, high_x, high_y)).buffer(ON_EDGE_M)
        for f in {id(f): f for f in free}.values()
    ]
    rows = [list({id(f): None for f in free}).index(id(f)) for f in free]
    parts: list[tuple[Point2, float, tuple[bool, ...]]] = []
    for begin, end in pairwise(line):
        for a, b in pairwise(_cut(begin, end, local)):
            middle = shapely.Point((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
            covers = [bool(shapely.intersects(g, middle)) for g in local]
            parts.append((a, pace.seconds(a, b), tuple(covers[r] for r in rows)))
    return _joined(parts, took_ms)


def _cut(begin: Point2, end: Point2, grounds: Sequence[BaseGeometry]) -> list[Point2]:
    """The ends of a straight part and where it passes an edge of one of the grounds, in order."""
    part = LineString([begin, end])
    shares = {0.0, 1.0}
    for ground in grounds:
        for at in shapely.get_coordinates(part.difference(ground)):
            away = float(np.hypot(*(at - np.asarray(begin))))
            if NO_PIECE_M < away < part.length - NO_PIECE_M:
                shares.add(away / part.length)
    a, run = np.asarray(begin), np.asarray(end) - np.asarray(begin)
    points = [a + share * run for share in sorted(shares)]
    return [(float(x), float(y)) for x, y in points]


def _joined(
    parts: Sequence[tuple[Point2, float, tuple[bool, ...]]], took_ms: int
) -> tuple[Piece, ...]:
    """Neighbours that are open at the same hours as one piece; times stretched to ``took_ms``."""
    total_s = sum(seconds for _, seconds, _ in parts)
    scale = took_ms / total_s if total_s else 0.0
    found: list[Piece] = []
    spent_s = 0.0
    for at, seconds, is_open in parts:
        begin_ms = round(spent_s * scale)
        spent_s += seconds
        end_ms = round(spent_s * scale)
        if found and found[-1].is_open == is_open:
            found[-1] = found[-1]._replace(end_ms=end_ms)
        else:
            found.append(Piece(begin_ms, end_ms, at, is_open))
    return tuple(found) or (Piece(0, took_ms, (0.0, 0.0), ()),)
