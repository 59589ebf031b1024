"""The free ground cut into triangles that share whole edges."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.walk.arrays import Floats, Ints

WALL = -1


@dataclass(frozen=True, slots=True)
class Mesh:
    """Triangles of the free ground.

    Attributes
    ----------
    xy : (V, 2) float array, metres
    tri : (T, 3) int array, counter-clockwise
    twin : (3 T,) int array
        Half-edge ``3 t + k`` runs from ``tri[t, k]`` to ``tri[t, k + 1]``; its twin is the same
        edge in the neighbour, or ``WALL``.
    face : (T,) int array
        The piece of ground (0 = plain) a triangle belongs to.
    """

    xy: Floats
    tri: Ints
    twin: Ints
    face: Ints


def _triangles(face: BaseGeometry) -> Floats:
    """The (T, 3, 2) corners of a constrained Delaunay triangulation, counter-clockwise."""
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(face))
    if len(parts) == 0:
        return np.empty((0, 3, 2))
    rings = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3]
    a, b, c = rings[:, 0], rings[:, 1], rings[:, 2]
    double = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    return rings if double.sum() > 0 else rings[:, ::-1]


def twins(tri: Ints) -> Ints:
    """The other half of each half-edge, ``WALL`` where there is none."""
    start = tri.ravel()
    end = np.roll(tri, -1, axis=1).ravel()
    size = int(start.max(initial=0)) + 1
    key = np.minimum(start, end) * size + np.maximum(start, end)
    order = np.argsort(key, kind="stable")
    same = key[order[1:]] == key[order[:-1]]
    out = np.full(len(start), WALL, np.int64)
    out[order[:-1][same]] = order[1:][same]
    out[order[1:][same]] = order[:-1][same]
    return out


def index_points(corners: Floats) -> tuple[Floats, Ints]:
    """Distinct points of an (..., 2) array, sorted by x then y, and the number of each."""
    flat = np.ascontiguousarray(corners.reshape(-1, 2)) + 0.0  # + 0.0 makes -0.0 and 0.0 one
    points, number = np.unique(flat.view(np.complex128).ravel(), return_inverse=True)
    return points.view(np.float64).reshape(-1, 2).copy(), number.reshape(corners.shape[:-1])


def build_mesh(faces: Sequence[BaseGeometry]) -> Mesh:
    """Triangulate pieces of ground whose common borders share every vertex."""
    cut = [_triangles(face) for face in faces]
    face = np.repeat(np.arange(len(cut)), [len(c) for c in cut])
    xy, tri = index_points(np.concatenate([*cut, np.empty((0, 3, 2))]))
    tri = tri.astype(np.int64)
    return Mesh(xy, tri, twins(tri), face)
