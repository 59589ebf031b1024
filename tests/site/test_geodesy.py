"""The local plane: metres that are metres, whatever the files' coordinates."""

import numpy as np
import pytest
from pyproj import Geod

from greaseroute.errors import UnknownName
from greaseroute.site.geodesy import local_plane

GEOD = Geod(ellps="WGS84")


@pytest.mark.parametrize("anchor", [(6.2, 55.3), (-70.0, -33.0), (20.0, 0.0), (179.999, 68.0)])
def test_lengths_on_a_site_are_geodesic_lengths_to_one_in_a_million(anchor):
    plane = local_plane("lon/lat", anchor)
    rng = np.random.default_rng(11)
    # Points within about 2 km of the anchor, written as lon/lat.
    lon, lat, _ = GEOD.fwd(
        np.full(40, anchor[0]),
        np.full(40, anchor[1]),
        rng.uniform(0, 360, 40),
        rng.uniform(10, 2000, 40),
    )
    xy = plane.to_plane(np.column_stack([lon, lat]))
    true_m = GEOD.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]
    plane_m = np.hypot(*(xy[1:] - xy[:-1]).T)
    assert np.abs(plane_m / true_m - 1).max() < 1e-6


def test_the_anchor_is_the_origin_and_y_is_north():
    plane = local_plane("lon/lat", (6.2, 55.3))
    assert plane.origin_lonlat == (6.2, 55.3)
    assert plane.point(6.2, 55.3) == pytest.approx((0.0, 0.0), abs=1e-6)
    x, y = plane.point(6.2, 55.301)
    assert x == pytest.approx(0.0, abs=1e-6)
    assert y == pytest.approx(GEOD.inv(6.2, 55.3, 6.2, 55.301)[2], rel=1e-9)


def test_back_to_the_files_coordinates():
    plane = local_plane("lon/lat", (6.2, 55.3))
    there = plane.to_source(plane.to_plane(np.array([[6.21, 55.305]])))
    assert there[0] == pytest.approx([6.21, 55.305], abs=1e-9)


def test_a_grid_is_brought_to_true_metres():
    # UTM has scale 0.9996 on its central meridian (zone 32: 9 deg E, easting 500 000):
    # 1000 m of grid are 1000 / 0.9996 = 1000.4 m of ground.
    plane = local_plane("EPSG:32632", (500_000.0, 5_800_000.0))
    (x0, y0), (x1, y1) = plane.point(500_000.0, 5_800_000.0), plane.point(500_000.0, 5_801_000.0)
    assert np.hypot(x1 - x0, y1 - y0) == pytest.approx(1000 / 0.9996, rel=1e-6)
    assert plane.origin_lonlat[0] == pytest.approx(9.0, abs=1e-6)


def test_local_metres_are_left_alone():
    plane = local_plane("local metres", (123.0, 456.0))
    assert plane.point(7.25, -3.5) == (7.25, -3.5)
    assert plane.origin_lonlat is None


def test_an_unknown_grid():
    with pytest.raises(UnknownName, match="coordinates: EPSG:99999; allowed: a known EPSG number"):
        local_plane("EPSG:99999", (0.0, 0.0))
