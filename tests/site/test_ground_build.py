"""From features to the plan: gates into barriers, lines to areas, Multi geometries to parts."""

import json
from datetime import time
from itertools import pairwise

import pytest

from greaseroute.site.files.ground_geojson import read_features
from greaseroute.site.files.ground_plan import boundary_of, build_ground, into_plane
from greaseroute.site.folder import gather
from greaseroute.site.geodesy import local_plane
from tests.site.planting import good_copy, plant

BOUNDARY = {
    "role": "boundary",
    "type": "Polygon",
    "coordinates": [[[0, 0], [100, 0], [100, 100], [0, 100], [0, 0]]],
}
FENCE = {"role": "barrier", "type": "LineString", "coordinates": [[10, 10], [50, 10], [50, 40]]}
RING = {
    "role": "barrier",
    "type": "LineString",
    "coordinates": [[10, 10], [30, 10], [30, 20], [10, 20], [10, 10]],
}


def _plan(*members):
    """A plan of features given as flat dictionaries: geometry keys and properties together."""
    features = [
        {
            "type": "Feature",
            "properties": {k: v for k, v in m.items() if k not in {"type", "coordinates"}},
            "geometry": {k: v for k, v in m.items() if k in {"type", "coordinates"}},
        }
        for m in (BOUNDARY, *members)
    ]
    text = json.dumps({"type": "FeatureCollection", "features": features})
    read, faults = read_features(text, "ground.geojson", lonlat=False)
    assert faults == []
    placed = into_plane(read, local_plane("local metres", (0, 0)))
    boundary, _ = boundary_of(placed, "ground.geojson")
    return build_ground(placed, boundary, "ground.geojson")


def _opening(*members):
    plan, faults = _plan(*members)
    assert faults == []
    return [tuple(round(c, 6) for c in p) for p in plan.gates[0].opening.coords]


def test_a_gate_point_is_drawn_onto_its_barrier():
    # 1.5 m off the fence at x = 20; 2 m wide by default: from x = 19 to 21 on y = 10.
    gate = {"role": "gate", "type": "Point", "coordinates": [20, 11.5]}
    assert _opening(FENCE, gate) == [(19, 10), (21, 10)]


def test_a_gate_of_another_width():
    gate = {"role": "gate", "type": "Point", "coordinates": [20, 10], "width_m": 5}
    assert _opening(FENCE, gate) == [(17.5, 10), (22.5, 10)]


def test_a_gate_goes_round_the_corner_of_its_barrier():
    gate = {"role": "gate", "type": "Point", "coordinates": [50, 10], "width_m": 4}
    assert _opening(FENCE, gate) == [(48, 10), (50, 10), (50, 12)]


def test_a_gate_at_the_end_of_its_barrier_ends_there():
    gate = {"role": "gate", "type": "Point", "coordinates": [10, 10], "width_m": 4}
    assert _opening(FENCE, gate) == [(10, 10), (12, 10)]


def test_a_gate_line_opens_what_lies_beside_it():
    gate = {"role": "gate", "type": "LineString", "coordinates": [[24, 10.3], [20, 9.9]]}
    assert _opening(FENCE, gate) == [(20, 10), (24, 10)]


@pytest.mark.parametrize("at", [[10, 10], [10.0, 10.4]])
def test_a_gate_over_the_seam_of_a_closed_fence(at):
    gate = {"role": "gate", "type": "Point", "coordinates": at, "width_m": 4}
    opening = _opening(RING, gate)
    length = sum(abs(a[0] - b[0]) + abs(a[1] - b[1]) for a, b in pairwise(opening))
    assert length == pytest.approx(4)
    assert (10, 10) in opening


def test_a_gate_line_over_the_seam_takes_the_short_way():
    gate = {"role": "gate", "type": "LineString", "coordinates": [[10, 12], [13, 10]]}
    assert _opening(RING, gate) == [(10, 12), (10, 10), (13, 10)]


def test_the_nearest_of_two_barriers_is_opened():
    other = {"role": "barrier", "type": "LineString", "coordinates": [[10, 12], [50, 12]]}
    gate = {"role": "gate", "type": "Point", "coordinates": [30, 11.2]}
    assert _opening(FENCE, other, gate) == [(29, 12), (31, 12)]


def test_a_gate_beyond_two_metres_is_refused():
    gate = {"role": "gate", "name": "lost", "type": "Point", "coordinates": [20, 12.01]}
    plan, faults = _plan(FENCE, gate)
    assert plan.gates == ()
    assert [(f.record, f.value) for f in faults] == [
        ("gate lost", "2.0 m from the nearest barrier")
    ]


def test_lines_with_a_width_become_areas():
    # Road 100 m x 8 m; crossing 12 m x 3 m (its default width).
    road = {
        "role": "haul_road",
        "type": "LineString",
        "coordinates": [[0, 50], [100, 50]],
        "width_m": 8,
    }
    crossing = {"role": "crossing", "type": "LineString", "coordinates": [[40, 44], [40, 56]]}
    plan, faults = _plan(road, crossing)
    assert faults == []
    assert plan.haul_roads[0].polygon.area == pytest.approx(800)
    assert plan.crossings[0].polygon.area == pytest.approx(36)


def test_multi_geometries_become_one_record_a_part():
    square = [[[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]]
    far = [[[p[0] + 50, p[1]] for p in square[0]]]
    heaps = {
        "role": "obstacle",
        "name": "heap",
        "type": "MultiPolygon",
        "coordinates": [square, far],
    }
    fence = {
        "role": "barrier",
        "kind": "wall",
        "type": "MultiLineString",
        "coordinates": [[[0, 5], [9, 5]], [[0, 7], [9, 7]]],
    }
    plan, _ = _plan(heaps, fence)
    assert [a.name for a in plan.obstacles] == ["heap", "heap"]
    assert [b.kind for b in plan.barriers] == ["wall", "wall"]


def test_hours_waits_and_factors_are_kept():
    square = [[[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]]
    members = [
        {"role": "no_go", "type": "Polygon", "coordinates": square, "hours": "12:00-12:30"},
        {"role": "slow_ground", "type": "Polygon", "coordinates": square, "time_factor": 1.5},
        {"role": "crossing", "type": "Polygon", "coordinates": square, "wait_s": 25},
    ]
    plan, _ = _plan(*members)
    (span,) = plan.no_go[0].hours
    assert (span.start, span.end) == (time(12), time(12, 30))
    assert plan.slow_ground[0].time_factor == 1.5
    assert plan.crossings[0].wait_s == 25.0


def test_a_height_is_a_property_or_the_third_number():
    members = [
        {"role": "spot_height", "type": "Point", "coordinates": [1, 2, 103.5]},
        {"role": "spot_height", "type": "Point", "coordinates": [3, 4, 1], "height_m": 99},
    ]
    plan, _ = _plan(*members)
    assert plan.spot_heights == ((1.0, 2.0, 103.5), (3.0, 4.0, 99.0))


def test_features_without_a_name_are_called_by_role_and_number():
    plan, _ = _plan(
        FENCE, {"role": "obstacle", **{k: BOUNDARY[k] for k in ("type", "coordinates")}}
    )
    assert plan.barriers[0].name == "barrier 2"
    assert plan.obstacles[0].name == "obstacle 3"


def test_a_boundary_in_parts_is_refused(tmp_path):
    folder = good_copy(tmp_path)
    ring = "[[[0, 0], [120, 0], [120, 80], [0, 80], [0, 0]]]"
    other = "[[[200, 0], [210, 0], [210, 9], [200, 0]]]"
    plant(
        folder,
        "ground.geojson",
        f'"Polygon", "coordinates": {ring}',
        f'"MultiPolygon", "coordinates": [{ring}, {other}]',
    )
    assert [str(f) for f in gather(folder)[1]] == [
        "ground.geojson:2: boundary 1: geometry = '2 parts'; allowed: one connected area; "
        "make a site folder for each part"
    ]
