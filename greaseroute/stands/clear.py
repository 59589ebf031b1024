"""Where to wait, clear of the machine, while it moves."""

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.stands.candidates import own_order
from greaseroute.stands.reach import Array, flat_m
from greaseroute.stands.ring import NUDGE_M, around, on_ground, ring_points
from greaseroute.stands.thin import keep

# Beyond what moves, or the outline where nothing slews. Our setting; site rules may ask for more.
CLEAR_M = 1.0
CLEAR_POINTS = 6
# The ring is drawn with chords of an eighth of a right angle either side: so far outside the true
# distance that none of them comes nearer.
CHORD = 1 / math.cos(math.pi / 16)


def swept_ground(placed: Sequence[PlacedMachine]) -> BaseGeometry:
    """Ground that a machine sweeps or stands over in any of these postures, seen from above."""
    shapes: list[BaseGeometry] = [p.outline for p in placed]
    shapes += [p.slew_clear for p in placed if p.slew_clear is not None]
    return shapely.union_all(shapes)


def clear_points(placed: Sequence[PlacedMachine], *, free: BaseGeometry) -> Array:
    """Up to ``CLEAR_POINTS`` places round the swept ground and ``CLEAR_M`` off it, (k, 2).

    Empty where no free ground lies there: then nothing may be moved while somebody works here.
    """
    swept = swept_ground(placed)
    local = around(free, shapely.get_coordinates(swept.envelope), within_m=2 * CLEAR_M)
    pose = placed[0].pose
    rings = ring_points([swept], pose, clearance_m=CLEAR_M * CHORD, steps_m=(NUDGE_M,))
    spots = on_ground(local, rings)
    if not len(spots):
        return spots
    spots = spots[own_order(placed[0], spots)]
    flat = np.column_stack([spots, np.zeros(len(spots))])
    middle = np.asarray([[pose.x_m, pose.y_m]])
    same = np.ones((len(spots), 1), dtype=bool)
    chosen = keep(flat, same, far_m=flat_m(flat, middle), most=CLEAR_POINTS)
    return np.asarray(spots[chosen])
