"""The walk as GeoJSON and GPX."""

import json
from xml.etree import ElementTree as ET

import pytest
from jsonschema import Draft202012Validator

from greaseroute.cards.geojson import walk_geojson
from greaseroute.cards.gpx import NAMESPACE, walk_gpx
from greaseroute.site.lonlat import lonlat_of
from tests.cards import sample

ANCHOR = (13.4, 52.5)
# RFC 7946, sections 3.1.1 (a position: longitude, latitude), 3.1.2, 3.1.4 (a line has two or
# more positions), 3.2 (a feature has geometry and properties), 3.3 and 4 (no "crs" member).
POSITION = {
    "type": "array",
    "prefixItems": [
        {"type": "number", "minimum": -180, "maximum": 180},
        {"type": "number", "minimum": -90, "maximum": 90},
    ],
    "minItems": 2,
    "maxItems": 2,
}
RFC_7946 = {
    "type": "object",
    "required": ["type", "features"],
    "not": {"required": ["crs"]},
    "properties": {
        "type": {"const": "FeatureCollection"},
        "features": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["type", "geometry", "properties"],
                "properties": {
                    "type": {"const": "Feature"},
                    "properties": {"type": "object"},
                    "geometry": {
                        "oneOf": [
                            {
                                "properties": {
                                    "type": {"const": "Point"},
                                    "coordinates": POSITION,
                                }
                            },
                            {
                                "properties": {
                                    "type": {"const": "LineString"},
                                    "coordinates": {
                                        "type": "array",
                                        "items": POSITION,
                                        "minItems": 2,
                                    },
                                }
                            },
                        ]
                    },
                },
            },
        },
    },
}


@pytest.fixture(scope="module")
def to_lonlat():
    return lonlat_of(sample.site(lonlat=ANCHOR))


def test_the_anchor_is_the_origin_of_the_plane(to_lonlat):
    assert to_lonlat(0.0, 0.0) == pytest.approx(ANCHOR, abs=1e-9)


def test_a_hundred_metres_north_are_a_hundred_metres_on_the_ellipsoid(to_lonlat):
    # Meridian radius of WGS 84 at 52.5 degrees: a(1-e2)/(1-e2 sin2)^1.5 = 6 375 693 m, so 100 m
    # are 100/6375693 rad = 0.00089865965 degrees.
    lon, lat = to_lonlat(0.0, 100.0)
    assert lon == pytest.approx(13.4, abs=1e-9)
    assert lat - 52.5 == pytest.approx(0.00089865965, rel=1e-6)


def test_local_metres_have_no_lonlat(yard):
    assert lonlat_of(yard) is None


def test_geojson_in_lonlat_keeps_to_the_standard(plan, to_lonlat):
    data = json.loads(walk_geojson(plan, to_lonlat=to_lonlat))
    Draft202012Validator(RFC_7946).validate(data)
    roles = [f["properties"]["role"] for f in data["features"]]
    # One line; a stop for each of 5 machines and the store; 18 stands and the one at the store.
    assert (roles.count("walk"), roles.count("stop"), roles.count("stand")) == (1, 6, 19)


def test_the_schema_of_this_test_refuses_swapped_coordinates(plan, to_lonlat):
    def swapped(x, y):
        lon, lat = to_lonlat(x, y)
        return lat, lon + 90  # a "latitude" of 103 degrees

    data = json.loads(walk_geojson(plan, to_lonlat=swapped))
    assert not Draft202012Validator(RFC_7946).is_valid(data)


def test_geojson_in_local_metres_says_so(plan):
    data = json.loads(walk_geojson(plan))
    assert data["coordinates"] == "local metres"
    assert data["features"][0]["geometry"]["coordinates"][0] == [6.0, 6.0]


def test_a_walk_without_a_step_is_still_a_line(plan):
    walk = plan.technicians[0].model_copy(update={"path": ((6.0, 6.0),), "stops": ()})
    still = plan.model_copy(update={"technicians": (walk,)})
    line = json.loads(walk_geojson(still))["features"][0]["geometry"]["coordinates"]
    assert line == [[6.0, 6.0], [6.0, 6.0]]


def test_gpx_read_by_another_reader(plan, to_lonlat):
    gpxpy = pytest.importorskip("gpxpy")
    read = gpxpy.parse(walk_gpx(plan, to_lonlat=to_lonlat))
    assert [w.name for w in read.waypoints] == [
        "1 EX-01",
        "2 HT-02",
        "3 EX-03",
        "4 HT-04",
        "5 EX-05",
        "store",
    ]
    assert [t.name for t in read.tracks] == ["Walk of Ada"]
    # Straight legs: the length on the ellipsoid equals the plan's metres to a part in a
    # thousand (gpxpy measures on a sphere, which is 0.3 % off at most here).
    assert read.tracks[0].length_2d() == pytest.approx(plan.technicians[0].walk_m, rel=5e-3)


def test_gpx_has_its_elements_in_the_order_of_the_schema(plan, to_lonlat):
    # gpxType of GPX 1.1 is a sequence: metadata, wpt*, rte*, trk*.
    root = ET.fromstring(walk_gpx(plan, to_lonlat=to_lonlat))
    order = [child.tag.removeprefix(f"{{{NAMESPACE}}}") for child in root]
    assert order == ["metadata"] + ["wpt"] * 6 + ["trk"]


def test_gpx_survives_markup_and_control_characters_in_names(plan, to_lonlat):
    named = plan.model_copy(update={"site": "A<b>&\x07 yard"})
    root = ET.fromstring(walk_gpx(named, to_lonlat=to_lonlat))
    name = root.find(f"{{{NAMESPACE}}}metadata/{{{NAMESPACE}}}name")
    assert name.text == "Round for A<b>&? yard, 2031-03-04T05:30:00+01:00"
