"""Numbers around a drawing: each point gets a place on a ring, and no two leaders cross.

Places lie on contours around the silhouette. Points and places are matched so that the sum of
leader lengths is least; in such a matching straight leaders never cross, for two that crossed
could be swapped and become shorter (triangle inequality).
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.drawings.svg import Point2, polygons
from greaseroute.solvers.assignment import cheapest_assignment

PITCH = 22.0  # between the middles of neighbouring numbers
FIRST_RING = 19.0  # from the silhouette to the middle of the nearest numbers
MOST_RINGS = 6


def ring_places(
    silhouette: BaseGeometry, points: Sequence[Point2], *, keep_out: Sequence[Point2] = ()
) -> list[Point2]:
    """A place for the number of each point, in the order of the points.

    ``silhouette`` and all points are in the picture; ``keep_out`` are places already taken.
    Places are at least `PITCH` apart, from each other and from ``keep_out``.
    """
    if not points:
        return []
    slots = _slots(silhouette, len(points), keep_out)
    lengths = [[math.dist(point, slot) for slot in slots] for point in points]
    return [slots[column] for column in cheapest_assignment(np.array(lengths))]


def _slots(silhouette: BaseGeometry, wanted: int, keep_out: Sequence[Point2]) -> list[Point2]:
    """Free places, ring by ring outwards, until there are half as many again as needed."""
    free: list[Point2] = []
    for ring in range(MOST_RINGS):
        for place in _contour(silhouette, FIRST_RING + ring * PITCH):
            if all(math.dist(place, other) >= PITCH - 1e-6 for other in (*free, *keep_out)):
                free.append(place)
        if len(free) >= 1.5 * wanted:
            break
    return free


def _contour(silhouette: BaseGeometry, distance: float) -> Iterator[Point2]:
    """Points along the silhouette's outline pushed out, hollows narrower than a number filled."""
    wide = silhouette.buffer(distance + 2 * PITCH).buffer(-2 * PITCH)
    for polygon in polygons(wide):
        ring = polygon.exterior
        steps = max(1, math.floor(ring.length / PITCH))
        along = np.arange(steps) * ring.length / steps
        for x, y in shapely.get_coordinates(shapely.line_interpolate_point(ring, along)).tolist():
            yield round(x, 2), round(y, 2)
