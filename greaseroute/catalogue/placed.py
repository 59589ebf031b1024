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

from greaseroute.catalogue.bodies import Body, bar_of
from greaseroute.catalogue.deck import Deck
from greaseroute.catalogue.frames import Frame, point_at
from greaseroute.catalogue.hull import Array
from greaseroute.catalogue.joint import Fitting, Head, Joint, LookPoint, Point3
from greaseroute.catalogue.kinematics import check_cylinders, link_frames
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.resting import links_on_oil

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


@dataclass(frozen=True)
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
    own = link_frames(machine_type, posture, pose.slew_deg)
    check_cylinders(machine_type, posture, own)
    site = {name: pose.frame @ frame for name, frame in own.items()}
    return PlacedMachine(
        machine_type=machine_type,
        posture=posture,
        pose=pose,
        solids=_solids(machine_type, posture, site),
        fittings=_fittings(machine_type, site),
        looks=tuple(
            PlacedLook(look, look.link, point_at(site[look.link], look.position_m))
            for look in machine_type.looks
        ),
        decks=tuple(_deck(deck, site[deck.link]) for deck in machine_type.decks),
        slew_clear=_slew_clear(machine_type, site),
    )


def machine_bodies(machine_type: MachineType, frames: dict[str, Frame]) -> list[Body]:
    """Every solid and cylinder as a body where its link's frame leads to."""
    bodies = [body.moved(frames[body.link]) for body in machine_type.bodies]
    for c in machine_type.cylinders:
        ends = (frames[c.head_link], frames[c.rod_link])
        pins = (c.head_pin_m, c.rod_pin_m)
        bodies.append(bar_of(c.name, ends, pins_m=pins, diameter_m=c.diameter_m))
    return bodies


def _solids(
    machine_type: MachineType, posture: str, frames: dict[str, Frame]
) -> tuple[PlacedSolid, ...]:
    bodies = machine_bodies(machine_type, frames)
    supported = machine_type.posture(posture).supported
    hanging = links_on_oil(machine_type, bodies, supported=supported)
    # A cylinder hangs with the links it carries.
    held = hanging | {c.name for c in machine_type.cylinders if {c.head_link, c.rod_link} & hanging}
    owner = np.repeat(np.arange(len(bodies)), [len(b.points_m) for b in bodies])
    flat = np.vstack([b.points_m[:, :2] for b in bodies])
    footprints = np.asarray(shapely.convex_hull(shapely.multipoints(flat, indices=owner)))
    return tuple(
        PlacedSolid(
            link=body.link,
            name=body.name,
            points_m=body.points_m,
            planes=body.planes,
            footprint=footprint,
            bottom_m=float(body.points_m[:, 2].min()),
            top_m=float(body.points_m[:, 2].max()),
            on_oil=body.link in held,
        )
        for body, footprint in zip(bodies, footprints, strict=True)
    )


def _fittings(machine_type: MachineType, frames: dict[str, Frame]) -> tuple[PlacedFitting, ...]:
    return tuple(
        PlacedFitting(
            joint=joint,
            fitting=fitting,
            link=fitting.link,
            head=fitting.head,
            at_m=point_at(frames[fitting.link], fitting.position_m),
            faces=_turned(frames[fitting.link], fitting.faces),
        )
        for joint in machine_type.joints
        for fitting in joint.fittings
    )


def _turned(frame: Frame, direction: Point3 | None) -> Point3 | None:
    if direction is None:
        return None
    x, y, z = (frame[:3, :3] @ np.asarray(direction)).tolist()
    return (x, y, z)


def _deck(deck: Deck, frame: Frame) -> PlacedDeck:
    corners = [point_at(frame, (x, y, deck.height_m)) for x, y in deck.outline_m]
    foot = point_at(frame, deck.foot_m)
    return PlacedDeck(
        name=deck.name,
        footprint=Polygon([corner[:2] for corner in corners]),
        height_m=corners[0][2],
        foot_m=(foot[0], foot[1]),
        holds=deck.holds,
    )


def _slew_clear(machine_type: MachineType, frames: dict[str, Frame]) -> Polygon | None:
    slewing = machine_type.slew_link
    if slewing is None:
        return None
    moved = machine_type.below(slewing.name)
    centre = frames[slewing.name][:2, 3]
    bodies = [b.moved(frames[b.link]) for b in machine_type.bodies if b.link in moved]
    if not bodies:
        return None
    points = np.vstack([body.points_m[:, :2] for body in bodies])
    radius_m = float(np.linalg.norm(points - centre, axis=1).max())
    # Drawn around the circle, not inside it: the polygon must hold all of the swept ground.
    radius_m /= math.cos(math.pi / (4 * _QUARTER_STEPS))
    return shapely.Point(*centre).buffer(radius_m, quad_segs=_QUARTER_STEPS)
