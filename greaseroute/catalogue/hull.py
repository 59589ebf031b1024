"""Planes and surfaces of convex bodies, small enough to need no library."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def hull_planes(points_m: Array) -> Array:
    """Face planes of the convex hull of (n, 3) points, as (k, 4) rows a, b, c, d.

    a*x + b*y + c*z + d <= 0 inside, (a, b, c) of unit length. Every triple of points is tried
    (n is a few dozen at most); those with all points on one side carry a face.
    Raises ValueError where the points lie in one plane.
    """
    triples = np.array(list(combinations(range(len(points_m)), 3)))
    a, b, c = (points_m[triples[:, i]] for i in range(3))
    normals = np.cross(b - a, c - a)
    size = np.linalg.norm(normals, axis=1)
    keep = size > 1e-9
    normals, a = normals[keep] / size[keep, None], a[keep]
    heights = normals @ points_m.T - np.einsum("ij,ij->i", normals, a)[:, None]
    flipped = np.all(heights >= -1e-7, axis=1)
    faces = flipped | np.all(heights <= 1e-7, axis=1)
    normals[flipped] *= -1.0
    offsets = -np.max(normals @ points_m.T, axis=1)
    planes = np.unique(np.round(np.column_stack([normals, offsets])[faces], 9), axis=0)
    if len(planes) < 4:
        raise ValueError("the points of a solid lie in one plane")
    return planes


def box_planes(low: Sequence[float], high: Sequence[float]) -> Array:
    """Face planes (6, 4) of a box between two opposite corners."""
    sides = np.vstack([np.eye(3), -np.eye(3)])
    return np.column_stack([sides, np.concatenate([-np.asarray(high), np.asarray(low)])])


def profile_planes(corners: Array, y_m: tuple[float, float]) -> Array:
    """Face planes of the convex hull of (x, z) corners, drawn out from one y to the other.

    Raises ValueError where the corners lie on one line.
    """
    rim = _rim(corners)
    if len(rim) < 3:
        raise ValueError("the corners of a profile lie on one line")
    edge = np.roll(rim, -1, axis=0) - rim
    # The rim runs from x towards z, so outward is to the right of each edge.
    normal = np.column_stack([edge[:, 1], np.zeros(len(rim)), -edge[:, 0]])
    normal /= np.hypot(edge[:, 0], edge[:, 1])[:, None]
    offset = -(normal[:, 0] * rim[:, 0] + normal[:, 2] * rim[:, 1])
    ends = np.array([(0.0, -1.0, 0.0, y_m[0]), (0.0, 1.0, 0.0, -y_m[1])])
    return np.vstack([np.column_stack([normal, offset]), ends])


def _rim(corners: Array) -> Array:
    """Corners of a plane convex hull in turn (A. M. Andrew's monotone chain, 1979)."""
    points = sorted({(x, z) for x, z in corners.tolist()})
    halves = []
    for run in (points, points[::-1]):
        half: list[tuple[float, float]] = []
        for point in run:
            while len(half) > 1 and _turn(half[-2], half[-1], point) <= 1e-12:
                half.pop()
            half.append(point)
        halves.append(half[:-1])
    return np.array(halves[0] + halves[1])


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Above zero where the walk a, b, c turns from the first axis towards the second."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def depth_m(planes: Array, point_m: Array) -> float:
    """How deep a point lies below the surface; negative or zero outside."""
    return -float(np.max(planes[:, :3] @ point_m + planes[:, 3]))


def outside_m(planes: Array, point_m: Array) -> float:
    """Distance from a point to a convex body, 0 inside.

    The nearest point is found by projecting on half-spaces in turn with Dykstra's correction
    (Boyle and Dykstra 1986), which converges to the projection on their intersection.
    """
    nearest = point_m.astype(float)
    corrections = np.zeros((len(planes), 3))
    for _ in range(200):
        before = nearest.copy()
        for i, (a, b, c, d) in enumerate(planes):
            normal = np.array((a, b, c))
            moved = nearest + corrections[i]
            over = max(float(normal @ moved) + d, 0.0)
            nearest = moved - over * normal
            corrections[i] = moved - nearest
        if np.abs(nearest - before).max() < 1e-7:
            break
    return float(np.linalg.norm(nearest - point_m))
