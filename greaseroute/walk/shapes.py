"""Arrays of coordinates made into arrays of shapes."""

import numpy as np
import shapely
from numpy.typing import NDArray

from greaseroute.walk.arrays import Floats

Shapes = NDArray[np.object_]


def lines_between(start: Floats, end: Floats) -> Shapes:
    """Straight lines from each of (n, 2) points to the other of its row."""
    return np.asarray(shapely.linestrings(np.stack([start, end], axis=1)), dtype=object)


def polygons_of(corners: Floats) -> Shapes:
    """Polygons of (n, k, 2) corners."""
    return np.asarray(shapely.polygons(corners), dtype=object)
