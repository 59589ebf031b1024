"""The local plane of a site against geodesics on the ellipsoid.

C. F. F. Karney, "Algorithms for geodesics", J. Geodesy 87, 2013, as in pyproj's Geod; the line of
his library's manual from 40.6 N 73.8 W to 51.6 N 0.5 W is 5551.759 km long.
"""

import itertools

import numpy as np
import pytest
from pyproj import Geod

from greaseroute.site.geodesy import local_plane

GEOD = Geod(ellps="WGS84")


def test_the_published_line():
    *_, metres = GEOD.inv(-73.8, 40.6, -0.5, 51.6)
    assert metres == pytest.approx(5_551_759.4, abs=0.1)


@pytest.mark.parametrize("anchor", [(8.3, 47.1), (-70.6, -33.4), (25.7, 66.5), (103.8, 1.3)])
def test_lengths_of_a_yard_are_those_of_the_ground(anchor):
    """Within a kilometre of the anchor a length is true to a part in a million."""
    plane = local_plane("lon/lat", anchor)
    spots = [(anchor[0] + dx, anchor[1] + dy) for dx in (-0.008, 0.006) for dy in (-0.005, 0.007)]
    flat = plane.to_plane(np.array(spots))
    for a, b in itertools.combinations(range(4), 2):
        *_, metres = GEOD.inv(*spots[a], *spots[b])
        ours = ((flat[a][0] - flat[b][0]) ** 2 + (flat[a][1] - flat[b][1]) ** 2) ** 0.5
        assert ours == pytest.approx(metres, rel=1e-6)
