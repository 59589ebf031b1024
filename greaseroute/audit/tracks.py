"""Everything that is walked, cut where the ground changes, with the time each piece takes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.basis import Basis
from greaseroute.audit.ground import Ground, Passage
from greaseroute.audit.house_rules import PLACE_M, TIGHT_M
from greaseroute.audit.surface import Floats, Slopes, SlowGround

Ints = NDArray[np.int64]
Point2 = tuple[float, float]
LEAST_SHARE = 1e-9  # of a segment: two cuts nearer than this are one


@dataclass(frozen=True, slots=True)
class Track:
    """One line walked at one go: the leg to a stop (``stand`` -1), or from stand to stand there.

    ``stop`` is the number of the stop; that of the way home is the count of stops.
    """

    technician: int
    stop: int
    stand: int
    line: tuple[Point2, ...]

    @property
    def length_m(self) -> float:
        """Metres on the map."""
        points = np.asarray(self.line).reshape(-1, 2)
        return float(np.hypot(*np.diff(points, axis=0).T).sum()) if len(points) > 1 else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """The pieces of all tracks in order: (n, 2) ends, track number, walking seconds."""

    track: Ints
    start: Floats
    end: Floats
    walk_s: Floats

    @property
    def middles(self) -> Floats:
        """(n, 2) middles."""
        return (self.start + self.end) / 2


@dataclass(frozen=True, slots=True)
class Step:
    """A piece of a track: seconds waited before it, walking seconds, ends, what is shut there.

    ``shut`` are numbers into `Ground.by_the_clock`.
    """

    wait_s: float
    walk_s: float
    start: Point2
    end: Point2
    shut: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Walked:
    """All tracks of a plan over its ground."""

    basis: Basis
    ground: Ground
    tracks: tuple[Track, ...]

    @cached_property
    def _slopes(self) -> Slopes:
        return Slopes(self.basis.site.ground.spot_heights)

    @cached_property
    def _borders(self) -> NDArray[np.object_]:
        """Every straight line at which the time or the hours of a walk may change."""
        plan = self.basis.site.ground
        shapes: list[BaseGeometry] = [a.polygon for a in plan.slow_ground]
        shapes += [s.near for s in self.ground.by_the_clock]
        shapes += [p.shape for p in self.ground.passages]
        rings = shapely.get_parts(shapely.boundary(np.asarray(shapes, dtype=object)))
        ends = [shapely.get_coordinates(ring) for ring in rings]
        sides = [np.stack([at[:-1], at[1:]], axis=1) for at in ends]
        lines = shapely.linestrings(np.concatenate(sides)) if sides else np.empty(0, dtype=object)
        return np.concatenate([np.asarray(lines, dtype=object), self._slopes.edges])

    @cached_property
    def pieces(self) -> Pieces:
        """All tracks cut at all borders."""
        track, start, end = _segments(self.tracks)
        row, low, high = _cut(start, end, self._borders)
        run = (end - start)[row]
        first, last = start[row] + run * low[:, None], start[row] + run * high[:, None]
        owner = track[row]
        speed = np.asarray([self._speed_m_s(t.technician) for t in self.tracks] or [1.0])
        factor = SlowGround(self.basis.site.ground.slow_ground).factor((first + last) / 2)
        factor = factor * self._slopes.factor(first, last)
        length = np.hypot(*(last - first).T)
        return Pieces(owner, first, last, length / speed[owner] * factor if len(owner) else length)

    def _speed_m_s(self, number: int) -> float:
        walker = self.basis.walkers[number]
        return self.basis.site.rules.walking_speed_m_s if walker is None else (
            self.basis.speed_m_s(walker)
        )  # fmt: skip

    @cached_property
    def walk_s(self) -> Floats:
        """Walking seconds of each track, with the waits that crossings cost."""
        total = np.zeros(len(self.tracks))
        np.add.at(total, self.pieces.track, self.pieces.walk_s)
        for track, _, wait_s in self._waits:
            total[track] += wait_s
        return total

    @cached_property
    def _waits(self) -> list[tuple[int, int, float]]:
        """(track, piece, seconds) of each passage over a haul road: waited before that piece.

        It is the first on the road, or the first that some hours shut: at a crossing that is shut
        one looks out once it is open.
        """
        return [
            (int(self.pieces.track[a]), self._looked_at(a, b), passage.wait_s)
            for passage in self.ground.passages
            for a, b in self._runs(passage)
            if self._crosses(passage, a, b)
        ]

    def _runs(self, passage: Passage) -> Iterator[tuple[int, int]]:
        """First and last piece of each stretch of a track that lies on the passage."""
        pieces = self.pieces
        wide = passage.shape.buffer(TIGHT_M)  # one may cross along its very edge
        shapely.prepare(wide)
        on = np.flatnonzero(shapely.contains_xy(wide, *pieces.middles.T))
        if not len(on):
            return
        breaks = (np.diff(on) > 1) | (np.diff(pieces.track[on]) != 0)
        for run in np.split(on, np.flatnonzero(breaks) + 1):
            yield int(run[0]), int(run[-1])

    def _looked_at(self, first: int, last: int) -> int:
        return next((k for k in range(first, last + 1) if k in self._shut_at), first)

    def _crosses(self, passage: Passage, first: int, last: int) -> bool:
        """Whether a stretch leads from one bank to another."""
        if len(passage.banks) < 2:
            return True
        pieces = self.pieces
        enters, leaves = pieces.start[first], pieces.end[last]
        return passage.bank(*enters.tolist()) != passage.bank(*leaves.tolist())

    @cached_property
    def _shut_at(self) -> Mapping[int, tuple[int, ...]]:
        """For each piece that some hours shut, the numbers of what shuts it."""
        return self._inside([shut.near for shut in self.ground.by_the_clock])

    @cached_property
    def _shut_to_the_edge(self) -> Mapping[int, tuple[int, ...]]:
        """The same with all that lies where the edge of what is shut may be."""
        return self._inside([s.near.buffer(2 * PLACE_M) for s in self.ground.by_the_clock])

    def _inside(self, shapes: Sequence[BaseGeometry]) -> dict[int, tuple[int, ...]]:
        """For each piece whose middle lies in some shapes, their numbers."""
        found: dict[int, tuple[int, ...]] = {}
        for number, shape in enumerate(shapes):
            shapely.prepare(shape)
            inside = shapely.contains_xy(shape, *self.pieces.middles.T)
            for piece in np.flatnonzero(inside).tolist():
                found[piece] = (*found.get(piece, ()), number)
        return found

    @cached_property
    def _rows(self) -> Ints:
        """First piece of each track, and the count of pieces at the end."""
        return np.searchsorted(self.pieces.track, np.arange(len(self.tracks) + 1))

    def steps(self, track: int, *, to_the_edge: bool = False) -> tuple[Step, ...]:
        """The pieces of one track in order, with what is waited for before each.

        ``to_the_edge``: a piece along the edge of what is shut counts as shut with it.
        """
        wait_s: dict[int, float] = {}
        shut_at = self._shut_to_the_edge if to_the_edge else self._shut_at
        for _, piece, seconds in self._waits:
            wait_s[piece] = wait_s.get(piece, 0.0) + seconds
        pieces = self.pieces
        return tuple(
            Step(
                wait_s=wait_s.get(k, 0.0),
                walk_s=float(pieces.walk_s[k]),
                start=(float(pieces.start[k, 0]), float(pieces.start[k, 1])),
                end=(float(pieces.end[k, 0]), float(pieces.end[k, 1])),
                shut=shut_at.get(k, ()),
            )
            for k in range(int(self._rows[track]), int(self._rows[track + 1]))
        )


def _segments(tracks: Sequence[Track]) -> tuple[Ints, Floats, Floats]:
    """Track number and (n, 2) ends of every straight segment that has a length."""
    track, start, end = [], [np.empty((0, 2))], [np.empty((0, 2))]
    for number, each in enumerate(tracks):
        points = np.asarray(each.line, dtype=float).reshape(-1, 2)
        a, b = points[:-1], points[1:]
        moved = (a != b).any(axis=1)
        start.append(a[moved])
        end.append(b[moved])
        track += [number] * int(moved.sum())
    return np.asarray(track, dtype=np.int64), np.concatenate(start), np.concatenate(end)


def _cut(start: Floats, end: Floats, borders: NDArray[np.object_]) -> tuple[Ints, Floats, Floats]:
    """(segment, from, to) of the pieces between the borders, as shares of the segment."""
    count = len(start)
    row, share = [np.arange(count), np.arange(count)], [np.zeros(count), np.ones(count)]
    if count and len(borders):
        lines = shapely.linestrings(np.stack([start, end], axis=1))
        segment, border = shapely.STRtree(borders).query(lines, predicate="intersects")
        at, sides = shapely.get_coordinates(borders[border]).reshape(-1, 2, 2), segment
        found = _shares(start[sides], end[sides], at)
        keep = np.isfinite(found) & (found > 0) & (found < 1)
        for column in range(found.shape[1]):
            row.append(sides[keep[:, column]])
            share.append(found[keep[:, column], column])
    rows, shares = np.concatenate(row), np.concatenate(share)
    order = np.lexsort((shares, rows))
    rows, shares = rows[order], shares[order]
    same = (rows[1:] == rows[:-1]) & (shares[1:] - shares[:-1] > LEAST_SHARE)
    return rows[:-1][same], shares[:-1][same], shares[1:][same]


def _shares(start: Floats, end: Floats, border: Floats) -> Floats:
    """(n, 3) shares of segments at which a border cuts them, or at which one along it ends."""
    run, side = end - start, border[:, 1] - border[:, 0]
    from_start = border - start[:, None, :]
    turn = run[:, 0] * side[:, 1] - run[:, 1] * side[:, 0]
    level = np.abs(turn) < 1e-12 * np.hypot(*run.T) * np.hypot(*side.T)
    across = from_start[:, 0, 0] * side[:, 1] - from_start[:, 0, 1] * side[:, 0]
    cut = np.where(level, np.nan, across / np.where(level, 1.0, turn))
    along = np.einsum("ijk,ik->ij", from_start, run) / (run**2).sum(axis=1)[:, None]
    return np.column_stack([cut, np.where(level[:, None], along, np.nan)])
