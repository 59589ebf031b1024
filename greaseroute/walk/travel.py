"""Walks that take the least time: speed, waits, slow ground and slope together."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from shapely.geometry import LineString, Point

from greaseroute.walk.arrays import Floats, Ints
from greaseroute.walk.links import all_of, corner_turns
from greaseroute.walk.no_path import NoPath
from greaseroute.walk.routes import LinkCosts, Routes, find_routes
from greaseroute.walk.sight import Sight, SpotSight, look
from greaseroute.walk.waits import WaitLine, wait_seconds


class Slope(Protocol):
    """Mean time factor of straight lines, from (n, 2) to (n, 2) points."""

    def factor(self, start: Floats, end: Floats) -> Floats:
        """Time over the time on the level, for each line."""
        ...


@dataclass(frozen=True, slots=True)
class Pace:
    """How time passes: metres per second on plain level ground, and what lengthens it.

    ``face_factor`` multiplies the time on each piece of ground (>= 1, 1 for plain ground).
    """

    speed_m_s: float
    face_factor: Floats
    waits: tuple[WaitLine, ...] = ()
    slope: Slope | None = None

    def seconds(self, start: Floats, end: Floats, *, face: Ints) -> Floats:
        """Time of straight links on one face each."""
        time: Floats = np.hypot(*(end - start).T) / self.speed_m_s * self.face_factor[face]
        if self.slope is not None:
            time = time * self.slope.factor(start, end)
        return time + wait_seconds(start, end, self.waits) if self.waits else time


class Reasons(Protocol):
    """Where the reason for a missing way comes from."""

    def __call__(self, a: Point, b: Point) -> NoPath:
        """Why one cannot walk from a to b."""
        ...


@dataclass(frozen=True)
class Travel:
    """Quickest walks between points.

    Attributes
    ----------
    time_s, length_m : (m, n) float arrays
        Seconds, and the metres of the same walk; infinity where there is no way.
    """

    sight: Sight
    spots: SpotSight
    routes: Routes
    sources: Ints
    goals: Ints
    reasons: Reasons

    @property
    def time_s(self) -> Floats:
        """(m, n) seconds."""
        return self.routes.cost

    @property
    def length_m(self) -> Floats:
        """(m, n) metres of the quickest walks."""
        return self.routes.length_m

    def leg(self, i: int, j: int) -> LineString | NoPath:
        """The quickest walk from source i to goal j, or the reason why there is none."""
        a, b = self.spots.xy[self.sources[i]], self.spots.xy[self.goals[j]]
        if not np.isfinite(self.routes.cost[i, j]):
            return self.reasons(Point(a), Point(b))
        way = self.sight.places[self.routes.corners(i, j)]
        return LineString(np.concatenate([a[None], way, b[None]]))


def link_seconds(sight: Sight, spots: SpotSight, pace: Pace) -> LinkCosts:
    """Time of every link under a pace."""
    links, place = sight.links, sight.places
    point = np.repeat(np.arange(len(spots.xy)), np.diff(spots.first))
    here, there = spots.xy[point], place[spots.corner]
    a, b, face = spots.pairs.T
    out = pace.seconds(here, there, face=spots.face)
    symmetric = pace.slope is None
    after, spot_after = links.after, spots.after
    if not symmetric:  # on a slope a way may be quickest and yet slack
        turns = corner_turns(sight.mesh, sight.corners)
        after, spot_after = (all_of(turns, links.key, h) for h in (links.head, spots.corner))
    return LinkCosts(
        pace.seconds(place[links.tail], place[links.head], face=links.face),
        out,
        out if symmetric else pace.seconds(there, here, face=spots.face),
        pace.seconds(spots.xy[a], spots.xy[b], face=face),
        after,
        spot_after,
    )


def travel_between(
    sight: Sight, pace: Pace, points: Floats, *, sources: Sequence[int] | Ints,
    goals: Sequence[int] | Ints, reasons: Reasons,
) -> Travel:  # fmt: skip
    """Quickest walks from some of (n, 2) points to others, by their numbers."""
    spots = look(sight, points)
    start, goal = np.asarray(sources, np.int64), np.asarray(goals, np.int64)
    costs = link_seconds(sight, spots, pace)
    routes = find_routes(sight, spots, costs, sources=start, goals=goal, with_ways=True)
    return Travel(sight, spots, routes, start, goal, reasons)
