"""A machine type put on the site: solids, fittings, look points and decks where they really are.

Frames: a machine's x is forward, y left, z up, origin on the ground; a site's x is east, y north.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from greaseroute.catalogue.frames import Frame
from greaseroute.catalogue.hull import Array
from greaseroute.catalogue.joint import Fitting, Head, Joint, LookPoint, Point3
from greaseroute.catalogue.kinematics.stance import Stance, stance_of
from greaseroute.catalogue.machine_type import MachineType

_QUARTER_STEPS = 16  # segments per quarter of the swept disc


@dataclass(frozen=True, slots=True)
class Pose:
    """Where a unit stands: x east, y north, heading clockwise from north, slew to the left."""

    x_m: float
    y_m: float
    heading_deg: float
    slew_deg: float = 0.0

    @property
    def frame(self) -> Frame:
        """Transform from the machine's frame to the site's, (4, 4)."""
        heading = math.radians(self.heading_deg)
        s, c = math.sin(heading), math.cos(heading)
        frame = np.eye(4)
        frame[:2, :2] = ((s, -c), (c, s))  # forward is (s, c), left is (-c, s)
        frame[:2, 3] = (self.x_m, self.y_m)
        return frame


@dataclass(frozen=True, slots=True)
class PlacedSolid:
    """One convex solid on the site.

    ``points_m`` (n, 3) are its corners; ``planes`` (k, 4) its faces, a*x + b*y + c*z + d <= 0
    inside. For a cylinder, ``link`` is the cylinder's name. ``on_oil``: held up by oil alone.
    """

    link: str
    name: str
    points_m: Array
    planes: Array
    footprint: Polygon
    bottom_m: float
    top_m: float
    on_oil: bool


@dataclass(frozen=True, slots=True)
class PlacedFitting:
    """One fitting on the site; ``faces`` is the outward direction of its head, if known."""

    joint: Joint
    fitting: Fitting
    link: str
    head: Head
    at_m: Point3
    faces: Point3 | None = None


@dataclass(frozen=True, slots=True)
class PlacedLook:
    """One look point on the site."""

    look: LookPoint
    link: str
    at_m: Point3


@dataclass(frozen=True, slots=True)
class PlacedDeck:
    """One deck on the site: where one may stand on it, how high, where the climb starts."""

    name: str
    footprint: Polygon
    height_m: float
    foot_m: tuple[float, float]
    holds: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class PlacedMachine:
    """A machine type in a posture at a pose. ``slew_clear`` is the disc swept by what slews."""

    machine_type: MachineType
    posture: str
    pose: Pose
    solids: tuple[PlacedSolid, ...]
    fittings: tuple[PlacedFitting, ...]
    looks: tuple[PlacedLook, ...]
    decks: tuple[PlacedDeck, ...]
    slew_clear: Polygon | None

    @cached_property
    def outline(self) -> Polygon | MultiPolygon:
        """All solids seen from above."""
        together = shapely.union_all([solid.footprint for solid in self.solids])
        return cast("Polygon | MultiPolygon", together)


def place(machine_type: MachineType, pose: Pose, *, posture: str = "parked") -> PlacedMachine:
    """The machine in that posture at that pose.

    Raises UnknownName for a posture the type does not have, PostureRefused where a chain cannot
    close or a cylinder is out of its limits.
    """
    stance = stance_of(machine_type, posture, slew_deg=pose.slew_deg)
    frame = pose.frame
    return PlacedMachine(
        machine_type=machine_type,
        posture=posture,
        pose=pose,
        solids=_solids(stance, frame),
        fittings=_fittings(machine_type, stance, frame=frame),
        looks=tuple(
            PlacedLook(look, look.link, (x, y, z))
            for look, (x, y, z) in zip(
                machine_type.looks, _there(stance.looks_m, frame).tolist(), strict=True
            )
        ),
        decks=_decks(machine_type, stance, frame=frame),
        slew_clear=_slew_clear(stance, frame),
    )


def _there(points_m: Array, frame: Frame) -> Array:
    """Points (n, 3) of the machine's frame on the site."""
    return np.asarray(points_m @ frame[:3, :3].T + frame[:3, 3])


def _solids(stance: Stance, frame: Frame) -> tuple[PlacedSolid, ...]:
    points = _there(stance.points_m, frame)
    planes = stance.planes.copy()
    planes[:, :3] = stance.planes[:, :3] @ frame[:3, :3].T
    planes[:, 3] -= planes[:, :3] @ frame[:3, 3]
    owner = np.repeat(np.arange(len(stance.bodies)), [len(b.points_m) for b in stance.bodies])
    footprints = shapely.convex_hull(shapely.multipoints(points[:, :2], indices=owner))
    found = []
    point = plane = 0
    for body, footprint in zip(stance.bodies, np.asarray(footprints), strict=True):
        here = slice(point, point := point + len(body.points_m))
        faces = slice(plane, plane := plane + len(body.planes))
        found.append(
            PlacedSolid(
                link=body.link,
                name=body.name,
                points_m=points[here],
                planes=planes[faces],
                footprint=footprint,
                bottom_m=body.bottom_m,
                top_m=body.top_m,
                on_oil=body.link in stance.hanging,
            )
        )
    return tuple(found)


def _fittings(
    machine_type: MachineType, stance: Stance, *, frame: Frame
) -> tuple[PlacedFitting, ...]:
    owners = [(joint, fitting) for joint in machine_type.joints for fitting in joint.fittings]
    places = _there(stance.fittings_m, frame).tolist()
    faces = (stance.faces @ frame[:3, :3].T).tolist()
    return tuple(
        PlacedFitting(
            joint=joint,
            fitting=fitting,
            link=fitting.link,
            head=fitting.head,
            at_m=(x, y, z),
            faces=(a, b, c) if fitting.faces else None,
        )
        for (joint, fitting), (x, y, z), (a, b, c) in zip(owners, places, faces, strict=True)
    )


def _decks(machine_type: MachineType, stance: Stance, *, frame: Frame) -> tuple[PlacedDeck, ...]:
    feet = _there(stance.deck_feet_m, frame).tolist()
    return tuple(
        PlacedDeck(
            name=deck.name,
            footprint=Polygon(_there(corners, frame)[:, :2]),
            height_m=float(corners[0, 2]),
            foot_m=(foot[0], foot[1]),
            holds=deck.holds,
        )
        for deck, corners, foot in zip(machine_type.decks, stance.deck_corners_m, feet, strict=True)
    )


def _slew_clear(stance: Stance, frame: Frame) -> Polygon | None:
    if stance.swept_m is None:
        return None
    x, y, radius_m = stance.swept_m
    east, north, _ = _there(np.array([(x, y, 0.0)]), frame)[0].tolist()
    # Drawn around the circle, not inside it: the polygon must hold all of the swept ground.
    radius_m /= math.cos(math.pi / (4 * _QUARTER_STEPS))
    return shapely.Point(east, north).buffer(radius_m, quad_segs=_QUARTER_STEPS)
