"""Solids of a machine type as arrays in the frames of their links, worked out once."""

from dataclasses import dataclass

import numpy as np

from greaseroute.catalogue.frames import Frame, point_at
from greaseroute.catalogue.hull import Array, box_planes, hull_planes, profile_planes
from greaseroute.catalogue.joint import Point3
from greaseroute.catalogue.link import Link, Solid


@dataclass(frozen=True, slots=True)
class Body:
    """Corners (n, 3) and face planes (k, 4) of one convex solid in the frame of ``link``."""

    link: str
    name: str
    points_m: Array
    planes: Array

    @property
    def bottom_m(self) -> float:
        """Height of the lowest corner."""
        return float(self.points_m[:, 2].min())

    @property
    def top_m(self) -> float:
        """Height of the highest corner."""
        return float(self.points_m[:, 2].max())

    def moved(self, frame: Frame) -> "Body":
        """The same body in the frame that ``frame`` leads to; a rigid motion keeps the planes."""
        turn, shift = frame[:3, :3], frame[:3, 3]
        planes = self.planes.copy()
        planes[:, :3] = self.planes[:, :3] @ turn.T
        planes[:, 3] -= planes[:, :3] @ shift
        return Body(self.link, self.name, self.points_m @ turn.T + shift, planes)


def bodies_of(links: tuple[Link, ...]) -> tuple[Body, ...]:
    """The bodies of all solids, in catalogue order. Raises ValueError for a flat solid."""
    found = []
    for link in links:
        for solid in link.solids:
            points = np.array(solid.corners_m, float)
            found.append(Body(link.name, solid.name, points, _planes(solid, points)))
    return tuple(found)


def _planes(solid: Solid, points: Array) -> Array:
    if solid.box_m is not None:
        return box_planes(*solid.box_m)
    if solid.profile_m is not None and solid.y_m is not None:
        return profile_planes(np.array(solid.profile_m, float), solid.y_m)
    return hull_planes(points)


def bar_body(name: str, ends_m: tuple[Point3, Point3], *, diameter_m: float) -> Body:
    """A square bar from pin to pin, standing for a cylinder; its link name is its own."""
    start, end = np.array(ends_m[0]), np.array(ends_m[1])
    along = end - start
    length = float(np.linalg.norm(along))
    along = along / length
    level = np.array((-along[1], along[0], 0.0))
    level = level / np.linalg.norm(level) if np.hypot(*level[:2]) > 1e-9 else np.eye(3)[1]
    frame = np.eye(4)
    frame[:3, :3] = np.column_stack([along, level, np.cross(along, level)])
    frame[:3, 3] = start
    half = diameter_m / 2
    corners = np.array(
        [(x, y, z) for x in (0.0, length) for y in (-half, half) for z in (-half, half)]
    )
    planes = box_planes((0.0, -half, -half), (length, half, half))
    return Body(name, name, corners, planes).moved(frame)


def bar_of(
    name: str, frames: tuple[Frame, Frame], *, pins_m: tuple[Point3, Point3], diameter_m: float
) -> Body:
    """The bar of a cylinder with head and rod link at ``frames``."""
    ends = (point_at(frames[0], pins_m[0]), point_at(frames[1], pins_m[1]))
    return bar_body(name, ends, diameter_m=diameter_m)
