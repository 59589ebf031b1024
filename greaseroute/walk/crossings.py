"""Haul roads less their crossings, and the line at which a crossing's wait is taken."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.site.ground_plan import Area
from greaseroute.walk.waits import WaitLine

INTO_ROAD_M = 0.05  # a wait line ends this far inside the closed road, so nothing slips past it
CONTACT_M = 1e-6


def closed_roads(roads: Sequence[Area], crossings: Sequence[Area]) -> list[tuple[str, Polygon]]:
    """Named pieces of haul road that are not part of an open crossing."""
    corridors = shapely.union_all([c.polygon for c in crossings])
    return [
        (road.name, piece)
        for road in roads
        for piece in shapely.get_parts(road.polygon.difference(corridors))
        if isinstance(piece, Polygon) and piece.area > 0
    ]


def wait_lines(roads: Sequence[Area], crossings: Sequence[Area]) -> list[WaitLine]:
    """One line across each piece of crossing that lies on a haul road and costs a wait.

    It runs from the closed road on one side of the corridor to the closed road on the other, so
    each passage over the road passes it once, wherever in the corridor.
    """
    closed = shapely.union_all([piece for _, piece in closed_roads(roads, crossings)])
    surface = shapely.union_all([r.polygon for r in roads])
    lines = []
    for crossing in crossings:
        if crossing.wait_s == 0:
            continue
        for piece in shapely.get_parts(crossing.polygon.intersection(surface)):
            line = _across(piece, closed) if isinstance(piece, Polygon) else None
            if line is not None:
                lines.append(WaitLine(line, crossing.wait_s, crossing.name))
    return lines


def _contacts(piece: Polygon, closed: BaseGeometry) -> list[Point]:
    """Middles of the two longest stretches where a crossing borders closed road."""
    edge = piece.exterior.intersection(closed.buffer(CONTACT_M))
    parts = shapely.get_parts(shapely.line_merge(edge))
    runs = [r for r in parts if isinstance(r, LineString) and r.length > 100 * CONTACT_M]
    runs.sort(key=lambda r: (-r.length, r.bounds))
    return [r.interpolate(0.5, normalized=True) for r in runs[:2]]


def _across(piece: Polygon, closed: BaseGeometry) -> LineString | None:
    ends = _contacts(piece, closed)
    if not ends:
        return None  # the whole width of the road is crossing: there is nothing to run along
    if len(ends) == 1:  # the road ends inside the crossing: reach over its far edge
        corners = [Point(p) for p in piece.exterior.coords]
        ends.append(max(corners, key=lambda p: (p.distance(ends[0]), p.x, p.y)))
    a, b = (np.array(p.coords[0]) for p in ends)
    step = (b - a) / np.hypot(*(b - a)) * INTO_ROAD_M
    return LineString([a - step, b + step])
