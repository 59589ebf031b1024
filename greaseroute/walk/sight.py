"""Sight over the free ground: between its corners once, from any points when asked."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from greaseroute.walk.arrays import Flags, Floats, Ints
from greaseroute.walk.corners import Corners, find_corners
from greaseroute.walk.links import Links, corner_turns, order_links
from greaseroute.walk.mesh import WALL, Mesh
from greaseroute.walk.shapes import lines_between, polygons_of

SLACK_M = 1e-6  # a point this near to free ground is on its edge
SNAP_M = 1e-9  # a point this near to a corner is the corner


@dataclass(frozen=True, slots=True)
class Sight:
    """A mesh, its corners, and the links between them.

    ``found`` rows: (corner, side, corner seen, its side, triangle); ``seen`` rows: (corner,
    triangle looked through).
    """

    mesh: Mesh
    corners: Corners
    links: Links
    found: Ints
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
    return shapely.STRtree(polygons_of(mesh.xy[mesh.tri]))


def cells_of(mesh: Mesh, corners: Corners) -> Ints:
    """(T, 9) rows of vertices, twin half-edges and corners, as the kernel reads them.

    Sight ends at the border of two faces: a straight line goes on there only at a corner.
    """
    face = np.repeat(mesh.face, 3)
    over = np.where(mesh.face[mesh.twin // 3] == face, mesh.twin, WALL).reshape(-1, 3)
    return np.ascontiguousarray(np.c_[mesh.tri, over, corners.of_triangle], dtype=np.int64)


def _starts(corners: Corners, nodes: Ints) -> tuple[Ints, Ints, Ints]:
    """Where the corners ``nodes`` look from: starts, limits, and the side of each."""
    table = corners.table[nodes]
    sides = 2 - table[:, 3]
    row = np.repeat(np.arange(len(nodes)), sides)
    side = np.arange(len(row)) - np.repeat(np.cumsum(sides) - sides, sides)
    sign = np.where(table[row, 3] == 1, 0, 1 - 2 * side)
    limit = np.c_[np.zeros_like(row), table[row, 1], sign, table[row, 2], -sign]
    size = corners.fan_first[nodes + 1] - corners.fan_first[nodes]
    each = np.repeat(np.arange(len(row)), size[row])
    offset = np.arange(len(each)) - np.repeat(np.cumsum(size[row]) - size[row], size[row])
    corner = corners.fan[corners.fan_first[nodes[row[each]]] + offset]
    start = np.c_[nodes[row[each]], corner // 3, corner % 3]
    return start, limit[each], side[each]


def links_from(mesh: Mesh, corners: Corners, nodes: Ints) -> tuple[Ints, Ints]:
    """Links out of ``nodes``, and the (corner, triangle) rows they looked through.

    Link rows are (corner, side, corner seen, its side, triangle it was seen in).
    """
    start, limit, side = _starts(corners, nodes)
    apex = mesh.xy[corners.table[:, 0]]
    found, seen = _look(
        mesh, corners, start=start, limit=limit, apex=apex,
        homes=np.empty((0, 2), np.int64), with_seen=True,
    )  # fmt: skip
    node = start[found[:, 0], 0]
    rows = np.c_[node, side[found[:, 0]], found[:, 1:]]
    s, t = np.divmod(seen, len(mesh.tri))
    return rows, np.c_[start[s, 0], t]


def _look(
    mesh: Mesh, corners: Corners, *, start: Ints, limit: Ints, apex: Floats, homes: Ints,
    with_seen: bool = False,
) -> tuple[Ints, Ints]:  # fmt: skip
    """Run the kernel with arrays that are large enough; ``homes`` rows are (point, triangle)."""
    from greaseroute.walk.kernel_sight import look as look_kernel

    order = np.argsort(homes[:, 1], kind="stable")
    spots = homes[order, 0].astype(np.int64)
    first = np.searchsorted(homes[order, 1], np.arange(len(mesh.tri) + 1)).astype(np.int64)
    cells = cells_of(mesh, corners)
    start, limit = (np.ascontiguousarray(a, np.int64) for a in (start, limit))
    each = 4 if with_seen else 128  # a guess: corners look into narrow cones, points all round
    sizes = each * len(start) + 64, (32 * len(start) + 64) * with_seen
    while True:
        found, seen = np.empty((sizes[0], 4), np.int64), np.empty(sizes[1], np.int64)
        count = np.zeros(2, np.int64)
        look_kernel(
            start, limit, apex, mesh.xy, cells, corners.table, first, spots, apex, found, seen,
            count,
        )  # fmt: skip
        if count[0] <= len(found) and (count[1] <= len(seen) or not with_seen):
            return found[: count[0]], seen[: count[1]] if with_seen else seen
        sizes = int(count[0]), int(count[1]) * with_seen


def build_sight(mesh: Mesh) -> Sight:
    """Corners and all tangent links of a mesh."""
    corners = find_corners(mesh)
    found, seen = links_from(mesh, corners, np.arange(len(corners.table)))
    links = order_links(mesh, corners, found)
    return Sight(mesh, corners, links, found, seen, triangle_tree(mesh))


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
    ends = ring[:, :3].reshape(-1, 2), ring[:, 1:].reshape(-1, 2)
    edges = lines_between(*ends).reshape(-1, 3)
    spots = np.asarray(shapely.points(xy), dtype=object)[:, None]
    nearest = shapely.distance(edges, spots).argmin(axis=1)
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
    start = np.c_[home, np.full(len(home), -1)]
    limit = np.zeros((len(home), 5), np.int64)
    rows, _ = _look(sight.mesh, sight.corners, start=start, limit=limit, apex=xy, homes=home)
    rows[:, 0] = home[rows[:, 0], 0]
    rows = rows[np.argsort(rows[:, 0], kind="stable")]
    to_spot = rows[:, 2] < 0
    pairs = rows[to_spot][:, [0, 1, 3]]
    pairs[:, 2] = sight.mesh.face[pairs[:, 2]]
    return _spot_sight(sight, xy, home=home, links=rows[~to_spot], pairs=pairs)


def _spot_sight(sight: Sight, xy: Floats, *, home: Ints, links: Ints, pairs: Ints) -> SpotSight:
    """Lengths of what was seen, and which links may follow. Link rows: point, corner, side, t."""
    point, corner = links[:, 0], links[:, 1].copy()
    along = sight.places[corner] - xy[point]
    turns = corner_turns(sight.mesh, sight.corners)
    after = turns.followers(sight.links.key, corner, side=links[:, 2], along=along)
    free = np.zeros(len(xy), bool)
    free[home[:, 0]] = True
    first = np.searchsorted(point, np.arange(len(xy) + 1)).astype(np.int64)
    face = sight.mesh.face[links[:, 3]]
    return SpotSight(xy, free, first, corner, face, np.hypot(*along.T), after, pairs)
