"""The free ground of a site, and exact shortest walks over it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import replace
from functools import cached_property, partial

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from greaseroute.errors import UnfitProblem, UnknownName
from greaseroute.walk.arrays import Flags, Floats
from greaseroute.walk.changes import Change, changed_sight
from greaseroute.walk.mesh import build_mesh
from greaseroute.walk.no_path import NoPath, why_no_path
from greaseroute.walk.obstacles import Closing, as_points, close, free_ground, mend_boundary
from greaseroute.walk.routes import find_routes, plain_costs
from greaseroute.walk.sight import Sight, build_sight, locate, look
from greaseroute.walk.slope import Slopes
from greaseroute.walk.slow import SlowArea
from greaseroute.walk.slow_ways import SlowSight, slow_sight
from greaseroute.walk.travel import (
    CornerTerms,
    Pace,
    Travel,
    Trip,
    corner_terms,
    travel_between,
    travel_slow,
)
from greaseroute.walk.waits import WaitLine

DERIVED = ("free", "sight", "slow_sight", "_corner_terms")


class FreeGround:
    """The boundary less everything closed, as a closed set: its edges may be walked along.

    Parameters
    ----------
    boundary : shapely Polygon or MultiPolygon
    obstacles : sequence of shapely polygons, or lines (barriers, closed 1 mm to either side)
    clearance_m : float
        Everything but the boundary is kept off by this much. Round a corner two chords outside
        the true arc stand for it: a path keeps the clearance, and is held off by 8 % of it more
        at a square corner, 41 % at most at a needle's point.
        Paths are exact for this polygonal ground.
    names : sequence of str, optional
        One for each obstacle, for messages.
    waits : sequence of WaitLine
        Lines across crossings; ``travel`` adds a wait each time a walk passes one.
    slow : sequence of SlowArea
        Ground on which time is multiplied; ``travel`` bends walks at its borders.
    heights : sequence of (x_m, y_m, z_m), optional
        Spot heights; ``travel`` then takes Tobler's time on the slopes between them.
    speed_m_s : float
        Walking speed on plain level ground, where ``travel`` is not given another.
    closing : callable
        `close`, or the same with a memory where several grounds share their obstacles.

    Raises
    ------
    UnfitProblem
        A shape that is empty, not finite or without area, with its name. Self-crossing shapes
        close all they wind round and are told in ``mended``.

    Notes
    -----
    Shapes that touch (nearer than 1e-6 m) leave no gap. Exact: a visibility graph of tangent links
    between corners, each decided by exact orientation tests.
    """

    def __init__(
        self,
        boundary: BaseGeometry,
        obstacles: Sequence[BaseGeometry],
        clearance_m: float = 0.0,
        *,
        names: Sequence[str] | None = None,
        waits: Sequence[WaitLine] = (),
        slow: Sequence[SlowArea] = (),
        heights: Sequence[tuple[float, float, float]] | None = None,
        speed_m_s: float = 1.2,
        closing: Closing = close,
    ) -> None:
        names = names or [f"obstacle {i}" for i in range(len(obstacles))]
        if len(names) != len(obstacles):
            raise UnfitProblem(
                "names", f"{len(names)} names for {len(obstacles)} obstacles",
                limit="one name for each obstacle", next_step="give as many names",
            )  # fmt: skip
        if not 0 <= clearance_m < np.inf:
            raise UnfitProblem(
                "clearance_m", f"{clearance_m}", limit="0 or more metres", next_step="mend it"
            )
        self.boundary = mend_boundary(boundary)
        self.clearance_m = clearance_m
        self.closed = tuple(
            closing(n, o, clearance_m) for n, o in zip(names, obstacles, strict=True)
        )
        self.waits = tuple(waits)
        self.slow = tuple(slow)
        self.slope = Slopes(heights) if heights is not None and len(heights) else None
        self.speed_m_s = speed_m_s
        self.mended = tuple(c.mended for c in self.closed if c.mended)

    def __getstate__(self) -> dict[str, object]:
        """What a copy takes over: all but what is worked out from it, and can be again."""
        return {name: value for name, value in vars(self).items() if name not in DERIVED}

    @cached_property
    def free(self) -> BaseGeometry:
        """The free ground as a shapely Polygon or MultiPolygon, a closed set."""
        return free_ground(self.boundary, [c.kept_off for c in self.closed])

    @cached_property
    def sight(self) -> Sight:
        """The visibility graph behind the paths."""
        return build_sight(build_mesh([self.free]))

    @cached_property
    def slow_sight(self) -> SlowSight:
        """The same over ground cut at the borders of slow areas; needs ``slow``."""
        return slow_sight(self.free, self.slow)

    def with_changes(
        self, *, removed: Iterable[str] = (), added: Mapping[str, BaseGeometry] | None = None
    ) -> FreeGround:
        """The ground with some named obstacles taken away and others put in.

        A new ground; this one stays as it is. Only what the changes touch is worked out again.

        Raises
        ------
        UnknownName
            A name to remove that nothing carries.
        UnfitProblem
            As for the ground itself.
        """
        names = set(removed)
        unknown = names - {c.name for c in self.closed}
        if unknown:
            raise UnknownName(
                "obstacle to remove", repr(min(unknown)), limit="a name of this ground",
                next_step="mend the name",
            )  # fmt: skip
        kept = [c for c in self.closed if c.name not in names]
        new = [close(n, shape, self.clearance_m) for n, shape in (added or {}).items()]
        out = copy(self)
        out.closed = (*kept, *new)
        out.mended = tuple(c.mended for c in out.closed if c.mended)
        gone = [c.kept_off for c in self.closed if c.name in names]
        if "sight" in vars(self) and (gone or new):
            change = Change(
                self.boundary, gone, [c.kept_off for c in new], [c.kept_off for c in out.closed]
            )
            sight = changed_sight(self.sight, change)
            if sight is not None:
                vars(out)["sight"] = sight
        return out

    def is_free(self, points: object) -> Flags:
        """Whether each of (n, 2) points lies on free ground or within 1e-6 m of its edge."""
        xy = as_points(points)
        out = np.zeros(len(xy), bool)
        out[locate(self.sight, xy)[1][:, 0]] = True
        return out

    def distances_m(self, points: object) -> Floats:
        """Shortest walks between all of (n, 2) points, as an (n, n) array of metres.

        Infinity where there is no path, or a point is not on free ground (the whole row and
        column, its diagonal included).
        """
        xy = as_points(points)
        every = np.arange(len(xy))
        spots = look(self.sight, xy)
        costs = plain_costs(self.sight, spots)
        return find_routes(self.sight, spots, costs, sources=every, goals=every).cost

    def distances_between_m(self, sources: object, goals: object) -> Floats:
        """Shortest walks from (m, 2) to (n, 2) points as an (m, n) array of metres."""
        a, b = as_points(sources), as_points(goals)
        spots = look(self.sight, np.concatenate([a, b]))
        costs = plain_costs(self.sight, spots)
        number = np.arange(len(a) + len(b))
        return find_routes(
            self.sight, spots, costs, sources=number[: len(a)], goals=number[len(a) :]
        ).cost

    def path(self, a: object, b: object) -> LineString | NoPath:
        """The shortest walk from point a to point b, or the reason why there is none."""
        xy = as_points([_pair(a), _pair(b)])
        trip = Trip(xy, np.array([0]), np.array([1]), partial(why_no_path, self))
        return travel_between(self.sight, Pace(1.0, np.ones(1)), trip).leg(0, 0)

    def travel(
        self,
        points: object,
        *,
        speed_m_s: float | None = None,
        goals: object = None,
        slide: bool = True,
    ) -> Travel:
        """Quickest walks between all of (n, 2) points, or from them to other ``goals``.

        Time is minimised: metres over ``speed_m_s``, times the factor of slow ground and of the
        slope, and the waits of the crossings passed.
        ``Travel.time_s`` and ``.length_m`` belong to the same walks, ``.leg(i, j)`` draws one.

        ``slide`` moves the points at which each walk passes a border of slow ground until Snell's
        law holds there. Without it walks pass at the border points alone: a fraction of a second
        longer (measured 0.03 % on average), far quicker for big tables, and the times then obey
        the triangle inequality to the last digit.
        """
        speed = self.speed_m_s if speed_m_s is None else speed_m_s
        if not speed > 0:
            raise UnfitProblem(
                "speed_m_s", f"{speed}", limit="above 0 m/s", next_step="give a walking speed"
            )
        start = as_points(points)
        end = start if goals is None else as_points(goals)
        xy = start if goals is None else np.concatenate([start, end])
        ends = np.arange(len(end)) + len(xy) - len(end)
        pace = replace(self._pace, speed_m_s=speed)
        reasons = partial(why_no_path, self)
        trip = Trip(xy, np.arange(len(start)), ends, reasons, self._corner_terms)
        if self._is_slow and slide:
            return travel_slow(self.slow_sight, pace, trip)
        return travel_between(self._travel_sight, pace, trip)

    def look_round(self) -> None:
        """Work out what every walk over this ground needs, before the first one asks for it."""
        _ = self._corner_terms

    @property
    def _is_slow(self) -> bool:
        return any(area.time_factor > 1 for area in self.slow)

    @property
    def _travel_sight(self) -> Sight:
        return self.slow_sight.sight if self._is_slow else self.sight

    @property
    def _pace(self) -> Pace:
        factor = self.slow_sight.faces.factor if self._is_slow else np.ones(1)
        return Pace(self.speed_m_s, factor, self.waits, self.slope)

    @cached_property
    def _corner_terms(self) -> CornerTerms:
        return corner_terms(self._travel_sight, self._pace)


def _pair(point: object) -> tuple[float, float]:
    x, y = shapely.get_coordinates(point)[0] if isinstance(point, Point) else np.asarray(point)
    return float(x), float(y)
