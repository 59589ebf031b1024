"""Homogeneous transforms between links."""

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from greaseroute.catalogue.joint import Point3
from greaseroute.catalogue.link import Axis

Frame: TypeAlias = npt.NDArray[np.float64]


def turn(axis: Axis, angle_deg: float) -> Frame:
    """Transform of a turn: slew and steer to the left about z, pitch raises what lies forward."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    frame = np.eye(4)
    if axis in ("slew", "steer"):
        frame[0, 0] = frame[1, 1] = c
        frame[1, 0], frame[0, 1] = s, -s
    elif axis == "pitch":
        # Right-handed about y would lower the front; this is the turn by minus the angle.
        frame[0, 0] = frame[2, 2] = c
        frame[2, 0], frame[0, 2] = s, -s
    return frame


def point_at(frame: Frame, point_m: Point3) -> Point3:
    """A point of a link, in the frame that ``frame`` leads to."""
    x, y, z = (frame[:3, :3] @ np.asarray(point_m) + frame[:3, 3]).tolist()
    return (x, y, z)
