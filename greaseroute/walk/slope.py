"""Slopes between spot heights, and the time they cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from greaseroute.errors import UnfitProblem
from greaseroute.walk.arrays import Floats, Ints
from greaseroute.walk.mesh import index_points
from greaseroute.walk.shapes import Shapes, lines_between
from greaseroute.walk.terrain import TOBLER_SHIFT, TOBLER_STEEP

CLOSE_M = 1e-9


@dataclass(frozen=True, slots=True)
class _Surface:
    """Triangles between spot heights: corners (t, 3, 3), edges (m, 2, 3), and search trees."""

    first_m: float
    faces: Shapes
    corners: Floats
    edges: Floats
    face_tree: shapely.STRtree
    edge_tree: shapely.STRtree


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
    def _surface(self) -> _Surface:
        array = np.asarray(self.heights, np.float64)
        array = array[np.lexsort(array.T[::-1])]
        array = array[np.unique(array[:, :2], axis=0, return_index=True)[1]]
        spots = shapely.multipoints(array[:, :2])
        edges = shapely.get_parts(shapely.delaunay_triangles(spots, only_edges=True))
        faces = shapely.get_parts(shapely.delaunay_triangles(spots))
        corner = shapely.get_coordinates(faces).reshape(-1, 4, 2)[:, :3]
        ends = shapely.get_coordinates(edges).reshape(-1, 2, 2)
        return _Surface(
            array[0, 2], faces, _with_height(array, corner), _with_height(array, ends),
            shapely.STRtree(faces), shapely.STRtree(edges),
        )  # fmt: skip

    def factor(self, start: Floats, end: Floats) -> Floats:
        """Mean time factor of straight lines from ``start`` to ``end``, both (n, 2).

        Each piece between two edges of the surface has one slope; its factor is Tobler's speed on
        the level over his speed on it, signed along the walk. Lengths are measured on the map.
        """
        row, share, height = self._breaks(start, end)
        order = np.lexsort((share, row))
        row, share, height = row[order], share[order], height[order]
        step = np.diff(share)
        length = np.hypot(*(end - start).T)[row[:-1]] * step
        inner = (row[1:] == row[:-1]) & (length > CLOSE_M)
        slope = np.zeros(len(step))
        slope[inner] = np.diff(height)[inner] / length[inner]
        slow = np.exp(TOBLER_STEEP * (np.abs(slope + TOBLER_SHIFT) - TOBLER_SHIFT))
        total = np.bincount(row[:-1][inner], (step * slow)[inner], minlength=len(start))
        covered = np.bincount(row[:-1][inner], step[inner], minlength=len(start))
        return total + (1.0 - covered)

    def _breaks(self, start: Floats, end: Floats) -> tuple[Ints, Floats, Floats]:
        """Row, share along it, and height, where lines cross edges, start and end."""
        surface = self._surface
        a, b = surface.edges[:, 0], surface.edges[:, 1]
        row, edge = surface.edge_tree.query(lines_between(start, end), predicate="intersects")
        along, across = (end - start)[row], (b - a)[edge]
        turn = along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0]
        good = np.abs(turn) > CLOSE_M
        row, edge, along, across, turn = (v[good] for v in (row, edge, along, across, turn))
        gap = a[edge, :2] - start[row]
        share = (gap[:, 0] * across[:, 1] - gap[:, 1] * across[:, 0]) / turn
        on_edge = (gap[:, 0] * along[:, 1] - gap[:, 1] * along[:, 0]) / turn
        height = a[edge, 2] + np.clip(on_edge, 0, 1) * across[:, 2]
        every = np.arange(len(start))
        return (
            np.concatenate([every, row, every]),
            np.concatenate([np.zeros(len(start)), np.clip(share, 0, 1), np.ones(len(start))]),
            np.concatenate([self.height_m(start), height, self.height_m(end)]),
        )

    def height_m(self, points: Floats) -> Floats:
        """Height at (n, 2) points; outside, that of the nearest point of the surface."""
        surface = self._surface
        once, number = index_points(points)
        if not len(surface.faces) or not len(points):
            return np.full(len(points), surface.first_m)
        spots = np.asarray(shapely.points(once), dtype=object)
        near = surface.face_tree.query_nearest(spots, all_matches=False)[1]
        lines = shapely.shortest_line(surface.faces[near], spots)
        foot = shapely.get_coordinates(lines)[::2]
        corner = surface.corners[near]
        return _interpolate(corner[..., :2], corner[..., 2], foot)[number]


def _with_height(array: Floats, places: Floats) -> Floats:
    """Points (..., 2) of the surface with their heights, (..., 3)."""
    order = array[:, :2].copy().view(np.complex128).ravel()
    flat = np.ascontiguousarray(places.reshape(-1, 2)).view(np.complex128).ravel()
    height = array[np.searchsorted(order, flat), 2]
    return np.concatenate([places, height.reshape(*places.shape[:-1], 1)], axis=-1)


def _interpolate(corner: Floats, z: Floats, points: Floats) -> Floats:
    """Heights at points in triangles with corners (n, 3, 2) and heights (n, 3)."""
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    w = points - corner[:, 0]
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    s = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / area
    t = (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / area
    height: Floats = z[:, 0] + s * (z[:, 1] - z[:, 0]) + t * (z[:, 2] - z[:, 0])
    return height
