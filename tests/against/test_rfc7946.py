"""The GeoJSON Format, RFC 7946 (August 2016): what a reader of ground plans must hold to.

Section numbers are those of the RFC.
"""

import json

import pytest

from greaseroute.site.files.ground_geojson import read_features

OUTER = [[6.20, 55.30], [6.21, 55.30], [6.21, 55.31], [6.20, 55.31], [6.20, 55.30]]
HOLE = [[6.203, 55.303], [6.203, 55.306], [6.206, 55.306], [6.206, 55.303], [6.203, 55.303]]


def _read(*rings, **more):
    geometry = {"type": "Polygon", "coordinates": list(rings)}
    properties = {"role": "obstacle", "name": "pond"}
    feature = {"type": "Feature", "properties": properties, "geometry": geometry}
    text = json.dumps({"type": "FeatureCollection", "features": [feature], **more})
    return read_features(text, "ground.geojson", lonlat=True)


@pytest.mark.parametrize("outer", [OUTER, OUTER[::-1]], ids=["counter-clockwise", "clockwise"])
@pytest.mark.parametrize("hole", [HOLE, HOLE[::-1]], ids=["clockwise", "counter-clockwise"])
def test_either_winding_is_taken(outer, hole):
    # 3.1.6: exterior rings are counter-clockwise, holes clockwise; "parsers SHOULD NOT reject
    # Polygons that do not follow the right-hand rule".
    (feature,), faults = _read(outer, hole)
    assert faults == []
    # 0.01 x 0.01 degrees less a hole of 0.003 x 0.003
    assert feature.shape.area == pytest.approx(1e-4 - 9e-6, rel=1e-9)


def test_a_position_is_longitude_then_latitude():
    # 3.1.1: "the first two elements are longitude and latitude", in that order.
    (feature,), _ = _read(OUTER)
    assert feature.shape.bounds == (6.20, 55.30, 6.21, 55.31)


@pytest.mark.parametrize("ring", [[[lat, lon] for lon, lat in [(120.0, 20.0), (121.0, 20.0)]] * 2])
def test_a_latitude_beyond_90_looks_swapped(ring):
    _, faults = _read([*ring, ring[0]])
    assert {f.do for f in faults} == {"it looks swapped: longitude comes first"}
    assert {f.allowed for f in faults} == {"longitude -180 to 180, then latitude -90 to 90"}


def test_a_third_number_is_a_height_and_more_are_refused():
    # 3.1.1: an optional third element is a height; more than three SHOULD NOT be.
    assert _read([[*p, 3.0] for p in OUTER])[1] == []
    assert len(_read([[*p, 3.0, 1.0] for p in OUTER])[1]) == 5


def test_a_ring_is_closed():
    # 3.1.6: the first and last positions are equal, "and they MUST contain identical values".
    features, (fault,) = _read(OUTER[:-1])
    assert features == []
    assert fault.do == "close the ring"


def test_a_ring_has_four_positions_or_more():
    # 3.1.6: "a linear ring is a closed LineString with four or more positions".
    features, (fault,) = _read([OUTER[0], OUTER[1], OUTER[0]])
    assert features == []
    assert (fault.value, fault.allowed) == ("3 positions", "at least 4")


def test_a_line_has_two_positions_or_more():
    # 3.1.4
    geometry = {"type": "LineString", "coordinates": [[6.2, 55.3]]}
    feature = {"type": "Feature", "properties": {"role": "barrier"}, "geometry": geometry}
    text = json.dumps({"type": "FeatureCollection", "features": [feature]})
    features, (fault,) = read_features(text, "ground.geojson", lonlat=True)
    assert features == []
    assert (fault.value, fault.allowed) == ("1 positions", "at least 2")


def test_there_is_no_crs_member():
    # 4: the coordinate reference system is always WGS 84; the crs member of 2008 is gone.
    features, (fault,) = _read(OUTER, crs={"type": "name", "properties": {"name": "EPSG:25832"}})
    assert len(features) == 1
    assert (fault.field, fault.do) == ("crs", "take it out")


def test_null_properties_and_geometry_are_told():
    # 3.2: both members must be there and may be null; a ground plan needs both.
    members = [
        {"type": "Feature", "properties": None, "geometry": None},
        {"type": "Feature", "properties": {"role": "obstacle"}, "geometry": None},
    ]
    text = json.dumps({"type": "FeatureCollection", "features": members})
    features, faults = read_features(text, "ground.geojson", lonlat=True)
    assert features == []
    assert [(f.record, f.field) for f in faults] == [
        ("feature 1", "properties"),
        ("obstacle 2", "geometry"),
    ]


def test_foreign_members_are_passed_over():
    # 6.1: foreign members of the collection or a feature are allowed.
    features, faults = _read(OUTER, name="survey", exported="2026-02-01")
    assert (len(features), faults) == (1, [])
