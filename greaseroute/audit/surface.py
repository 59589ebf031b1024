"""What lengthens a walk: slopes between spot heights, slow ground."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from greaseroute.audit.house_rules import TIGHT_M
from greaseroute.site.ground_plan import Area

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Slopes:
    """A surface of triangles through spot heights; beyond its rim the ground is level."""

    heights: Sequence[tuple[float, float, float]]

    @cached_property
    def triangles(self) -> NDArray[np.object_]:
        """The triangles from above (Delaunay); none where the heights make no surface."""
        if len(self.heights) < 3:
            return np.empty(0, dtype=object)
        spots = shapely.multipoints(np.asarray(self.heights)[:, :2])
        return np.asarray(shapely.get_parts(shapely.delaunay_triangles(spots)))

    @cached_property
    def edges(self) -> NDArray[np.object_]:
        """Their edges, each once."""
        if not len(self.triangles):
            return np.empty(0, dtype=object)
        spots = shapely.multipoints(np.asarray(self.heights)[:, :2])
        return np.asarray(shapely.get_parts(shapely.delaunay_triangles(spots, only_edges=True)))

    @cached_property
    def _rise(self) -> Floats:
        """(T, 2) rise in x and in y of each triangle, metres a metre."""
        height = {(x, y): z for x, y, z in sorted(self.heights, reverse=True)}
        rise = np.zeros((len(self.triangles), 2))
        for k, triangle in enumerate(self.triangles):
            a, b, c = (np.asarray((*p, height[p])) for p in triangle.exterior.coords[:3])
            rise[k] = np.linalg.solve(np.stack([b - a, c - a])[:, :2], [b[2] - a[2], c[2] - a[2]])
        return rise

    def factor(self, start: Floats, end: Floats) -> Floats:
        """Time over the time on the level for (n, 2) lines, each over one triangle (or none).

        Tobler 1993: 6 exp(-3.5 |S + 0.05|) km/h on a slope S, signed along the walk.
        """
        factors = np.ones(len(start))
        if not len(self.triangles) or not len(start):
            return factors
        middles = shapely.points((start + end) / 2)
        line, triangle = shapely.STRtree(self.triangles).query(middles, predicate="intersects")
        line, first = np.unique(line, return_index=True)
        run = (end - start)[line]
        rise = (self._rise[triangle[first]] * run).sum(axis=1)
        slope = rise / np.hypot(*run.T)
        factors[line] = np.exp(3.5 * np.abs(slope + 0.05)) / math.exp(3.5 * 0.05)
        return factors


@dataclass(frozen=True, eq=False)
class SlowGround:
    """Areas on which walking takes longer; where they overlap the slowest counts."""

    areas: Sequence[Area]

    def factor(self, middles: Floats) -> Floats:
        """The time factor at (n, 2) points; along a border that of the better side."""
        factors = np.ones(len(middles))
        for area in self.areas:
            inner = area.polygon.buffer(-TIGHT_M)
            shapely.prepare(inner)
            inside = shapely.contains_xy(inner, middles[:, 0], middles[:, 1])
            factors[inside] = np.maximum(factors[inside], area.time_factor)
        return factors
