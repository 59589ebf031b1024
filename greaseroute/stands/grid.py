"""Grids of places round a fitting: every few centimetres, and finer where that can still help."""

import numpy as np

from greaseroute.catalogue.kinematics.placed import Pose
from greaseroute.site.reach import Reach
from greaseroute.stands.reach import (
    EYES_ABOVE_SHOULDER_M,
    GRAZE_M,
    HAND_M,
    Array,
    Hulls,
    Mask,
    band_numbers,
    first_cut,
    shoulder_heights_m,
)
from greaseroute.stands.stand import Wanted

# What no sampled place serves is looked for at this distance, then at the finest: nobody sets the
# feet down to less than that.
FINE_M = 0.05
FINEST_M = 0.01
HALF_SQUARE_M = FINE_M / np.sqrt(2.0)  # from the middle of a square of the grid to its corners


def fine_grid(pose: Pose, goal_m: Array, *, within_m: float) -> Array:
    """Places (n, 2) every ``FINE_M`` in the frame of the machine, the squares of which cover all
    that is ``within_m`` of a fitting (1, 3)."""
    count = int(np.ceil(within_m / FINE_M)) + 1
    spots = _squares(pose, count, step_m=FINE_M) + goal_m[:, :2]
    return np.asarray(spots[np.hypot(*(spots - goal_m[0, :2]).T) <= within_m + HALF_SQUARE_M])


def finest_grid(pose: Pose, middles: Array) -> Array:
    """Places (n, 2) every ``FINEST_M`` in the squares of a fine grid with these (k, 2) middles."""
    half = round(FINE_M / FINEST_M) // 2
    steps = _squares(pose, half, step_m=FINEST_M)
    return np.asarray((middles[:, None, :] + steps[None, :, :]).reshape(-1, 2))


def _squares(pose: Pose, count: int, *, step_m: float) -> Array:
    """Up to so many steps forward, back and to either side of a machine, (n, 2) east and north."""
    steps = np.arange(-count, count + 1, dtype=float) * step_m
    forward, left = (a.ravel() for a in np.meshgrid(steps, steps))
    heading = np.radians(pose.heading_deg)
    east = forward * np.sin(heading) - left * np.cos(heading)
    north = forward * np.cos(heading) + left * np.sin(heading)
    return np.column_stack([east, north])


def wholly_hidden(middles: Array, wanted: Wanted, *, hulls: Hulls, reach: Reach) -> Mask:
    """Which squares of a fine grid, by their (n, 2) middles on the ground, hold no place at all
    from which a fitting is in sight.

    From anywhere in a square the line runs no farther from that of its middle than its corners
    lie: a line that is cut deeper than that, and by so much sooner, is cut from all of it.
    """
    height_m = shoulder_m(wanted, reach)
    if height_m is None:
        return np.ones(len(middles), dtype=bool)
    start = np.column_stack([middles, np.full(len(middles), height_m)])
    goal = np.broadcast_to(np.asarray(wanted.at_m), start.shape)
    slack_m = (2 if wanted.look else 1) * HAND_M + HALF_SQUARE_M
    deep_m = GRAZE_M + HALF_SQUARE_M
    return first_cut(start, goal, hulls=hulls, slack_m=slack_m, graze_m=deep_m) >= 0


def shoulder_m(wanted: Wanted, reach: Reach) -> float | None:
    """From how high one reaches for a fitting or reads a look point, standing on the ground; None
    where no height band has it."""
    if wanted.look:
        return reach.shoulder_m + EYES_ABOVE_SHOULDER_M
    band = int(band_numbers(np.asarray([wanted.at_m[2]]), reach)[0])
    return None if band < 0 else shoulder_heights_m(reach)[band]
