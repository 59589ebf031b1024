"""From features to the ground plan: into the local plane, lines to areas, gates into barriers."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar, cast

from shapely import force_2d, transform
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring, unary_union

from greaseroute.errors import Fault, Remark
from greaseroute.site.files.features import (
    BarrierLine,
    Crossing,
    GateOpening,
    HaulRoad,
    NoGo,
    Obstacle,
    PlacePoint,
    SlowGround,
    SpotHeight,
)
from greaseroute.site.files.ground_geojson import Feature
from greaseroute.site.geodesy import LocalPlane
from greaseroute.site.ground_plan import Area, AreaRole, Barrier, Gate, GroundPlan, Place

T = TypeVar("T")

NEIGHBOURHOOD_M = 100.0  # kept of what reaches over the boundary, on every side
FAR_OUT_M = 500.0  # beyond the boundary, or the site's own size: farther is strange
GATE_SNAP_M = 2.0  # a gate drawn this near a barrier is meant to be in it


@dataclass(frozen=True, slots=True)
class Placed:
    """A feature with its shape in the local plane."""

    feature: Feature
    shape: BaseGeometry


def into_plane(features: Iterable[Feature], plane: LocalPlane) -> list[Placed]:
    """Every feature with its shape in the local plane."""
    return [
        Placed(f, transform(force_2d(f.shape), plane.to_plane) if plane.origin_lonlat else f.shape)
        for f in features
    ]


def clipped_to(placed: Iterable[Placed], boundary: Polygon) -> list[Placed]:
    """Every feature cut to the boundary's neighbourhood: nobody walks beyond it.

    What lies wholly outside stays as it is, and is told as such by the checks.
    """
    near = box(*boundary.buffer(NEIGHBOURHOOD_M).bounds)
    return [p if near.covers(p.shape) else Placed(p.feature, _cut(p.shape, near)) for p in placed]


def _cut(shape: BaseGeometry, near: Polygon) -> BaseGeometry:
    """The part of a shape that lies in a rectangle; the shape itself where that is nothing."""
    kind, several = (LineString, MultiLineString) if shape.geom_type.endswith("LineString") else (
        Polygon, MultiPolygon
    )  # fmt: skip
    inside = shape.intersection(near)
    parts = [part for part in getattr(inside, "geoms", [inside]) if isinstance(part, kind)]
    parts = [part for part in parts if not part.is_empty]
    if not parts:
        return shape
    if len(parts) == 1 or shape.geom_type == "LineString":
        return max(parts, key=lambda part: part.length)
    return several(parts)  # type: ignore[arg-type]


def far_features(placed: Iterable[Placed], boundary: Polygon, file: str) -> Iterator[Remark]:
    """A remark on each feature that reaches far beyond the boundary: a slip in one coordinate."""
    west, south, east, north = boundary.bounds
    far_m = max(FAR_OUT_M, east - west, north - south)
    around = box(west - far_m, south - far_m, east + far_m, north + far_m)
    for p in placed:
        if p.feature.role != "boundary" and not around.covers(p.shape):
            beyond_m = p.shape.hausdorff_distance(boundary)
            usual = f"within {far_m:.0f} m of the boundary; what lies beyond is cut off"
            yield Remark(
                file, p.feature.line, p.feature.label, "geometry",
                f"reaches some {beyond_m:.0f} m beyond", usual, "look at its coordinates",
            )  # fmt: skip


def build_ground(
    placed: Sequence[Placed], boundary: Polygon, file: str
) -> tuple[GroundPlan, list[Fault]]:
    """The ground plan, and the faults that show only between features (gates, widths, heights)."""
    faults: list[Fault] = []
    barriers = [b for p in _of(placed, "barrier") for b in _barriers(p)]
    gates = _gather(_of(placed, "gate"), lambda p: _gate(p, barriers, file), faults)
    roads = _gather(_of(placed, "haul_road"), lambda p: _haul_road(p, file), faults)
    heights = _gather(_of(placed, "spot_height"), lambda p: _spot_height(p, file), faults)
    plan = GroundPlan(
        boundary=boundary,
        obstacles=tuple(a for p in _of(placed, "obstacle") for a in _areas(p)),
        no_go=tuple(a for p in _of(placed, "no_go") for a in _areas(p)),
        haul_roads=tuple(a for areas in roads for a in areas),
        crossings=tuple(a for p in _of(placed, "crossing") for a in _areas(p)),
        slow_ground=tuple(a for p in _of(placed, "slow_ground") for a in _areas(p)),
        barriers=tuple(barriers),
        gates=tuple(gates),
        places=tuple(_place(p) for p in _of(placed, "place")),
        spot_heights=tuple(heights),
    )
    return plan, faults


def boundary_of(placed: Sequence[Placed], file: str) -> tuple[Polygon | None, list[Fault]]:
    """The one boundary of the site, or the fault that there is none or more than one."""
    found = _of(placed, "boundary")
    if not found:
        allowed = "one feature with role 'boundary'"
        return None, [Fault(file, 1, "ground plan", "boundary", "missing", allowed, "add it")]
    faults = [
        _fault(p, file, "role", texts=("boundary", "one boundary", "merge them")) for p in found[1:]
    ]
    parts = _parts(found[0].shape)
    if len(parts) > 1:
        texts = (f"{len(parts)} parts", "one connected area", "make a site folder for each part")
        return None, [*faults, _fault(found[0], file, "geometry", texts=texts)]
    return cast(Polygon, parts[0]), faults


def _of(placed: Iterable[Placed], role: str) -> list[Placed]:
    return [p for p in placed if p.feature.role == role]


def _gather(
    placed: Iterable[Placed], read: Callable[[Placed], T | Fault], faults: list[Fault]
) -> list[T]:
    """The good results of ``read``; its faults go to ``faults``."""
    results = [read(p) for p in placed]
    faults += [r for r in results if isinstance(r, Fault)]
    return [r for r in results if not isinstance(r, Fault)]


def _parts(shape: BaseGeometry) -> list[BaseGeometry]:
    """The parts of a Multi geometry, or the geometry itself as the only one."""
    if isinstance(shape, MultiPolygon | MultiLineString):
        return list(shape.geoms)
    return [shape]


def _fault(placed: Placed, file: str, field: str, *, texts: tuple[str, str, str]) -> Fault:
    """A fault on the line of a feature; ``texts`` are value, allowed and what to do."""
    return Fault(file, placed.feature.line, placed.feature.label, field, *texts)


def _areas(placed: Placed) -> Iterator[Area]:
    """Areas of a feature; the line of a crossing is widened to its corridor."""
    given = placed.feature.properties
    shape = placed.shape
    if isinstance(given, Crossing) and isinstance(shape, LineString):
        shape = shape.buffer(given.width_m / 2, cap_style="flat", join_style="mitre")
    for part in _parts(shape):
        yield Area(
            name=placed.feature.name,
            role=cast(AreaRole, placed.feature.role),
            polygon=cast(Polygon, part),
            hours=given.hours if isinstance(given, NoGo | Crossing) else (),
            wait_s=given.wait_s if isinstance(given, Crossing) else 0.0,
            time_factor=given.time_factor if isinstance(given, SlowGround) else 1.0,
            line=placed.feature.line,
            kind=given.kind if isinstance(given, Obstacle | NoGo | SlowGround) else "",
        )


def _haul_road(placed: Placed, file: str) -> list[Area] | Fault:
    """Areas of a haul road; one drawn as a line must say how wide it is."""
    given = placed.feature.properties
    width_m = given.width_m if isinstance(given, HaulRoad) else None
    if isinstance(placed.shape, LineString | MultiLineString):
        if width_m is None:
            texts = ("nothing", "the width of a road drawn as a line", "add width_m")
            return _fault(placed, file, "width_m", texts=texts)
        wide = [
            line.buffer(width_m / 2, cap_style="flat", join_style="mitre", mitre_limit=2.0)
            for line in _parts(placed.shape)
        ]
        placed = Placed(placed.feature, unary_union(wide))
    return list(_areas(placed))


def _barriers(placed: Placed) -> Iterator[Barrier]:
    given = placed.feature.properties
    kind, low = (given.kind, given.low) if isinstance(given, BarrierLine) else ("", False)
    for part in _parts(placed.shape):
        line = cast(LineString, part)
        yield Barrier(placed.feature.name, line, placed.feature.line, kind, low)


def _gate(placed: Placed, barriers: Sequence[Barrier], file: str) -> Gate | Fault:
    """The opening in the nearest barrier that a gate stands for."""
    given = placed.feature.properties
    away = [(b.line_string.distance(placed.shape), n) for n, b in enumerate(barriers)]
    distance_m, nearest = min(away, default=(float("inf"), -1))
    if distance_m > GATE_SNAP_M:
        value = f"{distance_m:.1f} m from the nearest barrier" if away else "no barrier on the site"
        texts = (value, f"within {GATE_SNAP_M:g} m of a barrier", "move it onto its barrier")
        return _fault(placed, file, "geometry", texts=texts)
    width_m = given.width_m if isinstance(given, GateOpening) else 0.0
    opening = _opening(barriers[nearest].line_string, placed.shape, width_m)
    return Gate(placed.feature.name, opening, placed.feature.line)


def _opening(barrier: LineString, gate: BaseGeometry, width_m: float) -> LineString:
    """The piece of a barrier that a gate (point with a width, or short line) opens."""
    if isinstance(gate, LineString):
        ends = sorted(barrier.project(Point(p)) for p in (gate.coords[0], gate.coords[-1]))
        begin_m, end_m = ends
        if barrier.is_closed and end_m - begin_m > barrier.length / 2:
            begin_m, end_m = end_m - barrier.length, begin_m  # the short way, over the seam
    else:
        middle_m = barrier.project(cast(Point, gate))
        begin_m, end_m = middle_m - width_m / 2, middle_m + width_m / 2
    return _piece(barrier, begin_m, end_m)


def _piece(line: LineString, begin_m: float, end_m: float) -> LineString:
    """The part of a line between two lengths along it; a closed line goes on over its seam."""
    if line.is_closed and begin_m < 0:
        first = substring(line, line.length + begin_m, line.length)
        return LineString([*first.coords, *substring(line, 0, end_m).coords[1:]])
    if line.is_closed and end_m > line.length:
        return _piece(line, begin_m - line.length, end_m - line.length)
    return cast(LineString, substring(line, max(begin_m, 0.0), min(end_m, line.length)))


def _place(placed: Placed) -> Place:
    given = placed.feature.properties
    kind = given.kind if isinstance(given, PlacePoint) else "place"
    point = cast(Point, force_2d(placed.shape))
    return Place(placed.feature.name, kind, point, placed.feature.line)


def _spot_height(placed: Placed, file: str) -> tuple[float, float, float] | Fault:
    """(x, y, z) of a levelled point."""
    given, point = placed.feature.properties, cast(Point, placed.shape)
    source = cast(Point, placed.feature.shape)
    height_m = given.height_m if isinstance(given, SpotHeight) else None
    if height_m is None and source.has_z:
        height_m = source.z
    if height_m is None:
        texts = ("nothing", "a height in metres", "add height_m or a third number")
        return _fault(placed, file, "height_m", texts=texts)
    return point.x, point.y, height_m
