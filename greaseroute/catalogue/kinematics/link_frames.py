"""Where every link is in a posture, and whether the cylinders allow it."""

import math
from collections.abc import Mapping

import numpy as np

from greaseroute.catalogue.frames import Frame, point_at
from greaseroute.catalogue.kinematics.chain import Chain
from greaseroute.catalogue.linkage import Cylinder, FourBar
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.posture import Posture
from greaseroute.errors import PostureRefused


def link_frames(
    machine_type: MachineType, posture: str | Posture, slew_deg: float = 0.0
) -> dict[str, Frame]:
    """The frame of each link in the machine's frame, as (4, 4) homogeneous transforms.

    Raises PostureRefused where an angle is missing or a chain cannot close, UnknownName where
    the machine has no such posture. The limits of cylinders are ``check_cylinders``'s to judge.
    """
    chain = Chain(machine_type, _posture(machine_type, posture), slew_deg)
    return {link.name: chain.frame(link.name) for link in machine_type.links}


def link_angles(machine_type: MachineType, posture: str | Posture) -> dict[str, float]:
    """The angle in degrees of each turning link, given or solved. Raises as ``link_frames``."""
    chain = Chain(machine_type, _posture(machine_type, posture))
    return {li.name: chain.angle(li.name) for li in machine_type.links if li.axis != "fixed"}


def cylinder_lengths(
    machine_type: MachineType, posture: str | Posture, slew_deg: float = 0.0
) -> dict[str, float]:
    """Pin-to-pin length in metres of each cylinder in a posture. Raises as ``link_frames``."""
    frames = link_frames(machine_type, posture, slew_deg)
    return {c.name: cylinder_length(c, frames) for c in machine_type.cylinders}


def cylinder_length(cylinder: Cylinder, frames: Mapping[str, Frame]) -> float:
    """Pin-to-pin length in metres with the links at ``frames``."""
    head = point_at(frames[cylinder.head_link], cylinder.head_pin_m)
    return math.dist(head, point_at(frames[cylinder.rod_link], cylinder.rod_pin_m))


def cylinder_trouble(cylinder: Cylinder, length_m: float) -> str | None:
    """What is wrong with a length, with the numbers, or None; one millimetre is forgiven."""
    short_mm = (cylinder.retracted_m - length_m) * 1000
    long_mm = (length_m - cylinder.extended_m) * 1000
    if max(short_mm, long_mm) <= 1.0:
        return None
    miss = f"{short_mm:.0f} mm too short" if short_mm > 0 else f"{long_mm:.0f} mm too long"
    allowed = f"{cylinder.retracted_m:.2f} to {cylinder.extended_m:.2f}"
    return f"{cylinder.name} {length_m:.2f} m, allowed {allowed}; {miss}"


def check_cylinders(
    machine_type: MachineType, posture: str | Posture, frames: Mapping[str, Frame]
) -> None:
    """Raise PostureRefused, naming each cylinder out of its limits with links at ``frames``."""
    lengths = ((c, cylinder_length(c, frames)) for c in machine_type.cylinders)
    troubles = [trouble for c, m in lengths if (trouble := cylinder_trouble(c, m))]
    if troubles:
        name = posture if isinstance(posture, str) else posture.name
        raise PostureRefused(
            f"{machine_type.name}, posture {name}",
            "; ".join(troubles),
            limit="every cylinder within its stroke",
            next_step="change the angles of the posture or the pins of the cylinder",
        )


def four_bar_residual(four_bar: FourBar, frames: Mapping[str, Frame]) -> float:
    """Distance in metres, in the plane of motion, between the two halves of the fourth pin."""
    to_ground = np.linalg.inv(frames[four_bar.ground])
    one = point_at(to_ground @ frames[four_bar.coupler], four_bar.coupler_pin_m)
    two = point_at(to_ground @ frames[four_bar.rocker], four_bar.rocker_pin_m)
    return math.hypot(one[0] - two[0], one[2] - two[2])


def _posture(machine_type: MachineType, posture: str | Posture) -> Posture:
    return machine_type.posture(posture) if isinstance(posture, str) else posture
