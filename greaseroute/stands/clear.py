"""Where to wait, clear of the machine, while it moves."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.site.swept import path_between
from greaseroute.stands.candidates import own_order
from greaseroute.stands.reach import Array, flat_m
from greaseroute.stands.ring import NUDGE_M, around, on_ground, ring_points
from greaseroute.stands.thin import keep

Bools = NDArray[np.bool_]
CLEAR_POINTS = 6
SIGHT_DEG = 120.0  # to either side of straight ahead; common practice, no source
GAP_M = 8.0  # machines so near to each other have a gap in which nobody waits; our setting
# The ring is drawn with chords of an eighth of a right angle either side: so far outside the true
# distance that none of them comes nearer.
CHORD = 1 / math.cos(math.pi / 16)


def swept_ground(placed: Sequence[PlacedMachine]) -> BaseGeometry:
    """Ground that a machine sweeps or stands over in any of these postures, seen from above."""
    shapes: list[BaseGeometry] = [p.outline for p in placed]
    shapes += [p.slew_clear for p in placed if p.slew_clear is not None]
    shapes += [path_between(a, b) for a, b in pairwise(placed)]
    return shapely.union_all(shapes)


def clear_points(
    placed: Sequence[PlacedMachine],
    *,
    free: BaseGeometry,
    clear_m: float,
    others: BaseGeometry | None = None,
) -> Array:
    """Up to ``CLEAR_POINTS`` places round the swept ground and ``clear_m`` off it, (k, 2).

    Each is in the sight of the one at the controls: not in the sector behind the machine, no
    other machine (``others``) in between; and not in the gap between two machines. Empty where no
    such place is on free ground: then nothing may be moved while somebody works here.
    """
    swept = swept_ground(placed)
    local = around(free, shapely.get_coordinates(swept.envelope), within_m=2 * clear_m + 0.1)
    pose = placed[0].pose
    rings = ring_points([swept], pose, clearance_m=clear_m * CHORD, steps_m=(NUDGE_M,))
    spots = on_ground(local, rings)
    spots = spots[seen(placed[0], spots)]
    if others is not None and not others.is_empty:
        spots = spots[open_sight(placed[0], spots, others) & not_between(placed[0], spots, others)]
    if not len(spots):
        return spots
    spots = spots[own_order(placed[0], spots)]
    flat = np.column_stack([spots, np.zeros(len(spots))])
    middle = np.asarray([[pose.x_m, pose.y_m]])
    same = np.ones((len(spots), 1), dtype=bool)
    chosen = keep(flat, same, far_m=flat_m(flat, middle), most=CLEAR_POINTS)
    return np.asarray(spots[chosen])


def seen(placed: PlacedMachine, spots: Array) -> Bools:
    """Which places lie within ``SIGHT_DEG`` of straight ahead of the seat, (k,)."""
    pose = placed.pose
    ahead = math.radians(pose.heading_deg - pose.slew_deg)  # slewed to the left: counter-clockwise
    off = spots[:, :2] - (pose.x_m, pose.y_m)
    along = off @ (math.sin(ahead), math.cos(ahead))
    return np.asarray(along >= math.cos(math.radians(SIGHT_DEG)) * np.hypot(*off.T) - 1e-9)


def open_sight(placed: PlacedMachine, spots: Array, others: BaseGeometry) -> Bools:
    """Which places no other machine hides from the seat, (k,)."""
    seat = np.asarray([(placed.pose.x_m, placed.pose.y_m)])
    ends = np.stack([np.broadcast_to(seat, spots[:, :2].shape), spots[:, :2]], axis=1)
    return np.asarray(~shapely.intersects(shapely.linestrings(ends), others))


def not_between(placed: PlacedMachine, spots: Array, others: BaseGeometry) -> Bools:
    """Which places do not lie in the gap between the machine and another one near by, (k,)."""
    near = [p for p in shapely.get_parts(others) if p.distance(placed.outline) <= GAP_M]
    gaps = [shapely.union(placed.outline, p).convex_hull for p in near]
    inside = shapely.intersects_xy(shapely.union_all(gaps), spots[:, 0], spots[:, 1])
    return np.asarray(~np.atleast_1d(inside))
