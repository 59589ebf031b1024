"""Walks that take the least time: speed, waits, slow ground and slope together."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from shapely.geometry import LineString, Point

from greaseroute.walk.arrays import Floats, Ints
from greaseroute.walk.links import corner_turns
from greaseroute.walk.no_path import NoPath
from greaseroute.walk.routes import LinkCosts, Routes, find_routes
from greaseroute.walk.sight import Sight, SpotSight, look
from greaseroute.walk.slow_ways import SlowSight, slide_ways
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
    corners, points : (C, 2) and (P, 2) float arrays
        Where walks bend, and the points they were asked for between, moved onto the ground.
    bent : mapping of (i, j) to points
        Walks over slow ground, whose bends are not corners.
    """

    corners: Floats
    points: Floats
    routes: Routes
    sources: Ints
    goals: Ints
    reasons: Reasons
    bent: Mapping[tuple[int, int], Floats] = field(default_factory=dict)

    @property
    def time_s(self) -> Floats:
        """(m, n) seconds."""
        return self.routes.cost

    @property
    def length_m(self) -> Floats:
        """(m, n) metres of the quickest walks."""
        return self.routes.length_m

    def among(self, rows: Ints) -> "Travel":
        """The walks between some of the points alone, where all were walked between."""
        table = np.ix_(rows, rows)
        routes = self.routes
        chosen = Routes(
            routes.cost[table], routes.length_m[table], routes.last[table], routes.trees[rows]
        )
        return replace(self, routes=chosen, sources=self.sources[rows], goals=self.goals[rows])

    def leg(self, i: int, j: int) -> LineString | NoPath:
        """The quickest walk from source i to goal j, or the reason why there is none."""
        a, b = self.points[self.sources[i]], self.points[self.goals[j]]
        if not np.isfinite(self.routes.cost[i, j]):
            return self.reasons(Point(a), Point(b))
        if (i, j) in self.bent:
            return LineString(self.bent[i, j])
        way = self.corners[self.routes.corners(i, j)]
        return LineString(np.concatenate([a[None], way, b[None]]))


@dataclass(frozen=True, slots=True)
class CornerTerms:
    """What links between corners cost beside their length, at any speed: factor and waits."""

    factor: Floats
    wait_s: Floats


def corner_terms(sight: Sight, pace: Pace) -> CornerTerms:
    """Worked out once for a ground, since speed has no part in it."""
    links, place = sight.links, sight.places
    start, end = place[links.tail], place[links.head]
    factor: Floats = pace.face_factor[links.face]
    if pace.slope is not None:
        factor = factor * pace.slope.factor(start, end)
    return CornerTerms(factor, wait_seconds(start, end, pace.waits))


def link_seconds(
    sight: Sight, spots: SpotSight, pace: Pace, *, terms: CornerTerms | None = None
) -> LinkCosts:
    """Time of every link under a pace."""
    terms = terms or corner_terms(sight, pace)
    links, place = sight.links, sight.places
    point = np.repeat(np.arange(len(spots.xy)), np.diff(spots.first))
    here, there = spots.xy[point], place[spots.corner]
    a, b, face = spots.pairs.T
    out = pace.seconds(here, there, face=spots.face)
    symmetric = pace.slope is None
    after, spot_after = links.after, spots.after
    if not symmetric:  # on a slope a way may be quickest and yet slack
        turns = corner_turns(sight.mesh, sight.corners)
        after, spot_after = (turns.all_leaving(links.key, h) for h in (links.head, spots.corner))
    return LinkCosts(
        links.length_m / pace.speed_m_s * terms.factor + terms.wait_s,
        out,
        out if symmetric else pace.seconds(there, here, face=spots.face),
        pace.seconds(spots.xy[a], spots.xy[b], face=face),
        after,
        spot_after,
    )


@dataclass(frozen=True, slots=True)
class Trip:
    """From which points to which, as numbers of the points given; and who explains failures."""

    points: Floats
    sources: Ints
    goals: Ints
    reasons: Reasons
    terms: CornerTerms | None = None


def travel_between(sight: Sight, pace: Pace, trip: Trip) -> Travel:
    """Quickest walks over ground of one kind."""
    return _over(sight, look(sight, trip.points), pace, trip=trip)


def _over(sight: Sight, spots: SpotSight, pace: Pace, *, trip: Trip) -> Travel:
    costs = link_seconds(sight, spots, pace, terms=trip.terms)
    routes = find_routes(
        sight, spots, costs, sources=trip.sources, goals=trip.goals, with_ways=True
    )
    return Travel(sight.places, spots.xy, routes, trip.sources, trip.goals, trip.reasons)


def travel_slow(slow: SlowSight, pace: Pace, trip: Trip) -> Travel:
    """Quickest walks over ground with slow areas, bent at their borders as Snell's law wants."""
    spots = look(slow.sight, trip.points)
    found = _over(slow.sight, spots, pace, trip=trip)
    slid = slide_ways(slow, spots, found.routes, sources=trip.sources, goals=trip.goals)
    way, link = np.nonzero(slid.real)
    start, end = slid.xy[way, link], slid.xy[way, link + 1]
    size = len(slid.pairs)
    spent = pace.seconds(start, end, face=slid.face[way, link])
    time = np.bincount(way, spent, minlength=size)
    length = np.bincount(way, np.hypot(*(end - start).T), minlength=size)
    i, j = slid.pairs.T
    # with waits or slopes a slid way may be the slower one
    better = np.flatnonzero(time <= found.time_s[i, j])
    found.time_s[i[better], j[better]] = time[better]
    found.length_m[i[better], j[better]] = length[better]
    points = 1 + slid.real.sum(axis=1)
    bent = {(int(i[w]), int(j[w])): slid.xy[w, : points[w]] for w in better}
    return replace(found, bent=bent)
