"""A machine in a posture in its own frame, worked out once and kept with its type.

Units of one type in one posture differ by a turn about z and a shift alone, so all that costs
time (chains, bodies, what hangs on oil) is done here and placing is one matrix product.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from greaseroute.catalogue.bodies import Body, bar_of
from greaseroute.catalogue.frames import Frame, point_at
from greaseroute.catalogue.hull import Array
from greaseroute.catalogue.joint import Fitting
from greaseroute.catalogue.kinematics.link_frames import check_cylinders, link_frames
from greaseroute.catalogue.machine_type import MachineType


@dataclass(frozen=True, slots=True)
class Stance:
    """Everything of a machine in its own frame.

    Attributes
    ----------
    bodies : tuple of Body
        Solids in catalogue order, then cylinders.
    points_m, planes : arrays
        Corners (n, 3) and face planes (k, 4) of all bodies, stacked.
    hanging : frozenset of str
        Links and cylinders held up by oil alone.
    fittings_m, faces, looks_m : arrays
        Places (m, 3) of all fittings, outward directions of their heads (zero where not
        known), places of all look points.
    deck_corners_m, deck_feet_m : tuple of arrays, array
    swept_m : (x, y, radius) of the disc that slewing sweeps, or None
    """

    bodies: tuple[Body, ...]
    points_m: Array
    planes: Array
    hanging: frozenset[str]
    fittings_m: Array
    faces: Array
    looks_m: Array
    deck_corners_m: tuple[Array, ...]
    deck_feet_m: Array
    swept_m: tuple[float, float, float] | None


def stance_of(machine_type: MachineType, posture: str, *, slew_deg: float) -> Stance:
    """The stance of a type in a posture, from its memory if it was asked for before.

    Raises UnknownName for a posture the type does not have, PostureRefused where a chain cannot
    close or a cylinder is out of its limits.
    """
    known: dict[tuple[str, float], Stance] = machine_type.stances
    if (posture, slew_deg) not in known:
        known[posture, slew_deg] = _worked_out(machine_type, posture, slew_deg=slew_deg)
    return known[posture, slew_deg]


def machine_bodies(machine_type: MachineType, frames: dict[str, Frame]) -> tuple[Body, ...]:
    """Every solid and then every cylinder as a body where its link's frame leads to."""
    solids = [body.moved(frames[body.link]) for body in machine_type.bodies]
    bars = [
        bar_of(
            c.name,
            (frames[c.head_link], frames[c.rod_link]),
            pins_m=(c.head_pin_m, c.rod_pin_m),
            diameter_m=c.diameter_m,
        )
        for c in machine_type.cylinders
    ]
    return (*solids, *bars)


def _worked_out(machine_type: MachineType, posture: str, *, slew_deg: float) -> Stance:
    frames = link_frames(machine_type, posture, slew_deg)
    check_cylinders(machine_type, posture, frames)
    bodies = machine_bodies(machine_type, frames)
    fittings = [fitting for joint in machine_type.joints for fitting in joint.fittings]
    return Stance(
        bodies=bodies,
        points_m=np.vstack([body.points_m for body in bodies]),
        planes=np.vstack([body.planes for body in bodies]),
        hanging=_hanging(machine_type, posture, bodies=bodies),
        fittings_m=_rows([point_at(frames[f.link], f.position_m) for f in fittings]),
        faces=_rows([_faces(f, frames[f.link]) for f in fittings]),
        looks_m=_rows([point_at(frames[k.link], k.position_m) for k in machine_type.looks]),
        deck_corners_m=tuple(
            _rows([point_at(frames[d.link], (x, y, d.height_m)) for x, y in d.outline_m])
            for d in machine_type.decks
        ),
        deck_feet_m=_rows([point_at(frames[d.link], d.foot_m) for d in machine_type.decks]),
        swept_m=_swept(machine_type, frames, bodies=bodies),
    )


def _rows(points: list[tuple[float, float, float]]) -> Array:
    return np.array(points, float).reshape(-1, 3)


def _faces(fitting: Fitting, frame: Frame) -> tuple[float, float, float]:
    x, y, z = (frame[:3, :3] @ np.asarray(fitting.faces or (0.0, 0.0, 0.0))).tolist()
    return (x, y, z)


def _hanging(
    machine_type: MachineType, posture: str, *, bodies: tuple[Body, ...]
) -> frozenset[str]:
    links = links_on_oil(machine_type, bodies, supported=machine_type.posture(posture).supported)
    # A cylinder hangs with the links it carries.
    cylinders = machine_type.cylinders
    return links | {c.name for c in cylinders if {c.head_link, c.rod_link} & links}


def _swept(
    machine_type: MachineType, frames: dict[str, Frame], *, bodies: tuple[Body, ...]
) -> tuple[float, float, float] | None:
    slewing = machine_type.slew_link
    if slewing is None:
        return None
    moved = machine_type.below(slewing.name)
    points = [body.points_m[:, :2] for body in bodies if body.link in moved]
    if not points:
        return None
    x, y = frames[slewing.name][:2, 3].tolist()
    radius_m = float(np.linalg.norm(np.vstack(points) - (x, y), axis=1).max())
    return (x, y, radius_m)


GROUND_TOUCH_M = 0.05  # a lip this close to the ground rests on it; our setting


def links_on_oil(
    machine_type: MachineType, bodies: Iterable[Body], *, supported: Iterable[str]
) -> frozenset[str]:
    """Links that would come down if their oil were lost.

    A link marked ``on_oil`` and all that hangs on it (boom, arm and bucket) rest as soon as one of
    them touches the ground or is mechanically supported. ``bodies`` are in the machine's frame.
    """
    resting = set(supported)
    resting |= {b.link for b in bodies if b.bottom_m <= GROUND_TOUCH_M}
    hanging: set[str] = set()
    for group in _groups(machine_type):
        if not group & resting:
            hanging |= group
    return frozenset(hanging)


def _groups(machine_type: MachineType) -> list[frozenset[str]]:
    """Each topmost link marked ``on_oil`` with all that hangs on it."""
    marked = [link.name for link in machine_type.links if link.on_oil]
    groups = [machine_type.below(name) for name in marked]
    return [group for group in groups if not any(group < other for other in groups)]
