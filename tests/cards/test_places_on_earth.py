"""Walk files of a site with an anchor, opened by GDAL (pyogrio); without one nothing is WGS 84."""

import math
import re
from dataclasses import replace

import pytest
from pyproj import Geod

from greaseroute.cards.card_model import walk_blocks
from greaseroute.cards.geojson import walk_geojson
from greaseroute.cards.gpx import walk_gpx
from greaseroute.cards.lonlat import plane_of_phone
from greaseroute.site.anchor import Anchor, AnchorPoint
from greaseroute.site.lonlat import lonlat_of
from tests.cards import sample

pyogrio = pytest.importorskip("pyogrio")
WGS84 = Geod(ellps="WGS84")
CORNER = (8.25, 54.5)


def there(x, y):
    """A point of the sample site by a geodesic from its corner; its north is true north."""
    return WGS84.fwd(*CORNER, math.degrees(math.atan2(x, y)), math.hypot(x, y))[:2]


@pytest.fixture(scope="module")
def anchored():
    corners = ((0.0, 0.0), (120.0, 0.0), (0.0, 90.0))
    points = tuple(
        AnchorPoint(x_m=x, y_m=y, lon=there(x, y)[0], lat=there(x, y)[1]) for x, y in corners
    )
    return replace(sample.site(), anchor=Anchor(points=points))


def off_m(lonlat, at_m):
    return WGS84.inv(*lonlat, *there(*at_m))[2]


def stops_of(plan):
    return [(s.stands[0].x_m, s.stands[0].y_m) for s in plan.technicians[0].stops]


def test_geojson_opens_within_half_a_metre(anchored, tmp_path):
    plan = sample.plan(anchored)
    file = tmp_path / "walk.geojson"
    file.write_text(walk_geojson(plan, to_lonlat=lonlat_of(anchored)), encoding="utf-8")
    meta, _, shapes, data = pyogrio.raw.read(file)
    assert meta["crs"] == "EPSG:4326"
    roles = list(data[list(meta["fields"]).index("role")])
    import shapely

    points = [shapely.from_wkb(s) for s, role in zip(shapes, roles, strict=True) if role == "stop"]
    wanted = stops_of(plan)
    assert len(points) == len(wanted)
    assert max(off_m((p.x, p.y), at) for p, at in zip(points, wanted, strict=True)) < 0.5


def test_gpx_opens_within_half_a_metre(anchored, tmp_path):
    plan = sample.plan(anchored)
    file = tmp_path / "walk.gpx"
    file.write_text(walk_gpx(plan, to_lonlat=lonlat_of(anchored)), encoding="utf-8")
    import shapely

    _, _, shapes, _ = pyogrio.raw.read(file, layer="tracks")
    line = shapely.get_coordinates(shapely.from_wkb(shapes[0])).tolist()
    path = plan.technicians[0].path
    assert len(line) == len(path)
    assert max(off_m(p, at) for p, at in zip(line, path, strict=True)) < 0.5


def test_without_an_anchor_a_reader_is_told_that_it_is_no_place_on_earth(yard, plan, tmp_path):
    assert lonlat_of(yard) is None
    assert plane_of_phone(yard) is None
    file = tmp_path / "walk.geojson"
    file.write_text(walk_geojson(plan), encoding="utf-8")
    crs = pyogrio.read_info(file)["crs"]
    assert "4326" not in crs
    assert crs.startswith("LOCAL_CS")
    assert [stop.geo for stop in walk_blocks(plan, yard)[0].stops] == [""] * 6


def test_each_stop_has_its_geo_link(anchored):
    plan = sample.plan(anchored)
    for stop, at in zip(walk_blocks(plan, anchored)[0].stops, stops_of(plan), strict=True):
        lat, lon = map(float, re.fullmatch(r"geo:([\d.-]+),([\d.-]+)", stop.geo).groups())
        assert off_m((lon, lat), at) < 0.5


def test_the_phone_finds_itself_on_the_site(anchored):
    geo = plane_of_phone(anchored)
    for at in ((10.0, 12.0), (110.0, 80.0)):
        lon, lat = there(*at)
        u, v = lon - geo["lon"], lat - geo["lat"]
        x, y = (geo[k][0] + geo[k][1] * u + geo[k][2] * v for k in "xy")
        assert math.dist((x, y), at) < 0.1
