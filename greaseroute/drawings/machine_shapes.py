"""A placed machine turned into shaded shapes for a view from the right or from above."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.frames import point_at
from greaseroute.catalogue.joint import Point3
from greaseroute.catalogue.kinematics.link_frames import link_frames
from greaseroute.catalogue.kinematics.placed import PlacedMachine, PlacedSolid, Pose, place
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.drawings.svg import Point2, View

Seen = Literal["side", "top"]
HOME = Pose(0.0, 0.0, 90.0)  # heading east: site x is forward, site y is left

# Tones that differ in lightness, told by what a part is called; the first that fits is taken.
TONES = (
    (("wheel", "tyre"), "m-wheel"),
    (("drum",), "m-drum"),
    (("track",), "m-run"),
    (("cab", "glass", "canopy"), "m-cab"),
    (("cylinder", "ram"), "m-cyl"),
    (("bucket", "blade", "body", "shovel", "ripper", "fork", "bowl", "apron"), "m-tool"),
    (("boom", "arm", "lift", "link", "rod", "lever", "mast", "jib"), "m-arm"),
)
HUB_SHARE = 0.4  # of a wheel's radius
LEAST_ROUND = 0.85  # 4 pi area / girth^2: a square has 0.79, a hexagon 0.91, a circle 1
INSET_M = 0.13  # from a track's or a cab's edge to the line drawn inside it


@dataclass(frozen=True, slots=True)
class Shape:
    """One solid as seen: its outline in metres of the view, a style class, how near it is.

    ``inside`` is a second outline within it by which people know the part: hub, track, window.
    """

    outline: BaseGeometry
    tone: str
    near: float
    inside: BaseGeometry | None = None


@dataclass(frozen=True, slots=True)
class Projection:
    """From a point of the machine's frame to the picture."""

    seen: Seen
    view: View

    def __call__(self, at_m: Point3) -> Point2:
        """Place of a point in the picture."""
        return self.view(at_m[0], at_m[2] if self.seen == "side" else at_m[1])


def at_home(
    machine: PlacedMachine | MachineType, *, posture: str, slew_deg: float
) -> PlacedMachine:
    """The machine in its own frame: x forward, y left, origin on the ground below its axis."""
    kind = machine.machine_type if isinstance(machine, PlacedMachine) else machine
    return place(kind, Pose(HOME.x_m, HOME.y_m, HOME.heading_deg, slew_deg), posture=posture)


def shapes(home: PlacedMachine, seen: Seen) -> list[Shape]:
    """Every solid, those further from the eye first."""
    names = {cylinder.name for cylinder in home.machine_type.cylinders}
    found = [
        _shape(solid, seen, outline=outline, cylinder=solid.link in names)
        for solid, outline in zip(home.solids, _outlines(home.solids, seen), strict=True)
    ]
    return sorted(found, key=lambda shape: shape.near)


def _outlines(solids: Sequence[PlacedSolid], seen: Seen) -> list[BaseGeometry]:
    """The outline of each solid, on a grid of a tenth of a millimetre."""
    flat = np.vstack([solid.points_m for solid in solids])[:, [0, 2 if seen == "side" else 1]]
    of_solid = np.repeat(np.arange(len(solids)), [len(solid.points_m) for solid in solids])
    clouds = shapely.multipoints(np.round(flat, 4), indices=of_solid)
    return list(np.asarray(shapely.convex_hull(clouds)))


def _shape(solid: PlacedSolid, seen: Seen, *, outline: BaseGeometry, cylinder: bool) -> Shape:
    points = solid.points_m
    # From the right the nearest part has the smallest y; from above it has the largest z.
    near = -float(points[:, 1].min()) if seen == "side" else float(points[:, 2].max())
    tone = "m-cyl" if cylinder else _tone(solid)
    if tone == "m-drum":
        tone = "m-wheel" if _rolls(solid) else "m-main"
    if tone == "m-wheel" and seen == "side":
        return _wheel(outline, near)
    inset = outline.buffer(-INSET_M, join_style="mitre") if tone in ("m-run", "m-cab") else None
    return Shape(outline, tone, near, None if inset is None or inset.is_empty else inset)


def _rolls(solid: PlacedSolid) -> bool:
    """Whether a drum is as round as a wheel seen from the side: no frame of one, no mixer's."""
    outline = shapely.MultiPoint(solid.points_m[:, [0, 2]]).convex_hull
    return 4 * math.pi * outline.area > LEAST_ROUND * outline.length**2


def _wheel(outline: BaseGeometry, near: float) -> Shape:
    """A wheel, which the catalogue keeps as a prism of few sides, as the circle it stands for."""
    left, bottom, right, top = outline.bounds
    middle = Point((left + right) / 2, (bottom + top) / 2)
    radius_m = (top - bottom) / 2
    hub = middle.buffer(HUB_SHARE * radius_m, quad_segs=6)
    return Shape(middle.buffer(radius_m, quad_segs=9), "m-wheel", near, hub)


def _tone(solid: PlacedSolid) -> str:
    for text in (solid.name.lower(), solid.link.lower()):
        named = {word.rstrip("s") for word in re.findall("[a-z]+", text)}
        for words, tone in TONES:
            if named & set(words):
                return tone
    return "m-main"


def silhouette(found: list[Shape]) -> BaseGeometry:
    """All shapes as one."""
    return shapely.union_all([shape.outline for shape in found])


def pins(home: PlacedMachine) -> list[Point3]:
    """Where links turn and cylinders are held, in the machine's frame."""
    kind = home.machine_type
    frames = link_frames(kind, home.posture, home.pose.slew_deg)
    turning = [link for link in kind.links if link.axis in ("pitch", "steer")]
    held = [point_at(frames[link.name], (0.0, 0.0, 0.0)) for link in turning]
    for cylinder in kind.cylinders:
        held.append(point_at(frames[cylinder.head_link], cylinder.head_pin_m))
        held.append(point_at(frames[cylinder.rod_link], cylinder.rod_pin_m))
    return held
