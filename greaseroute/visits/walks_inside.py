"""Walks between the nodes of one unit, on the ground round it, proved to be the site's quickest."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from greaseroute.solvers.arrays import IntArray
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.shapes import clip
from greaseroute.walk.tables import Array, Point2, line_of, up_to_ms
from greaseroute.walk.travel import Travel

# How far round the nodes the ground is looked at: first near by, then farther off.
MARGINS_M = (10.0, 30.0)
# Nobody is quicker than this many times the pace on the level: Tobler's best slope gives 1.191
# (6 km/h against 5.037 on the level).
BEST_SLOPE = 1.2


@dataclass(frozen=True, slots=True, eq=False)
class InsideWalks:
    """Walks between the nodes of a unit; ``ms`` (S, S) as in `walker.Walks`."""

    points: Array
    ms: IntArray
    travel: Travel

    def line(self, a: int, b: int) -> tuple[Point2, ...]:
        """The corners of the quickest way from node a to node b, both ends included."""
        return line_of(self.travel, a, b)


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """The ground round one unit: cut out and walked over once for all who work there.

    ``feet`` are all points from which anybody works there, each once, with their numbers.
    """

    ground: FreeGround
    feet: Mapping[Point2, int]
    _walked: dict[tuple[float, float], Travel] = field(default_factory=dict)

    def travel(
        self, points: Sequence[Point2], *, margin_m: float, speed_m_s: float
    ) -> tuple[Travel, Array]:
        """Walks on the ground within a margin of the feet, and how far each point is from its edge.

        A border of slow ground is divided anew wherever it is cut: that must not hang on who else
        works here, so there the ground is cut out for these points alone.
        """
        feet = np.asarray(list(self.feet))
        spots = np.asarray(points, dtype=float).reshape(-1, 2)
        low, high = feet.min(axis=0) - margin_m, feet.max(axis=0) + margin_m
        if self.ground.slow and _slow_within(self.ground, low, high):
            low, high = spots.min(axis=0) - margin_m, spots.max(axis=0) + margin_m
            near = _near(self.ground, low, high)
            travel = near.travel(spots, speed_m_s=speed_m_s, slide=False)
        else:
            if (margin_m, speed_m_s) not in self._walked:
                near = _near(self.ground, low, high)
                whole = near.travel(feet, speed_m_s=speed_m_s, slide=False)
                self._walked[margin_m, speed_m_s] = whole
            rows = np.asarray([self.feet[point] for point in points], np.int64)
            travel = self._walked[margin_m, speed_m_s].among(rows)
        edge: Array = np.minimum(spots - low, high - spots).min(axis=1)
        return travel, edge


def beside(points: Sequence[Point2], ground: FreeGround) -> Beside:
    """The ground round (S, 2) points."""
    return Beside(ground, {point: k for k, point in enumerate(dict.fromkeys(points))})


def inside_walks(
    points: Sequence[Point2], ground: FreeGround | Beside, *, speed_m_s: float
) -> InsideWalks:
    """Quickest walks between (S, 2) points of one unit.

    They are looked for on the ground near the points. A walk that leaves it and comes back takes
    at least the way to its edge and back; where a walk found takes longer than that, or none is
    found, the whole ground is asked.
    """
    around = ground if isinstance(ground, Beside) else beside(points, ground)
    spots = np.asarray(points, dtype=float).reshape(-1, 2)
    for margin_m in MARGINS_M:
        travel, edge = around.travel(points, margin_m=margin_m, speed_m_s=speed_m_s)
        least_s = (edge[:, None] + edge[None, :]) / (speed_m_s * BEST_SLOPE)
        if (travel.time_s <= least_s).all():
            return InsideWalks(spots, up_to_ms(travel.time_s), travel)
    travel = around.ground.travel(spots, speed_m_s=speed_m_s, slide=False)
    return InsideWalks(spots, up_to_ms(travel.time_s), travel)


def _slow_within(ground: FreeGround, low: Array, high: Array) -> bool:
    box = shapely.box(low[0], low[1], high[0], high[1])
    return any(area.shape.intersects(box) for area in ground.slow)


def _near(ground: FreeGround, low: Array, high: Array) -> FreeGround:
    """The same ground inside a box, with the waits, slow areas and slopes that hold there."""
    clipped = clip(ground.free, (low[0], low[1], high[0], high[1]))
    parts = [p for p in shapely.get_parts(clipped) if isinstance(p, shapely.Polygon) and p.area > 0]
    box = shapely.box(low[0], low[1], high[0], high[1])
    slow = [area for area in ground.slow if area.shape.intersects(box)]
    near = FreeGround(shapely.union_all(parts), (), waits=ground.waits, slow=slow)
    near.slope = ground.slope
    return near
