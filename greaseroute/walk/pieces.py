"""A line walked over one ground, cut where it passes what is shut at other hours."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from greaseroute.walk.arrays import Floats
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.shapes import clip
from greaseroute.walk.slow import SlowArea
from greaseroute.walk.tables import Point2
from greaseroute.walk.waits import wait_seconds

ON_EDGE_M = 1e-5  # a line along the edge of free ground lies on it, whatever the rounding
NO_PIECE_M = 1e-4  # pieces shorter than this are joined to the one before


class Piece(NamedTuple):
    """A part of a line: when it begins and ends (ms from the line's start), where it begins, and
    for each span of hours whether it is open."""

    begin_ms: int
    end_ms: int
    begin_m: Point2
    is_open: tuple[bool, ...]


@dataclass(frozen=True, eq=False)
class Cuts:
    """What cuts lines of the ground numbered ``line`` of ``grounds``, one ground for each span."""

    grounds: Sequence[FreeGround]
    line: int
    speed_m_s: float

    @property
    def ground(self) -> FreeGround:
        """The ground on which the lines are the quickest."""
        return self.grounds[self.line]

    @cached_property
    def others(self) -> Mapping[int, tuple[FreeGround, BaseGeometry]]:
        """The other grounds by their identity, each with all that is shut there and not here.

        A hair wider than it is: what lies off it is open on both, whatever the rounding.
        """
        mine, found = self.ground, {}
        shut_here = {closed.kept_off for closed in mine.closed}
        for other in (g for g in self.grounds if g is not mine):
            if id(other) not in found:
                shut = [c.kept_off for c in other.closed if c.kept_off not in shut_here]
                shut.append(mine.boundary.difference(other.boundary))
                only_there = shapely.union_all(shut).buffer(2 * ON_EDGE_M)
                shapely.prepare(only_there)
                found[id(other)] = other, only_there
        return found

    def met(self, line: Sequence[Point2]) -> dict[int, "_Met"]:
        """Of the others those on which the line meets something shut, by their identity."""
        low, high = np.min(line, axis=0) - 1.0, np.max(line, axis=0) + 1.0
        whole, box = LineString(line), (*low.tolist(), *high.tolist())
        return {
            number: _Met(shut, clip(other.free, box).buffer(ON_EDGE_M))
            for number, (other, shut) in self.others.items()
            if shut.intersects(whole)
        }

    def seconds(self, begin: Point2, end: Point2) -> float:
        """Time of a straight part: slow ground, slope, waits of crossings."""
        part = LineString([begin, end])
        slow = [area for area in self.ground.slow if area.shape.intersects(part)]
        ends = np.asarray(_ends(begin, end, [area.shape for area in slow]))
        a, b = ends[:-1], ends[1:]
        time_s = np.hypot(*(b - a).T) / self.speed_m_s * _factor(slow, (a + b) / 2)
        if self.ground.slope is not None:
            time_s = time_s * self.ground.slope.factor(a, b)
        return float(time_s.sum() + wait_seconds(a, b, self.ground.waits).sum())


class _Met(NamedTuple):
    """What is shut on another ground, and its free ground near a line, a hair wider."""

    shut: BaseGeometry
    free: BaseGeometry


def _factor(slow: Sequence[SlowArea], middles: Floats) -> Floats:
    """The time factor at (n, 2) points: of the slowest area, on a border of the better side."""
    factor, here = np.ones(len(middles)), shapely.points(middles)
    for area in slow:
        inside = shapely.contains(area.shape, here)
        inside &= shapely.distance(shapely.boundary(area.shape), here) > ON_EDGE_M
        factor[inside] = np.maximum(factor[inside], area.time_factor)
    return factor


def pieces_of(line: Sequence[Point2], cuts: Cuts, *, took_ms: int) -> tuple[Piece, ...]:
    """A line that takes ``took_ms`` in pieces, each open or shut as a whole in each span.

    A line that meets nothing shut at another hour is one piece.
    """
    met = cuts.met(line)
    if not met:
        return (Piece(0, took_ms, line[0], (True,) * len(cuts.grounds)),)
    parts: list[tuple[Point2, float, tuple[bool, ...]]] = []
    for begin, end in pairwise(line):
        part = LineString([begin, end])
        here = {k: other.free for k, other in met.items() if other.shut.intersects(part)}
        for a, b in pairwise(_ends(begin, end, list(here.values()))):
            middle = shapely.Point((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
            shut = {k for k, free in here.items() if not shapely.intersects(free, middle)}
            is_open = tuple(id(ground) not in shut for ground in cuts.grounds)
            parts.append((a, cuts.seconds(a, b), is_open))
    return _joined(parts, took_ms)


def _ends(begin: Point2, end: Point2, grounds: Sequence[BaseGeometry]) -> list[Point2]:
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
