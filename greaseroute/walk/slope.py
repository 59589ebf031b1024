"""Slopes between spot heights, and the time they cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from greaseroute.errors import UnfitProblem
from greaseroute.walk.arrays import Floats, Ints
from greaseroute.walk.shapes import lines_between
from greaseroute.walk.terrain import TOBLER_SHIFT, TOBLER_STEEP

CLOSE_M = 1e-9


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
    def _surface(self) -> tuple[Floats, Ints]:
        """Spot heights (n, 3), one for each place, and the edges (m, 2) of the surface."""
        array = np.asarray(self.heights, np.float64)
        array = array[np.lexsort(array.T[::-1])]
        array = array[np.unique(array[:, :2], axis=0, return_index=True)[1]]
        edges = shapely.delaunay_triangles(shapely.multipoints(array[:, :2]), only_edges=True)
        ends = shapely.get_coordinates(shapely.get_parts(edges)).reshape(-1, 2, 2)
        places = {tuple(p): i for i, p in enumerate(array[:, :2].tolist())}
        number = [(places[tuple(a)], places[tuple(b)]) for a, b in ends.tolist()]
        return array, np.array(number, np.int64).reshape(-1, 2)

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
        surface, edges = self._surface
        a, b = surface[edges[:, 0]], surface[edges[:, 1]]
        tree = shapely.STRtree(lines_between(a[:, :2], b[:, :2]))
        row, edge = tree.query(lines_between(start, end), predicate="intersects")
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
        surface, _ = self._surface
        faces = shapely.delaunay_triangles(shapely.multipoints(surface[:, :2]))
        parts = shapely.get_parts(faces)
        if len(parts) == 0:
            return np.full(len(points), surface[0, 2])
        tree = shapely.STRtree(parts)
        spots = shapely.points(points)
        near = tree.query_nearest(spots, all_matches=False)[1]
        foot = shapely.get_coordinates(shapely.shortest_line(parts[near], spots))[::2]
        corner = shapely.get_coordinates(parts).reshape(-1, 4, 2)[near, :3]
        heights = {tuple(p[:2]): p[2] for p in surface.tolist()}
        z = np.array([[heights[tuple(c)] for c in t] for t in corner.tolist()]).reshape(-1, 3)
        return _interpolate(corner, z, foot)


def _interpolate(corner: Floats, z: Floats, points: Floats) -> Floats:
    """Heights at points in triangles with corners (n, 3, 2) and heights (n, 3)."""
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    w = points - corner[:, 0]
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    s = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / area
    t = (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / area
    height: Floats = z[:, 0] + s * (z[:, 1] - z[:, 0]) + t * (z[:, 2] - z[:, 0])
    return height
