"""Shapes cut to a box."""

import pytest
import shapely
from shapely import GEOSException

from greaseroute.walk.shapes import clip

# A hole of which the box leaves a sliver: the quick way of the geometry library gives up on it.
OUTSIDE = [(0.0, 0.0), (84.0, 116.0), (38.999998, 0.0), (0.0, 0.0)]
HOLE = [
    (25.43169517690906, 25.78448126051337),
    (28.74600937010872, 25.80240969478058),
    (28.440601654977346, 26.065518279851904),
    (28.39289940613321, 25.82011148398999),
    (28.469223004283826, 26.212762357369055),
    (25.43169517690906, 25.78448126051337),
]
BOX = (2.0, 2.0, 30.963165052996473, 25.954588579899)


def test_a_sliver_of_a_hole_is_cut_all_the_same():
    ground = shapely.Polygon(OUTSIDE, [HOLE])
    with pytest.raises(GEOSException):
        shapely.clip_by_rect(ground, *BOX)
    triangle = shapely.Polygon(OUTSIDE).intersection(shapely.box(*BOX))
    inside = clip(ground, BOX)
    assert triangle.area - 1.0 < inside.area < triangle.area


def test_what_lies_in_the_box_is_kept():
    assert clip(shapely.box(0, 0, 4, 4), (1, 1, 2, 9)).equals(shapely.box(1, 1, 2, 4))
