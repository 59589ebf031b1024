"""Slow ground: pieces of free ground with a time factor, cut so that borders can be passed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.errors import UnfitProblem
from greaseroute.walk.arrays import Flags, Floats, Ints
from greaseroute.walk.mesh import index_points
from greaseroute.walk.obstacles import mend

STEP_M = 1.0  # points on a border are at most this far apart
LEAST_STEPS = 6  # and an edge of it has at least this many steps


@dataclass(frozen=True, slots=True)
class SlowArea:
    """Ground on which walking takes ``time_factor`` (>= 1) times as long."""

    shape: BaseGeometry
    time_factor: float
    name: str = "slow ground"

    def __post_init__(self) -> None:
        if not 1 <= self.time_factor < np.inf:
            raise UnfitProblem(
                self.name, f"time factor {self.time_factor}", limit="1 or more",
                next_step="give a time factor (not an energy factor)",
            )  # fmt: skip


def _regions(areas: Sequence[SlowArea]) -> list[tuple[float, BaseGeometry]]:
    """Disjoint ground of each factor; where areas overlap the slowest counts."""
    out: list[tuple[float, BaseGeometry]] = []
    taken: BaseGeometry = Polygon()
    for factor in sorted({a.time_factor for a in areas if a.time_factor > 1}, reverse=True):
        shapes = [mend(a.name, a.shape)[0] for a in areas if a.time_factor == factor]
        whole = shapely.union_all(shapes)
        out.append((factor, whole.difference(taken)))
        taken = taken.union(whole)
    return out


@dataclass(frozen=True, slots=True)
class Faces:
    """Pieces of the free ground that share every border vertex.

    Attributes
    ----------
    shapes : tuple of shapely Polygons
    factor : (F,) float array, the time factor of each
    added : (m, 2) float array, points added on borders, sorted by x then y
    ends : (m, 2, 2) float array, the ends of the border edge each of them may slide along
    """

    shapes: tuple[Polygon, ...]
    factor: Floats
    added: Floats
    ends: Floats


def cut_faces(free: BaseGeometry, areas: Sequence[SlowArea]) -> Faces:
    """Cut the free ground along the borders of slow ground, with points added on them."""
    regions = _regions(areas)
    lines = shapely.union_all([free.boundary, *(shape.boundary for _, shape in regions)])
    pieces = shapely.get_parts(shapely.polygonize(list(shapely.get_parts(lines))))
    inner = shapely.point_on_surface(pieces)
    shapely.prepare(free)
    keep = shapely.intersects(free, inner) & (shapely.area(pieces) > 1e-8)
    pieces, inner = pieces[keep], inner[keep]
    factor = np.ones(len(pieces))
    for value, shape in regions:
        factor[shapely.intersects(shape, inner)] = value
    return _divided(list(pieces), factor)


def _ring_edges(faces: list[Polygon]) -> tuple[list[Floats], Floats]:
    """Coordinates of all rings, and all their edges with the lower end first, (n, 2, 2)."""
    rings = [
        shapely.get_coordinates(ring) for face in faces for ring in (face.exterior, *face.interiors)
    ]
    edges = np.concatenate([np.stack([r[:-1], r[1:]], axis=1) for r in rings])
    return rings, edges


def _sorted_edges(edges: Floats) -> Floats:
    swap = (edges[:, 0, 0] > edges[:, 1, 0]) | (
        (edges[:, 0, 0] == edges[:, 1, 0]) & (edges[:, 0, 1] > edges[:, 1, 1])
    )
    return np.where(swap[:, None, None], edges[:, ::-1], edges)


def _shared(edges: Floats) -> Flags:
    """Which edges are the border of two faces."""
    number = index_points(edges)[1]
    size = int(number.max(initial=0)) + 1
    key: Ints = number.min(axis=1) * size + number.max(axis=1)
    _, where, count = np.unique(key, return_inverse=True, return_counts=True)
    return count[where] > 1


def _steps(edge: Floats) -> Floats:
    """Points that divide an edge, both ends left out; the same from either side."""
    low, high = _sorted_edges(edge[None])[0]
    count = max(LEAST_STEPS, int(np.ceil(np.hypot(*(high - low)) / STEP_M)))
    share = np.arange(1, count)[:, None] / count
    points: Floats = low + share * (high - low)
    return points if (edge[0] == low).all() else points[::-1]


def _divided(faces: list[Polygon], factor: Floats) -> Faces:
    """The faces with points added on all borders between two of them."""
    rings, edges = _ring_edges(faces)
    shared = _shared(edges)
    steps = {int(k): _steps(edges[k]) for k in np.flatnonzero(shared)}
    done, at = [], 0
    for ring in rings:
        parts = []
        for k in range(len(ring) - 1):
            parts += [ring[k : k + 1], steps.get(at + k, ring[:0])]
        at += len(ring) - 1
        done.append(np.concatenate(parts))
    out, n = [], 0
    for face in faces:
        size = 1 + len(face.interiors)
        out.append(Polygon(done[n], done[n + 1 : n + size]))
        n += size
    return Faces(tuple(out), factor, *_added(edges, steps))


def _added(edges: Floats, steps: dict[int, Floats]) -> tuple[Floats, Floats]:
    """Added points and the ends of their edges, each point once."""
    if not steps:
        return np.empty((0, 2)), np.empty((0, 2, 2))
    points = np.concatenate(list(steps.values()))
    ends = np.concatenate([np.repeat(edges[k][None], len(v), axis=0) for k, v in steps.items()])
    added, number = index_points(points)
    once = np.unique(number, return_index=True)[1]
    return added, _sorted_edges(ends[once])
