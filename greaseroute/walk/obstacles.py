"""Closed ground: named shapes, mended or refused, widened by the clearance, seams sealed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.errors import UnfitProblem
from greaseroute.walk.arrays import Floats

ROUNDING_M, CRUMB_M2 = 1e-9, 1e-8  # nearer and smaller than what any drawing means
SEAL_M = 1e-6  # shapes nearer to each other than this touch, and nobody walks between them
BARRIER_HALF_M = 0.001  # a barrier drawn as a line is closed 1 mm to either side
# Mitres are cut off square to their bisector a hair outside the clearance: two corners where an arc
# would want many, straight sides at the clearance exactly, and the clearance kept all round.
CUT_OFF = 1.001


@dataclass(frozen=True, slots=True)
class Closed:
    """One named shape nobody walks on: ``shape`` as drawn, ``kept_off`` with the clearance."""

    name: str
    shape: BaseGeometry
    kept_off: BaseGeometry
    mended: str | None = None


Closing = Callable[[str, BaseGeometry, float], Closed]


def _refuse(name: str, value: str, next_step: str) -> UnfitProblem:
    return UnfitProblem(
        name, value, limit="a shape with an area, finite coordinates", next_step=next_step
    )


def _first_cross(shape: BaseGeometry) -> str:
    return shapely.is_valid_reason(shape).replace("[", " at (").replace("]", ")")


def mend(name: str, shape: BaseGeometry) -> tuple[BaseGeometry, str | None]:
    """The shape with an area that a drawn one stands for, and what was mended, if anything.

    A self-crossing outline closes everything it winds round (both halves of a bow-tie). Doubled
    vertices are dropped.

    Raises
    ------
    UnfitProblem
        Empty, not finite, or without any area; the message carries the name.
    """
    if shape.is_empty:
        raise _refuse(name, "is empty", "draw its outline or drop it")
    if not np.isfinite(shapely.get_coordinates(shape)).all():
        raise _refuse(name, "has a coordinate that is not a number", "mend the coordinate")
    if isinstance(shape, LineString):
        if shape.length == 0:
            raise _refuse(name, "is a line without length", "draw it with two points or drop it")
        return shape, None
    at = shapely.get_coordinates(shape)[0]
    note = None
    if not shape.is_valid:
        note = f"{name}: {_first_cross(shape)}; all ground it winds round is closed"
        shape = shapely.make_valid(shape, method="structure", keep_collapsed=False)
    parts = [p for p in shapely.get_parts(shape) if p.area > 0]
    if not parts:
        value = f"has no area near ({at[0]:g} {at[1]:g})"
        raise _refuse(name, value, "draw its outline or drop it")
    return parts[0] if len(parts) == 1 else MultiPolygon(parts), note


def widen(shape: BaseGeometry, clearance_m: float) -> BaseGeometry:
    """The shape and all ground nearer to it than the clearance.

    Straight sides are moved out by the clearance exactly. Round a corner two chords outside the
    true arc stand for it: a path keeps the clearance, and is held off by 8 % of it more at a
    square corner and by 41 % at most at a needle's point.
    """
    if isinstance(shape, LineString) and clearance_m < BARRIER_HALF_M:
        return shape.buffer(BARRIER_HALF_M, cap_style="square", join_style="mitre")
    if clearance_m == 0:
        return shape
    return shape.buffer(clearance_m, cap_style="square", join_style="mitre", mitre_limit=CUT_OFF)


def close(name: str, shape: BaseGeometry, clearance_m: float) -> Closed:
    """Mend and widen one shape. Raises ``UnfitProblem`` as ``mend`` does."""
    good, note = mend(name, shape)
    return Closed(name, good, widen(good, clearance_m), note)


def _seam(a: BaseGeometry, b: BaseGeometry) -> BaseGeometry:
    grow = 2 * SEAL_M
    return a.buffer(grow, join_style="mitre").intersection(b.buffer(grow, join_style="mitre"))


def seams(shapes: Sequence[BaseGeometry], boundary: BaseGeometry) -> list[BaseGeometry]:
    """Patches over the hair gaps between shapes that touch each other or the boundary.

    Whether two shapes drawn edge to edge overlap by a rounding error or miss each other by one
    must not decide if one can walk between them, so what touches is closed.
    """
    array = np.array(shapes, dtype=object)
    tree = shapely.STRtree(array)
    a, b = tree.query(array, predicate="dwithin", distance=SEAL_M)
    a, b = a[a < b], b[a < b]
    common = shapely.area(shapely.intersection(array[a], array[b]))
    touch = common <= SEAL_M * np.minimum(shapely.length(array[a]), shapely.length(array[b]))
    out = [_seam(array[i], array[j]) for i, j in zip(a[touch], b[touch], strict=True)]
    return out + _edge_seams(array, tree, boundary)


def _edge_seams(
    array: np.ndarray, tree: shapely.STRtree, boundary: BaseGeometry
) -> list[BaseGeometry]:
    edge = boundary.boundary
    near = array[np.sort(tree.query(edge, predicate="dwithin", distance=SEAL_M))]
    beyond = shapely.area(shapely.difference(near, boundary))
    touch = beyond <= SEAL_M * shapely.length(near)
    return [_seam(shape, edge) for shape in near[touch]]


def mend_boundary(boundary: BaseGeometry) -> BaseGeometry:
    """The boundary as valid polygons. Raises ``UnfitProblem`` where it has no area."""
    return mend("boundary", boundary)[0]


def free_ground(boundary: BaseGeometry, shapes: Sequence[BaseGeometry]) -> BaseGeometry:
    """Boundary less shapes, less the seams between those that touch; polygons only."""
    closed = shapely.union_all([*shapes, *seams(shapes, boundary)]) if shapes else Polygon()
    return clean(boundary.difference(closed))


def clean(ground: BaseGeometry) -> BaseGeometry:
    """Polygons only, without crumbs and without vertices nearer than rounding."""
    ground = _polygons(ground)
    thin = shapely.remove_repeated_points(ground, ROUNDING_M)
    return _polygons(thin) if thin.is_valid else ground


def _polygons(ground: BaseGeometry) -> BaseGeometry:
    """The polygons of some ground, without crumbs and holes that are no more than a point."""
    parts = [
        _without_points(part)
        for part in shapely.get_parts(ground)
        if isinstance(part, Polygon) and part.area > CRUMB_M2
    ]
    return MultiPolygon(parts) if len(parts) != 1 else parts[0]


def _without_points(part: Polygon) -> Polygon:
    """Less every hole whose corners all lie within rounding: GEOS makes no ring of them."""
    spans = [np.ptp(shapely.get_coordinates(hole), axis=0).max() for hole in part.interiors]
    holes = [h for h, span in zip(part.interiors, spans, strict=True) if span > 4 * ROUNDING_M]
    return part if len(holes) == len(spans) else Polygon(part.exterior, holes)


def as_points(points: object) -> Floats:
    """An (n, 2) float array. Raises ``UnfitProblem`` for any other shape or for NaN."""
    array = np.array(points, dtype=np.float64)
    if array.size == 0:
        return np.empty((0, 2))
    if array.ndim != 2 or array.shape[1] != 2 or not np.isfinite(array).all():
        raise UnfitProblem(
            "points", f"array of shape {array.shape}", limit="(n, 2) finite metres",
            next_step="give one row x, y for each point",
        )  # fmt: skip
    return array


def named_at(closed: Sequence[Closed], point: Point) -> tuple[str, bool] | None:
    """Name of the closed shape a point lies in, and whether only its clearance is touched."""
    for inside in (True, False):
        for item in closed:
            if (item.shape if inside else item.kept_off).intersects(point):
                return item.name, not inside
    return None
