"""The anchor of a site in local metres, against another library's geodesy (pyproj's Geod)."""

import math

import numpy as np
import pytest
from pyproj import Geod

from greaseroute.site.anchor import Anchor, AnchorPoint
from greaseroute.site.anchor_fit import fit_anchor, why_unfit

WGS84 = Geod(ellps="WGS84")
CORNER = (8.25, 54.5)


def anchored(turned_deg, *, scale=1.0, off_m=0.0, places=((0, 0), (400, 0), (0, 300), (400, 300))):
    """Points laid out with geodesics from a corner; the last one is moved east by ``off_m``."""
    points = []
    for k, (x, y) in enumerate(places):
        # The site's y axis points ``turned_deg`` to the west of north.
        azimuth = math.degrees(math.atan2(x, y)) - turned_deg
        lon, lat, _ = WGS84.fwd(*CORNER, azimuth, scale * math.hypot(x, y))
        if off_m and k == len(places) - 1:
            lon, lat, _ = WGS84.fwd(lon, lat, 90.0, off_m)
        points.append(AnchorPoint(x_m=x, y_m=y, lon=lon, lat=lat))
    return Anchor(points=tuple(points))


@pytest.mark.parametrize("turned_deg", [0.0, 12.5, -140.0])
@pytest.mark.parametrize("points", [2, 4])
def test_a_point_of_the_site_lies_where_the_geodesic_leads(turned_deg, points):
    anchor = anchored(turned_deg)
    fit = fit_anchor(Anchor(points=anchor.points[:points]))
    for x, y in ((123.0, 45.0), (380.0, 290.0), (-50.0, 600.0)):
        lon, lat = fit.to_lonlat(np.array([[x, y]]))[0]
        azimuth = math.degrees(math.atan2(x, y)) - turned_deg
        there = WGS84.fwd(*CORNER, azimuth, math.hypot(x, y))
        assert WGS84.inv(lon, lat, *there[:2])[2] < 0.01  # metres
    assert fit.turned_deg == pytest.approx(turned_deg, abs=0.01)
    assert fit.residual_m < 0.005


def test_the_residual_tells_a_point_that_is_off():
    # One of four corners 4 m off: of a fit of four parameters a quarter to a half stays at it.
    assert 1.0 < fit_anchor(anchored(10.0, off_m=4.0)).residual_m < 2.5
    assert fit_anchor(anchored(10.0)).residual_m < 0.005


def test_what_cannot_be_right_is_told_with_its_figure():
    assert why_unfit(anchored(0.0)) == ""
    assert "1.100 times as far on the earth" in why_unfit(anchored(0.0, scale=1.1))
    assert why_unfit(anchored(0.0, places=((0, 0), (5, 5)))) == "points at least 20 m apart"
    why = why_unfit(anchored(0.0, off_m=30.0, places=((0, 0), (4000, 0), (0, 3000), (4000, 3000))))
    assert "within 10 m (these are up to" in why
