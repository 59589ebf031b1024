"""An own shortest way over free ground: from corner to corner, each line of sight asked for.

A* over the reflex corners of the ground (Hart, Nilsson and Raphael 1968). Slow beside the
planner's visibility graph and with nothing in common with it.
"""

import heapq
from dataclasses import dataclass
from functools import cached_property
from itertools import count, pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.house_rules import TIGHT_M
from greaseroute.audit.surface import Floats

Point2 = tuple[float, float]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class ShortestWays:
    """Shortest walks over one polygonal ground, whose edges may be walked along."""

    ground: BaseGeometry

    @cached_property
    def _rings(self) -> list[Floats]:
        """Every ring with the ground to its left, without the point that closes it."""
        polygons = [shapely.geometry.polygon.orient(p) for p in shapely.get_parts(self.ground)]
        rings = [ring for p in polygons for ring in (p.exterior, *p.interiors)]
        return [shapely.get_coordinates(ring)[:-1] for ring in rings]

    @cached_property
    def corners(self) -> Floats:
        """(n, 2) corners that a shortest walk may bend round: the reflex ones."""
        found = [np.empty((0, 2))]
        for ring in self._rings:
            before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
            turn = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
            found.append(ring[turn < 0])
        return np.concatenate(found)

    @cached_property
    def _edges(self) -> shapely.STRtree:
        sides = [np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in self._rings]
        return shapely.STRtree(np.asarray(shapely.linestrings(np.concatenate(sides))))

    @cached_property
    def _wide(self) -> BaseGeometry:
        wide = self.ground.buffer(TIGHT_M)
        shapely.prepare(wide)
        return wide

    def seen(self, here: Floats, points: Floats) -> Mask:
        """Which of (n, 2) points can be walked to straight from ``here``."""
        ends = np.stack([np.broadcast_to(here, points.shape), points], axis=1)
        lines = np.asarray(shapely.linestrings(ends))
        free = np.ones(len(points), dtype=bool)
        free[self._edges.query(lines, predicate="crosses")[0]] = False
        free[free] = shapely.covers(self._wide, lines[free])
        return free

    def way(self, start: Point2, goal: Point2) -> tuple[Point2, ...] | None:
        """The corners of the shortest walk, both ends included; None where there is none."""
        nodes = np.vstack([self.corners, [start], [goal]])
        first, last = len(nodes) - 2, len(nodes) - 1
        left_m = np.hypot(*(nodes - nodes[last]).T)
        best, before = {first: 0.0}, {first: -1}
        order = count()
        queue = [(float(left_m[first]), next(order), first)]
        done = np.zeros(len(nodes), dtype=bool)
        while queue:
            _, _, node = heapq.heappop(queue)
            if node == last:
                return _back(nodes, before, last)
            if done[node]:
                continue
            done[node] = True
            step_m = np.hypot(*(nodes - nodes[node]).T) + best[node]
            near = np.flatnonzero(~done & (step_m < _known(best, len(nodes))))
            for k in near[self.seen(nodes[node], nodes[near])].tolist():
                best[k], before[k] = float(step_m[k]), node
                heapq.heappush(queue, (float(step_m[k] + left_m[k]), next(order), k))
        return None


def _known(best: dict[int, float], size: int) -> Floats:
    known = np.full(size, np.inf)
    known[list(best)] = list(best.values())
    return known


def _back(nodes: Floats, before: dict[int, int], last: int) -> tuple[Point2, ...]:
    found, node = [], last
    while node >= 0:
        found.append((float(nodes[node, 0]), float(nodes[node, 1])))
        node = before[node]
    return tuple(reversed(found))


def length_m(way: tuple[Point2, ...]) -> float:
    """Metres of a walk."""
    return float(sum(np.hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(way)))
