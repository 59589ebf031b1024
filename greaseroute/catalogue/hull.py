"""Planes and surfaces of convex bodies, small enough to need no library."""

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
