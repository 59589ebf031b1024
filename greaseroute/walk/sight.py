"""Sight over the free ground: between its corners once, from any points when asked."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from greaseroute.walk.arrays import Flags, Floats, Ints
from greaseroute.walk.corners import Corners, find_corners
from greaseroute.walk.links import Links, corner_turns, order_links
from greaseroute.walk.mesh import Mesh

SLACK_M = 1e-6  # a point this near to free ground is on its edge
SNAP_M = 1e-9  # a point this near to a corner is the corner


@dataclass(frozen=True, slots=True)
class Sight:
    """A mesh, its corners, and the links between them. ``seen`` rows: (corner, triangle)."""

    mesh: Mesh
    corners: Corners
    links: Links
    seen: Ints
    tree: shapely.STRtree

    @property
    def places(self) -> Floats:
        """(C, 2) metres of the corners."""
        return self.mesh.xy[self.corners.table[:, 0]]


@dataclass(frozen=True, slots=True)
class SpotSight:
    """What points see: corners (CSR by point), and each other.

    Attributes
    ----------
    xy : (n, 2) float array, the points, moved onto the ground by at most ``SLACK_M``
    free : (n,) bool array
    first : (n + 1,) int array; corner, face, length_m, after : per link, as in ``Links``
    pairs : (m, 3) int array of (point, point, face)
    """

    xy: Floats
    free: Flags
    first: Ints
    corner: Ints
    face: Ints
    length_m: Floats
    after: Ints
    pairs: Ints


def triangle_tree(mesh: Mesh) -> shapely.STRtree:
    """Search tree of the triangles, to find the one a point lies in."""
    ring = mesh.xy[mesh.tri[:, [0, 1, 2, 0]]]
    return shapely.STRtree(shapely.polygons(ring))


def links_from(mesh: Mesh, corners: Corners, nodes: Ints) -> tuple[Ints, Ints]:
    """Link rows out of ``nodes`` and the (corner, triangle) rows they looked through."""
    from greaseroute.walk.kernel_sight import look_from_corners

    size = 32 * len(nodes) + 64, 96 * len(nodes) + 64
    while True:
        links, seen = np.empty((size[0], 5), np.int64), np.empty((size[1], 2), np.int64)
        count = np.zeros(3, np.int64)
        look_from_corners(
            nodes, mesh.xy, mesh.tri, mesh.twin, corners.of_triangle, corners.table,
            corners.fan_first, corners.fan, links, seen, count,
        )  # fmt: skip
        if count[0] <= len(links) and count[2] <= len(seen):
            return links[: count[0]], seen[: count[2]]
        size = int(count[0]), int(count[2])


def build_sight(mesh: Mesh) -> Sight:
    """Corners and all tangent links of a mesh."""
    corners = find_corners(mesh)
    found, seen = links_from(mesh, corners, np.arange(len(corners.table)))
    return Sight(mesh, corners, order_links(mesh, corners, found), seen, triangle_tree(mesh))


def locate(sight: Sight, points: Floats) -> tuple[Floats, Ints]:
    """Points moved onto the ground, and sorted rows (point, triangle it is in or on)."""
    xy = points.copy()
    home = sight.tree.query(shapely.points(xy), predicate="intersects").T
    off = np.setdiff1d(np.arange(len(xy)), home[:, 0])
    near = sight.tree.query_nearest(shapely.points(xy[off]), max_distance=SLACK_M).T
    near[:, 0] = off[near[:, 0]]
    triangle = sight.tree.geometries[near[:, 1]]
    xy[near[:, 0]] = _onto(triangle, xy[near[:, 0]])
    home = np.concatenate([home, near])
    return _snap(sight, xy, home)


def _onto(triangle: NDArray[np.object_], xy: Floats) -> Floats:
    """Points moved into their triangle, past its edge by as little as rounding allows.

    A point a rounding error behind its wall would be told that the wall's end is in the way.
    """
    foot = shapely.shortest_line(triangle, shapely.points(xy))
    xy = shapely.get_coordinates(foot)[::2]
    ring = shapely.get_coordinates(triangle).reshape(-1, 4, 2)
    edges = shapely.linestrings(np.stack([ring[:, :3], ring[:, 1:]], axis=2))
    nearest = shapely.distance(edges, shapely.points(xy)[:, None]).argmin(axis=1)
    row = np.arange(len(xy))
    along = ring[row, nearest + 1] - ring[row, nearest]
    inward = np.c_[-along[:, 1], along[:, 0]] / np.maximum(np.hypot(*along.T), SNAP_M)[:, None]
    step = np.spacing(np.abs(xy).max(axis=1, initial=0.0, keepdims=True))
    for _ in range(12):
        off = ~shapely.intersects(triangle, shapely.points(xy))
        if not off.any():
            break
        xy[off] += (step * inward)[off]
        step *= 2
    return xy


def _snap(sight: Sight, xy: Floats, home: Ints) -> tuple[Floats, Ints]:
    """Move points onto a vertex of their triangle within ``SNAP_M``, and find all round it."""
    vertex = sight.mesh.tri[home[:, 1]]
    gap = np.hypot(*np.moveaxis(sight.mesh.xy[vertex] - xy[home[:, 0], None], -1, 0))
    scale = max(SNAP_M, 8 * np.spacing(float(np.abs(xy).max(initial=0.0))))
    row, k = np.nonzero(gap <= scale)
    point = home[row, 0]
    xy[point] = sight.mesh.xy[vertex[row, k]]
    around = sight.tree.query(shapely.points(xy[point]), predicate="intersects").T
    around[:, 0] = point[around[:, 0]]
    rows = np.concatenate([home, around]).astype(np.int64)
    return xy, np.unique(rows, axis=0)


def look(sight: Sight, points: Floats) -> SpotSight:
    """What each of (n, 2) points sees; a point off the free ground sees nothing."""
    xy, home = locate(sight, points)
    found, pairs = _spread(sight, xy, home)
    order = np.argsort(found[:, 0], kind="stable")
    found = found[order]
    point, corner = found[:, 0], found[:, 2]
    along = sight.places[corner] - xy[point]
    turns = corner_turns(sight.mesh, sight.corners)
    after = turns.followers(sight.links.key, corner, side=found[:, 3], along=along)
    pairs[:, 2] = sight.mesh.face[pairs[:, 2]]
    free = np.zeros(len(xy), bool)
    free[home[:, 0]] = True
    first = np.searchsorted(point, np.arange(len(xy) + 1)).astype(np.int64)
    face = sight.mesh.face[found[:, 4]]
    return SpotSight(xy, free, first, corner.copy(), face, np.hypot(*along.T), after, pairs)


def _spread(sight: Sight, xy: Floats, home: Ints) -> tuple[Ints, Ints]:
    from greaseroute.walk.kernel_sight import look_from_spots

    mesh, corners = sight.mesh, sight.corners
    order = np.argsort(home[:, 1], kind="stable")
    spots = home[order, 0].copy()
    spot_first = np.searchsorted(home[order, 1], np.arange(len(mesh.tri) + 1)).astype(np.int64)
    size = 96 * len(xy) + 64, 48 * len(xy) + 64
    while True:
        links, pairs = np.empty((size[0], 5), np.int64), np.empty((size[1], 3), np.int64)
        count = np.zeros(3, np.int64)
        look_from_spots(
            home, xy, mesh.xy, mesh.tri, mesh.twin, corners.of_triangle, corners.table,
            spot_first, spots, links, pairs, count,
        )  # fmt: skip
        if count[0] <= len(links) and count[1] <= len(pairs):
            return links[: count[0]], pairs[: count[1]]
        size = int(count[0]), int(count[1])
