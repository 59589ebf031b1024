"""Points on free ground round a machine where somebody could stand."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.placed import Pose
from greaseroute.stands.reach import Array
from greaseroute.walk.shapes import clip

# Rings at these distances outside the closed ground and its clearance. The first is at the
# limit; the others give a flatter line of sight under a body.
RING_STEPS_M = (1e-6, 0.20, 0.40)
SPACING_M = 0.30
TOUCH_M = 1e-6
# A point found as nearest on the edge of free ground is pushed this far into it.
NUDGE_M = 1e-6
GRID_M = 1e-6
STRAIGHT_M = 1e-5


def ring_points(
    closed: Sequence[BaseGeometry],
    pose: Pose,
    *,
    clearance_m: float,
    steps_m: Sequence[float] = RING_STEPS_M,
    spacing_m: float = SPACING_M,
) -> Array:
    """Points on rings round ``closed``, (n, 2), about ``spacing_m`` apart.

    They are laid out in the machine's own frame, on a grid of a micrometre, so that they turn and
    move with the machine: a site drawn elsewhere or turned gives the same places to stand.
    """
    own = shapely.transform(list(closed), lambda at: _to_own(at, pose))
    shape = shapely.union_all(shapely.set_precision(own, GRID_M)).normalize()
    # Corners that rounding left on a straight edge would be points of their own.
    rings = [shape.buffer(clearance_m + step, quad_segs=4).simplify(STRAIGHT_M) for step in steps_m]
    lines = [
        line for ring in rings for line in shapely.get_parts(shapely.boundary(ring)) if line.length
    ]
    if not lines:
        return np.zeros((0, 2))
    return _to_site(
        np.vstack([_divided(shapely.get_coordinates(line), spacing_m) for line in lines]), pose
    )


def _axes(pose: Pose) -> Array:
    """Forward and left of the machine as rows of east and north."""
    heading = np.radians(pose.heading_deg)
    forward = (np.sin(heading), np.cos(heading))
    return np.asarray([forward, (-forward[1], forward[0])])


def _to_own(at: Array, pose: Pose) -> Array:
    return np.asarray((at - (pose.x_m, pose.y_m)) @ _axes(pose).T)


def _to_site(at: Array, pose: Pose) -> Array:
    return np.asarray(at @ _axes(pose) + (pose.x_m, pose.y_m))


def _divided(corners: Array, spacing_m: float) -> Array:
    """The start of every edge and evenly spaced points on it, from the first corner on."""
    begin, run = corners[:-1], np.diff(corners, axis=0)
    parts = np.maximum(1, np.ceil(np.hypot(run[:, 0], run[:, 1]) / spacing_m - 1e-6)).astype(int)
    edge = np.repeat(np.arange(len(parts)), parts)
    step = np.arange(len(edge)) - np.repeat(np.cumsum(parts) - parts, parts)
    return np.asarray(begin[edge] + run[edge] * (step / parts[edge])[:, None])


def nearest_points(free: BaseGeometry, points: Array) -> Array:
    """The nearest place on ``free`` to each point, a little inside, (n, 2)."""
    if not len(points) or free.is_empty:
        return np.zeros((0, 2))
    lines = shapely.shortest_line(free, shapely.points(points[:, :2]))
    ends = shapely.get_coordinates(lines).reshape(-1, 2, 2)
    out = ends[:, 0] - ends[:, 1]
    length = np.maximum(np.hypot(out[:, 0], out[:, 1]), 1e-9)[:, None]
    return np.asarray(ends[:, 0] + out / length * NUDGE_M)


def on_ground(free: BaseGeometry, points: Array) -> Array:
    """Those of ``points`` that lie on ``free``, (k, 2)."""
    if not len(points):
        return points
    shapely.prepare(free)
    return points[shapely.intersects_xy(free, points[:, 0], points[:, 1])]


def close_to(points: Array, targets: Array, *, within_m: float) -> Array:
    """Those of ``points`` within ``within_m`` of any target, (k, 2)."""
    if not len(points) or not len(targets):
        return points[:0]
    gap = points[:, None, :] - targets[None, :, :2]
    return points[(np.hypot(gap[..., 0], gap[..., 1]) <= within_m + 1e-6).any(axis=1)]


def around(free: BaseGeometry, targets: Array, *, within_m: float) -> BaseGeometry:
    """The part of ``free`` in a box round the targets, for quick local questions."""
    low, high = targets[:, :2].min(axis=0) - within_m, targets[:, :2].max(axis=0) + within_m
    clipped = clip(free, (low[0], low[1], high[0], high[1]))
    return shapely.union_all([p for p in shapely.get_parts(clipped) if p.area > 0])
