"""The corners a taut path can bend at: where the ground is open over more than half a turn."""

from dataclasses import dataclass

import numpy as np

from greaseroute.walk.arrays import Flags, Floats, Ints
from greaseroute.walk.mesh import Mesh
from greaseroute.walk.orientation import orientations


@dataclass(frozen=True, slots=True)
class Corners:
    """Corners of a mesh.

    Attributes
    ----------
    table : (C, 4) int array
        Vertex; its first and last wall neighbour, counter-clockwise through the free ground;
        1 where paths may leave in any direction (a vertex on a border of slow ground), else 0.
    fan_first, fan : int arrays
        ``fan[fan_first[c]:fan_first[c + 1]]`` are the triangles round corner c as ``3 t + k``,
        counter-clockwise.
    of_triangle : (T, 3) int array
        The corner at each triangle's vertex, -1 where paths never bend.
    """

    table: Ints
    fan_first: Ints
    fan: Ints
    of_triangle: Ints


def _fan_ranks(mesh: Mesh) -> tuple[Ints, Ints]:
    """For each triangle corner ``3 t + k`` the first corner of its fan, and its rank in it.

    A fan without walls (a vertex inside the ground) starts at its lowest corner.
    """
    corner = np.arange(3 * len(mesh.tri))
    before = corner - corner % 3 + (corner + 2) % 3
    following = mesh.twin[before]  # counter-clockwise next: the twin of the edge into the vertex
    first = np.full(len(corner), -1, np.int64)
    rank = np.zeros(len(corner), np.int64)

    def walk(starts: Ints) -> None:
        current, origin, step = starts, starts, 0
        while len(current):
            first[current], rank[current] = origin, step
            ahead = following[current]
            on = (ahead >= 0) & (ahead != origin)
            current, origin, step = ahead[on], origin[on], step + 1

    walk(np.flatnonzero(mesh.twin == -1))
    rest = np.flatnonzero(first < 0)
    if len(rest):
        vertex = mesh.tri.ravel()[rest]
        walk(rest[np.unique(vertex, return_index=True)[1]])
    return first, rank


def _is_bend(mesh: Mesh, table: Ints) -> Flags:
    """Whether the ground at a fan from wall to wall spans more than half a turn; exact."""
    v, a, b = (mesh.xy[table[:, k]] for k in range(3))
    turn = orientations(v, a, b)
    folded: Floats = np.einsum("ij,ij->i", a - v, b - v)
    bend: Flags = (turn < 0) | ((turn == 0) & (folded > 0))
    return bend


def find_corners(mesh: Mesh) -> Corners:
    """All corners of a mesh; a vertex where walls touch may have several, or none."""
    first, rank = _fan_ranks(mesh)
    order = np.lexsort((rank, first))
    cut = np.flatnonzero(np.r_[True, np.diff(first[order]) != 0]) if len(order) else order
    bounds = np.r_[cut, len(order)]
    head, tail = order[bounds[:-1]], order[bounds[1:] - 1]
    flat = mesh.tri.ravel()
    table = np.c_[
        flat[head],
        flat[head - head % 3 + (head + 1) % 3],
        flat[tail - tail % 3 + (tail + 2) % 3],
        np.add.reduceat(_on_border(mesh)[order], cut) > 0 if len(cut) else cut,
    ].astype(np.int64)
    walled = mesh.twin[head] == -1
    keep = (table[:, 3] == 1) | (walled & _is_bend(mesh, table))
    return _pick(mesh, table, keep=keep, order=order, bounds=bounds)


def _on_border(mesh: Mesh) -> Ints:
    """1 for each triangle corner from which an edge runs along the border of two faces."""
    over = mesh.twin >= 0
    border = np.zeros(len(mesh.twin), np.int64)
    half = np.flatnonzero(over)
    border[half] = mesh.face[half // 3] != mesh.face[mesh.twin[half] // 3]
    corner = np.arange(len(border))
    into = corner - corner % 3 + (corner + 2) % 3
    either: Ints = np.maximum(border, border[into])
    return either


def _pick(mesh: Mesh, table: Ints, *, keep: Flags, order: Ints, bounds: Ints) -> Corners:
    size = np.diff(bounds)
    fan = order[np.repeat(keep, size)]
    fan_first = np.r_[0, np.cumsum(size[keep])].astype(np.int64)
    of_triangle = np.full(3 * len(mesh.tri), -1, np.int64)
    of_triangle[fan] = np.repeat(np.arange(int(keep.sum())), size[keep])
    return Corners(
        np.ascontiguousarray(table[keep]), fan_first, fan.astype(np.int64),
        of_triangle.reshape(-1, 3),
    )  # fmt: skip
