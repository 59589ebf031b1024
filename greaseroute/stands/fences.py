"""Barriers that stop an arm: nobody greases through a fence."""

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.site.ground_plan import GroundPlan
from greaseroute.stands.reach import Array, Mask
from greaseroute.walk.shapes import clip
from greaseroute.walk.site_ground import barrier_lines


def fences_of(plan: GroundPlan) -> BaseGeometry | None:
    """Every barrier that no arm goes over or through, gates taken out; None without any."""
    high = [barrier for barrier in plan.barriers if not barrier.low]
    pieces = [piece for _, piece in barrier_lines(high, plan.gates)]
    return shapely.union_all(pieces) if pieces else None


def around_fences(fences: BaseGeometry | None, local: BaseGeometry) -> BaseGeometry | None:
    """The fences in the box round some ground, for quick local questions; None without any."""
    if fences is None or local.is_empty:
        return None
    near = clip(fences, local.bounds)
    return None if near.is_empty else near


def through(feet_m: Array, goals_m: Array, served: Mask, *, fences: BaseGeometry | None) -> Mask:
    """Which of the (n, m) ``served`` pairs of (n, 3) places and (m, 3) fittings a fence parts."""
    parted = np.zeros_like(served)
    if fences is None or not served.any():
        return parted
    who, what = np.nonzero(served)
    lines = shapely.linestrings(np.stack([feet_m[who, :2], goals_m[what, :2]], axis=1))
    parted[who, what] = shapely.intersects(lines, fences)
    return parted
