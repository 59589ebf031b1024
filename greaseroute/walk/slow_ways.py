"""Quickest walks over slow ground, first over points on its borders, then slid along them."""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.walk.arrays import Flags, Floats, Ints
from greaseroute.walk.mesh import build_mesh
from greaseroute.walk.polish import Ways, polish
from greaseroute.walk.routes import Routes
from greaseroute.walk.shapes import lines_between
from greaseroute.walk.sight import Sight, SpotSight, build_sight
from greaseroute.walk.slow import Faces, SlowArea, cut_faces

TOUCH_M = 1e-7  # a slid walk may run along its face's edge but for rounding


@dataclass(frozen=True, slots=True)
class Sliding:
    """Corners that may slide: ``moves`` (C,), and the ends of their edges, (C, 2) each."""

    moves: Flags
    low: Floats
    high: Floats


@dataclass(frozen=True)
class SlowSight:
    """Sight over free ground with slow areas in it."""

    sight: Sight
    faces: Faces
    sliding: Sliding


def slow_sight(free: BaseGeometry, areas: tuple[SlowArea, ...]) -> SlowSight:
    """Cut the ground at the borders of slow areas and look over each piece."""
    faces = cut_faces(free, areas)
    sight = build_sight(build_mesh(faces.shapes))
    return SlowSight(sight, faces, _sliding(sight, faces))


def _sliding(sight: Sight, faces: Faces) -> Sliding:
    place = np.ascontiguousarray(sight.places)
    added = faces.added.view(np.complex128).ravel()
    mine = place.view(np.complex128).ravel()
    at = np.minimum(np.searchsorted(added, mine), max(len(added) - 1, 0))
    if not len(added):
        return Sliding(np.zeros(len(place), bool), place, place)
    moves = added[at] == mine
    ends = np.where(moves[:, None, None], faces.ends[at], place[:, None])
    return Sliding(moves, ends[:, 0], ends[:, 1])


@dataclass(frozen=True, slots=True)
class _Table:
    """The face each link crosses, the fastest one where there are two; points follow corners."""

    size: int
    key: Ints
    face: Ints

    def faces(self, a: Ints, b: Ints) -> Ints:
        return self.face[np.searchsorted(self.key, a * self.size + b)]


def _link_table(sight: Sight, spots: SpotSight, factor: Floats) -> _Table:
    corners = len(sight.corners.table)
    size = corners + len(spots.xy)
    point = corners + np.repeat(np.arange(len(spots.xy)), np.diff(spots.first))
    links = sight.links
    a = np.concatenate([links.tail, point, spots.corner, corners + spots.pairs[:, 0]])
    b = np.concatenate([links.head, spots.corner, point, corners + spots.pairs[:, 1]])
    face = np.concatenate([links.face, spots.face, spots.face, spots.pairs[:, 2]])
    order = np.lexsort((face, factor[face], a * size + b))
    key = (a * size + b)[order]
    first = np.flatnonzero(np.r_[True, key[1:] != key[:-1]])
    return _Table(size, key[first], face[order][first])


def _sequences(
    routes: Routes, *, sources: Ints, goals: Ints, sliding: Sliding
) -> tuple[Ints, Ints]:
    """(w, k) nodes of all ways that pass a border, padded with their last; and (w, 2) of i, j."""
    corners = len(sliding.moves)
    found, pairs = [], []
    for i in range(len(sources)):
        for j in range(len(goals)):
            if routes.last[i, j] < 0:
                continue
            way = routes.corners(i, j)
            if sliding.moves[way].any():
                found.append([corners + sources[i], *way, corners + goals[j]])
                pairs.append((i, j))
    longest = max(map(len, found), default=0)
    nodes = [way + way[-1:] * (longest - len(way)) for way in found]
    return (
        np.array(nodes, np.int64).reshape(len(found), longest),
        np.array(pairs, np.int64).reshape(-1, 2),
    )


@dataclass(frozen=True, slots=True)
class SlidWays:
    """Ways after sliding: which (i, j), and their points (w, k, 2), padded with the last."""

    pairs: Ints
    xy: Floats
    face: Ints
    real: Flags


def slide_ways(
    slow: SlowSight, spots: SpotSight, routes: Routes, *, sources: Ints, goals: Ints
) -> SlidWays:
    """Slide every way that passes a border; a way that would leave its faces is left as it is."""
    nodes, pairs = _sequences(routes, sources=sources, goals=goals, sliding=slow.sliding)
    place = np.concatenate([slow.sight.places, spots.xy])
    factor = slow.faces.factor
    table = _link_table(slow.sight, spots, factor)
    real = nodes[:, 1:] != nodes[:, :-1]
    face = np.zeros(real.shape, np.int64)
    face[real] = table.faces(nodes[:, :-1][real], nodes[:, 1:][real])
    xy = place[nodes]
    ways = _as_ways(slow.sliding, nodes, xy=xy, pace=np.where(real, factor[face], 0.0))
    slid = polish(ways)
    good = _stays(slow.faces, slid, face=face, real=real)
    return SlidWays(pairs, np.where(good[:, None, None], slid, xy), face, real)


def _as_ways(sliding: Sliding, nodes: Ints, *, xy: Floats, pace: Floats) -> Ways:
    corner = np.minimum(nodes, len(sliding.moves) - 1)
    moves = sliding.moves[corner] & (nodes < len(sliding.moves))
    low = np.where(moves[..., None], sliding.low[corner], xy)
    high = np.where(moves[..., None], sliding.high[corner], xy)
    return Ways(xy, low, high, moves, pace)


def _stays(faces: Faces, xy: Floats, *, face: Ints, real: Flags) -> Flags:
    """Which ways stay inside the face of each of their links."""
    good = np.ones(len(xy), bool)
    lines = np.stack([xy[:, :-1], xy[:, 1:]], axis=2)
    for number in np.unique(face[real]):
        row, k = np.nonzero(real & (face == number))
        grown = faces.shapes[number].buffer(TOUCH_M, join_style="mitre")
        shapely.prepare(grown)
        inside = shapely.covers(grown, lines_between(*np.moveaxis(lines[row, k], 1, 0)))
        good[row[~inside]] = False
    return good
