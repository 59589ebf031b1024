"""Tangent links between corners, and how one link may follow another round a corner."""

from dataclasses import dataclass

import numpy as np

from greaseroute.walk.arrays import Floats, Ints
from greaseroute.walk.corners import Corners
from greaseroute.walk.mesh import Mesh

TURN = 2 * np.pi
TURN_SLACK = 1e-9  # radians; keeps every taut turn in spite of rounding, costs a few slack ones
SIDE_SPAN = 8.0  # more than a turn: angles of one side of one corner stay apart from the next's


@dataclass(frozen=True, slots=True)
class Links:
    """Directed links, sorted by the corner they leave, its side, and their angle there.

    Attributes
    ----------
    tail, head : (L,) int arrays, corners
    face : (L,) int array, the piece of ground crossed
    length_m : (L,) float array
    after : (L, 2) int array
        Having come by link e, only links ``after[e, 0]`` to ``after[e, 1] - 1`` are taut.
    key : (L,) float array, what they are sorted by
    """

    tail: Ints
    head: Ints
    face: Ints
    length_m: Floats
    after: Ints
    key: Floats


@dataclass(frozen=True, slots=True)
class Turns:
    """Where each corner's two sides begin, as angles, to order links and find taut followers."""

    base: Floats
    open_corner: Ints

    def key(self, corner: Ints, side: Ints, *, along: Floats) -> Floats:
        """Sorting key of links leaving corners by a side in directions ``along`` (n, 2)."""
        angle = np.arctan2(along[:, 1], along[:, 0]) - self.base[corner] - np.pi * side
        # just below zero stays just below zero instead of becoming a whole turn
        turned: Floats = np.mod(angle + 1e-6, TURN) - 1e-6
        return (2 * corner + side) * SIDE_SPAN + turned + 1.0

    def followers(self, key: Floats, head: Ints, *, side: Ints, along: Floats) -> Ints:
        """Ranges into sorted ``key`` of the links that go on tautly from ``head``.

        ``side`` is the one of ``head`` that looks back; a path that comes in on it leaves by the
        other one, turning towards the obstacle. An open corner is left in every direction.
        """
        leave = 1 - np.minimum(side, 1)
        mark = self.key(head, leave, along=along) + TURN_SLACK * (1 - 2 * leave)
        taut = np.searchsorted(key, mark)
        first = self.side_starts(key)
        free = self.open_corner[head] == 1
        low = np.where(free | (leave == 0), first[2 * head], taut)
        high = np.where(free | (leave == 1), first[2 * head + 2], taut)
        return np.stack([low, high], axis=1)

    def side_starts(self, key: Floats) -> Ints:
        """Where in sorted ``key`` each side of each corner begins, (2 C + 1,)."""
        return np.searchsorted(key, np.arange(2 * len(self.base) + 1) * SIDE_SPAN)

    def all_leaving(self, key: Floats, head: Ints) -> Ints:
        """Ranges of all links leaving ``head``: for costs under which a slack turn may be best."""
        first = self.side_starts(key)
        return np.stack([first[2 * head], first[2 * head + 2]], axis=1)


def corner_turns(mesh: Mesh, corners: Corners) -> Turns:
    """The angle of the first wall of each corner."""
    table = corners.table
    wall = mesh.xy[table[:, 1]] - mesh.xy[table[:, 0]]
    return Turns(np.arctan2(wall[:, 1], wall[:, 0]), table[:, 3])


def order_links(mesh: Mesh, corners: Corners, found: Ints) -> Links:
    """Links from rows (corner, side, corner seen, its side, triangle)."""
    turns = corner_turns(mesh, corners)
    place = mesh.xy[corners.table[:, 0]]
    along = place[found[:, 2]] - place[found[:, 0]]
    key = turns.key(found[:, 0], found[:, 1], along=along)
    order = np.argsort(key, kind="stable")
    found, along, key = found[order], along[order], key[order]
    after = turns.followers(key, found[:, 2], side=found[:, 3], along=along)
    tail, head = found[:, 0].copy(), found[:, 2].copy()
    return Links(tail, head, mesh.face[found[:, 4]], np.hypot(*along.T), after, key)
