"""Slopes between spot heights, and the time they cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
import shapely

from greaseroute.errors import UnfitProblem
from greaseroute.walk.arrays import Floats, Ints
from greaseroute.walk.mesh import index_points

HAIR = 1e-9  # of a cell: what ends on its edge is in both


@dataclass(frozen=True, slots=True)
class _Cells:
    """What lies in each cell of a grid (CSR, column by column)."""

    first: Ints
    inside: Ints


@dataclass(frozen=True, slots=True)
class _Surface:
    """Triangles between spot heights: faces (t, 3, 3), edges (m, 2, 3), the outermost ``rim``.

    ``grid`` holds west and south limit, width and height of a cell, numbers of columns and rows.
    """

    faces: Floats
    edges: Floats
    rim: Floats
    grid: Floats
    edges_in: _Cells
    faces_in: _Cells


@dataclass(frozen=True)
class Slopes:
    """Ground heights as a triangulated surface through spot heights (x_m, y_m, z_m).

    Beyond the outermost heights the ground is level. Fewer than three heights, or heights on one
    line, make level ground.
    """

    heights: Sequence[tuple[float, float, float]]

    def __post_init__(self) -> None:
        array = np.asarray(self.heights, np.float64)
        if array.ndim != 2 or array.shape[1] != 3 or not np.isfinite(array).all():
            raise UnfitProblem(
                "spot heights", f"array of shape {array.shape}", limit="(n, 3) finite metres",
                next_step="give x, y, z for each",
            )  # fmt: skip

    @cached_property
    def _surface(self) -> _Surface | None:
        array = np.asarray(self.heights, np.float64)
        array = array[np.lexsort(array.T[::-1])]
        array = array[np.unique(array[:, :2], axis=0, return_index=True)[1]]
        spots = shapely.multipoints(array[:, :2])
        faces = shapely.delaunay_triangles(spots)
        if shapely.is_empty(faces):
            return None
        corner = shapely.get_coordinates(shapely.get_parts(faces)).reshape(-1, 4, 2)[:, :3]
        lines = shapely.delaunay_triangles(spots, only_edges=True)
        ends = shapely.get_coordinates(shapely.get_parts(lines)).reshape(-1, 2, 2)
        return _gridded(_with_height(array, corner), _with_height(array, ends))

    def factor(self, start: Floats, end: Floats) -> Floats:
        """Mean time factor of straight lines from ``start`` to ``end``, both (n, 2).

        Each piece between two edges of the surface has one slope; its factor is Tobler's speed on
        the level over his speed on it, signed along the walk. Lengths are measured on the map.
        """
        from greaseroute.walk.kernel_slope import line_factors

        surface = self._surface
        if surface is None:
            return np.ones(len(start))
        out = np.empty(len(start))
        line_factors(
            np.ascontiguousarray(start), np.ascontiguousarray(end), surface.grid,
            surface.edges_in.first, surface.edges_in.inside, surface.edges,
            surface.faces_in.first, surface.faces_in.inside, surface.faces, surface.rim, out,
        )  # fmt: skip
        return out


def _rim(faces: Floats) -> Floats:
    """The edges that belong to one face alone, (r, 2, 3)."""
    sides = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2, 3)
    number = np.sort(index_points(sides[..., :2])[1], axis=1)
    _, where, count = np.unique(number, axis=0, return_inverse=True, return_counts=True)
    return np.ascontiguousarray(sides[count[where.ravel()] == 1])


def _gridded(faces: Floats, edges: Floats) -> _Surface:
    """The surface with a grid of about as many cells as it has edges."""
    rim = _rim(faces)
    low, high = rim.min(axis=(0, 1))[:2], rim.max(axis=(0, 1))[:2]
    count = max(1, round(len(edges) ** 0.5))
    grid = np.array([*low, *((high - low) / count), count, count], np.float64)
    return _Surface(faces, edges, rim, grid, _cells(edges, grid), _cells(faces, grid))


def _cells(shapes: Floats, grid: Floats) -> _Cells:
    """Shapes (n, k, 3) in every cell that their bounds touch, and in the next one for rounding."""
    size, most = grid[2:4], grid[4:6].astype(np.int64)
    at = (shapes[..., :2] - grid[:2]) / size
    low = np.clip(np.floor(at.min(axis=1) - HAIR), 0, most - 1).astype(int).tolist()
    high = np.clip(np.floor(at.max(axis=1) + HAIR), 0, most - 1).astype(int).tolist()
    held: list[list[int]] = [[] for _ in range(int(most.prod()))]
    for k, ((west, south), (east, north)) in enumerate(zip(low, high, strict=True)):
        for column, row in product(range(west, east + 1), range(south, north + 1)):
            held[column * int(most[1]) + row].append(k)
    first = np.cumsum([0, *map(len, held)]).astype(np.int64)
    return _Cells(first, np.asarray([k for each in held for k in each], np.int64))


def _with_height(array: Floats, places: Floats) -> Floats:
    """Points (..., 2) of the surface with their heights, (..., 3)."""
    order = array[:, :2].copy().view(np.complex128).ravel()
    flat = np.ascontiguousarray(places.reshape(-1, 2)).view(np.complex128).ravel()
    height = array[np.searchsorted(order, flat), 2]
    return np.concatenate([places, height.reshape(*places.shape[:-1], 1)], axis=-1)
