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


def _passes_border(routes: Routes, moves: Flags) -> Flags:
    """Which (i, j) have a corner on their way that may slide, by doubling steps up the trees."""
    if not moves.any():
        return np.zeros(routes.last.shape, bool)
    flag = np.broadcast_to(moves, routes.trees.shape).copy()
    up = np.where(routes.trees < 0, np.arange(len(moves)), routes.trees)
    while True:
        further = flag | np.take_along_axis(flag, up, axis=1)
        higher = np.take_along_axis(up, up, axis=1)
        if (higher == up).all():
            break
        flag, up = further, higher
    row = np.arange(len(flag))[:, None]
    passes: Flags = further[row, routes.last] & (routes.last >= 0)
    return passes


def _sequences(
    routes: Routes, *, sources: Ints, goals: Ints, sliding: Sliding
) -> tuple[Ints, Ints]:
    """(w, k) nodes of all ways that pass a border, padded with their last; and (w, 2) of i, j."""
    corners = len(sliding.moves)
    pairs = np.argwhere(_passes_border(routes, sliding.moves))
    found = [
        [corners + sources[i], *routes.corners(i, j), corners + goals[j]] for i, j in pairs.tolist()
    ]
    longest = max(map(len, found), default=0)
    nodes = [way + way[-1:] * (longest - len(way)) for way in found]
    return np.array(nodes, np.int64).reshape(len(found), longest), pairs


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
    """Slide every passage of every way; one that would leave its faces is left as it is."""
    nodes, pairs = _sequences(routes, sources=sources, goals=goals, sliding=slow.sliding)
    place = np.concatenate([slow.sight.places, spots.xy])
    table = _link_table(slow.sight, spots, slow.faces.factor)
    xy = place[nodes]
    runs, uses = _runs(nodes, slow.sliding.moves)
    for (way, first), line in zip(uses, _slid(slow, table, runs, place=place), strict=True):
        xy[way, first : first + len(line)] = line
    face, real = _faces(table, nodes)
    return SlidWays(pairs, xy, face, real)


def _faces(table: _Table, nodes: Ints) -> tuple[Ints, Flags]:
    """The face of each link of each way, and which links are not padding."""
    real = nodes[:, 1:] != nodes[:, :-1]
    face = np.zeros(real.shape, np.int64)
    face[real] = table.faces(nodes[:, :-1][real], nodes[:, 1:][real])
    return face, real


def _runs(nodes: Ints, moves: Flags) -> tuple[list[tuple[int, ...]], list[tuple[int, int]]]:
    """Stretches of sliding corners, with the still ones before and after; and (way, place).

    Many ways share a stretch between two corners, so it is worth sliding each once.
    """
    sliding = np.append(moves, False)[np.minimum(nodes, len(moves))]
    way, first = np.nonzero(~sliding[:, :-1] & sliding[:, 1:])
    still, after = np.nonzero(sliding[:, :-1] & ~sliding[:, 1:])
    runs = [tuple(nodes[w, a : b + 2].tolist()) for w, a, b in zip(way, first, after, strict=True)]
    return runs, list(zip(still.tolist(), first.tolist(), strict=True))


def _slid(
    slow: SlowSight, table: _Table, runs: list[tuple[int, ...]], *, place: Floats
) -> list[Floats]:
    """The points of each run after sliding."""
    once = {run: i for i, run in enumerate(dict.fromkeys(runs))}
    longest = max(map(len, once), default=0)
    padded = [[*run, *run[-1:] * (longest - len(run))] for run in once]
    nodes = np.array(padded, np.int64).reshape(len(once), longest)
    face, real = _faces(table, nodes)
    pace = np.where(real, slow.faces.factor[face], 0.0)
    xy = place[nodes]
    slid = polish(_as_ways(slow.sliding, nodes, xy=xy, pace=pace))
    good = _stays(slow.faces, slid, face=face, real=real)
    done = np.where(good[:, None, None], slid, xy)
    return [done[once[run], : len(run)] for run in runs]


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
