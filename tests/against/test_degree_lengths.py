"""Metres in one degree on the WGS 84 ellipsoid.

The lengths along meridian and parallel, by the closed forms with the defining parameters of
WGS 84, a = 6 378 137 m and f = 1 / 298.257 223 563: north-south
a (1 - e2) / (1 - e2 sin2 lat)^(3/2) and east-west a cos lat / sqrt(1 - e2 sin2 lat), per radian.
The figures were worked out beforehand and agree with Geod of the PROJ library, asserted too.
"""

import numpy as np
import pytest
from pyproj import Geod

from greaseroute.site.geodesy import local_plane

# latitude: (metres in a degree of latitude, metres in a degree of longitude)
DEGREE_M = {0.0: (110_574.3, 111_319.5), 45.0: (111_131.8, 78_846.8), 52.5: (111_276.8, 67_910.2)}


@pytest.mark.parametrize(("lat", "lengths"), DEGREE_M.items())
def test_a_hundredth_of_a_degree_in_the_local_plane(lat, lengths):
    plane = local_plane("lon/lat", (10.0, lat))
    half = 0.005
    south, north = plane.point(10.0, lat - half), plane.point(10.0, lat + half)
    west, east = plane.point(10.0 - half, lat), plane.point(10.0 + half, lat)
    assert 100 * np.hypot(north[0] - south[0], north[1] - south[1]) == pytest.approx(
        lengths[0], abs=0.2
    )
    assert 100 * np.hypot(east[0] - west[0], east[1] - west[1]) == pytest.approx(
        lengths[1], abs=0.2
    )


@pytest.mark.parametrize(("lat", "lengths"), DEGREE_M.items())
def test_the_same_by_geod(lat, lengths):
    geod = Geod(ellps="WGS84")
    north_m = geod.inv(10.0, lat - 0.005, 10.0, lat + 0.005)[2]
    east_m = geod.inv(9.995, lat, 10.005, lat)[2]
    assert (100 * north_m, 100 * east_m) == (
        pytest.approx(lengths[0], abs=0.2),
        pytest.approx(lengths[1], abs=0.2),
    )
