"""A ground changed in a few places: only what the change touches is worked out again."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.walk.arrays import Flags, Ints
from greaseroute.walk.corners import Corners, find_corners
from greaseroute.walk.links import order_links
from greaseroute.walk.mesh import WALL, Mesh, build_mesh, index_points
from greaseroute.walk.obstacles import SEAL_M, clean, seams
from greaseroute.walk.shapes import polygons_of
from greaseroute.walk.sight import Sight, links_from, triangle_tree

AROUND_M = 4 * SEAL_M  # how far a shape's seams may reach beyond it


@dataclass(frozen=True, slots=True)
class Change:
    """Shapes taken away from and added to closed ground, and all that are closed afterwards."""

    boundary: BaseGeometry
    removed: Sequence[BaseGeometry]
    added: Sequence[BaseGeometry]
    closed: Sequence[BaseGeometry]


def changed_sight(sight: Sight, change: Change) -> Sight | None:
    """The sight after a change, or None where it has to be built anew.

    The triangles that touch a removed or added shape are replaced; corners that looked through
    any of them, or at a vertex of one, look again; all other links are kept.
    """
    touched = shapely.union_all([*change.removed, *change.added]).buffer(AROUND_M)
    gone = np.zeros(len(sight.mesh.tri), bool)
    gone[sight.tree.query(touched, predicate="intersects")] = True
    patch = _patch(sight.mesh, gone, change)
    mesh = _stitch(sight.mesh, gone, patch)
    if mesh is None:
        return None
    return _look_again(sight, mesh, gone)


def _patch(mesh: Mesh, gone: Flags, change: Change) -> Mesh:
    """New triangles for the ground of those gone and of the shapes removed."""
    triangles = polygons_of(mesh.xy[mesh.tri[gone]])
    opened = shapely.buffer(np.array(change.removed, dtype=object), AROUND_M, join_style="mitre")
    old = shapely.coverage_union_all(triangles)  # joins along whole edges, without a new vertex
    window = shapely.union_all([old, *opened]).intersection(change.boundary)
    tree = shapely.STRtree(np.array(change.closed, dtype=object))
    near = np.sort(tree.query(window.buffer(AROUND_M), predicate="intersects"))
    shapes = [change.closed[i] for i in near]
    closed = shapely.union_all([*shapes, *seams(shapes, change.boundary)])
    ground = clean(window.difference(closed))
    return build_mesh([ground])


def _stitch(mesh: Mesh, gone: Flags, patch: Mesh) -> Mesh | None:
    """Old triangles less those gone, then the patch; None unless all open edges meet again."""
    old = len(mesh.xy)
    number = _numbers(mesh, patch)
    xy = np.concatenate([mesh.xy, patch.xy[number >= old]])
    place = np.where(number >= old, old + np.cumsum(number >= old) - 1, number)
    tri = np.concatenate([mesh.tri[~gone], place[patch.tri]])
    twin = _joined_twins(mesh, gone, patch)
    kept = int((~gone).sum())
    loose = _loose(mesh, gone)
    open_old = np.flatnonzero(loose)
    open_new = 3 * kept + np.flatnonzero(patch.twin == WALL)
    start, end = tri.ravel(), np.roll(tri, -1, axis=1).ravel()
    mine = start[open_old] * len(xy) + end[open_old]
    theirs = end[open_new] * len(xy) + start[open_new]
    order = np.argsort(theirs)
    at = np.minimum(np.searchsorted(theirs[order], mine), max(len(theirs) - 1, 0))
    if len(mine) and (not len(theirs) or (theirs[order][at] != mine).any()):
        return None
    other = open_new[order][at]
    twin[open_old], twin[other] = other, open_old
    return Mesh(xy, tri, twin, np.zeros(len(tri), np.int64))


def _numbers(mesh: Mesh, patch: Mesh) -> Ints:
    """For each patch vertex its number in the mesh, or at least ``len(mesh.xy)`` where new."""
    both = np.concatenate([mesh.xy, patch.xy])
    number = index_points(both)[1]
    first = np.full(int(number.max(initial=0)) + 1, len(mesh.xy), np.int64)
    first[number[: len(mesh.xy)]] = np.arange(len(mesh.xy))
    return first[number[len(mesh.xy) :]]


def _loose(mesh: Mesh, gone: Flags) -> Flags:
    """Half-edges of kept triangles whose neighbour is gone, in the order of the kept."""
    twin = mesh.twin.reshape(-1, 3)[~gone].ravel()
    loose: Flags = (twin >= 0) & gone[twin // 3]
    return loose


def _joined_twins(mesh: Mesh, gone: Flags, patch: Mesh) -> Ints:
    """Twins within the kept and within the patch, renumbered; the seam between is open."""
    renumber = np.cumsum(~gone) - 1
    twin = mesh.twin.reshape(-1, 3)[~gone].ravel()
    moved = np.where(twin >= 0, 3 * renumber[twin // 3] + twin % 3, WALL)
    moved[_loose(mesh, gone)] = WALL
    shift = 3 * int((~gone).sum())
    return np.concatenate([moved, np.where(patch.twin >= 0, patch.twin + shift, WALL)])


def _dirty(mesh: Mesh, gone: Flags) -> Flags:
    """Triangles gone, and those that share a vertex with one."""
    vertex = np.zeros(len(mesh.xy), bool)
    vertex[mesh.tri[gone]] = True
    dirty: Flags = np.any(vertex[mesh.tri], axis=1)
    return dirty


def _look_again(sight: Sight, mesh: Mesh, gone: Flags) -> Sight:
    corners = find_corners(mesh)
    dirty = _dirty(sight.mesh, gone)
    stale = np.zeros(len(sight.corners.table), bool)
    stale[sight.seen[dirty[sight.seen[:, 1]], 0]] = True
    at = sight.corners.of_triangle[dirty]
    stale[at[at >= 0]] = True
    same = _corner_map(sight, corners, gone=gone)
    new_of = np.where(stale, -1, same)
    renumber = np.cumsum(~gone) - 1
    rows = sight.found[new_of[sight.found[:, 0]] >= 0]
    # what a corner that need not look again saw is out of the change's reach, so still a corner
    rows = np.c_[same[rows[:, 0]], rows[:, 1], same[rows[:, 2]], rows[:, 3], renumber[rows[:, 4]]]
    fresh = np.setdiff1d(np.arange(len(corners.table)), new_of)
    found, seen = links_from(mesh, corners, fresh)
    found = np.concatenate([rows, found])
    old_seen = sight.seen[~stale[sight.seen[:, 0]]]
    kept_seen = np.c_[new_of[old_seen[:, 0]], renumber[old_seen[:, 1]]]
    return Sight(
        mesh, corners, order_links(mesh, corners, found), found,
        np.concatenate([kept_seen, seen]), triangle_tree(mesh),
    )  # fmt: skip


def _corner_map(sight: Sight, corners: Corners, *, gone: Flags) -> Ints:
    """New number of each old corner that has a triangle left, else -1."""
    old = sight.corners.of_triangle[~gone].ravel()
    new = corners.of_triangle[: len(old) // 3].ravel()
    out = np.full(len(sight.corners.table) + 1, -1, np.int64)  # the last one is for "no corner"
    out[old] = new
    return out[:-1]
