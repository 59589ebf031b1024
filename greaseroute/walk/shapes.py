"""Arrays of coordinates made into arrays of shapes."""

from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import GEOSException
from shapely.geometry.base import BaseGeometry

from greaseroute.walk.arrays import Floats

Shapes = NDArray[np.object_]
_S = TypeVar("_S", BaseGeometry, Shapes)


def lines_between(start: Floats, end: Floats) -> Shapes:
    """Straight lines from each of (n, 2) points to the other of its row."""
    return np.asarray(shapely.linestrings(np.stack([start, end], axis=1)), dtype=object)


def polygons_of(corners: Floats) -> Shapes:
    """Polygons of (n, k, 2) corners."""
    return np.asarray(shapely.polygons(corners), dtype=object)


def clip(shapes: _S, box: tuple[float, float, float, float]) -> _S:
    """What of a shape, or of an array of them, lies in a box (least x, least y, most x, most y).

    The quick way of the geometry library gives up where so little of a ring is left that it is no
    ring (far from zero this comes about by rounding); the slow way is taken then.
    """
    try:
        return shapely.clip_by_rect(shapes, *box)
    except GEOSException:
        return shapely.intersection(shapes, shapely.box(*box))
