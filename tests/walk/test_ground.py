"""Free ground: closed forms, what touches, what is refused, and reasons."""

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box

from greaseroute.errors import UnfitProblem
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.no_path import NoPath
from greaseroute.walk.obstacles import clean

YARD = box(-50, -50, 50, 50)


def length_m(ground, a, b):
    return ground.distances_m([a, b])[0, 1]


def test_straight_where_nothing_is_in_the_way():
    ground = FreeGround(YARD, [])
    assert length_m(ground, (0, 0), (3, 4)) == 5.0
    assert ground.path((0, 0), (3, 4)).equals(LineString([(0, 0), (3, 4)]))


def test_round_one_square():
    # from the middle of one side to the middle of the opposite one, both 1 m off a 4 m square:
    # over two corners, sqrt(1 + 2^2) + 4 + sqrt(1 + 2^2)
    ground = FreeGround(YARD, [box(-2, -2, 2, 2)])
    assert length_m(ground, (-3, 0), (3, 0)) == pytest.approx(4 + 2 * 5**0.5, rel=1e-15)


def test_round_a_row_of_squares_with_narrow_gaps():
    # five 2 m squares in a row with 1 cm gaps; from under the first to above it: the quicker way is
    # round the left end, sqrt(1 + 1) + 2 + sqrt(1 + 1); from under the third to above it one goes
    # through the nearest gap: 1 m + 1 m aside, then 2 m up, and back
    row = [box(2.01 * k, 0, 2.01 * k + 2, 2) for k in range(5)]
    ground = FreeGround(YARD, row)
    left = length_m(ground, (1, -1), (1, 3))
    assert left == pytest.approx(2 * 2**0.5 + 2, rel=1e-12)
    middle = length_m(ground, (5.02, -1), (5.02, 3))
    assert middle == pytest.approx(2 * 2**0.5 + 2, rel=1e-12)
    # the same row without gaps: out to an end and back, 5 m along, from 1 m below
    whole = FreeGround(YARD, [box(2 * k, 0, 2 * k + 2, 2) for k in range(5)])
    assert length_m(whole, (5, -1), (5, 3)) == pytest.approx(2 * 26**0.5 + 2, rel=1e-9)


def test_tangent_to_a_convex_polygon_approaching_a_circle():
    # a regular 720-gon of radius 5, points 13 m left and right of its centre: two tangents of
    # sqrt(13^2 - 5^2) = 12 m and the arc between, 5 (pi - 2 acos(5 / 13))
    angle = 2 * np.pi * np.arange(720) / 720
    ground = FreeGround(YARD, [Polygon(5 * np.c_[np.cos(angle), np.sin(angle)])])
    circle_m = 24 + 5 * (np.pi - 2 * np.arccos(5 / 13))
    found = length_m(ground, (-13, 0), (13, 0))
    assert found < circle_m
    assert found == pytest.approx(circle_m, rel=1e-5)


@pytest.mark.parametrize("turn_deg", [0, 37, 211.5])
def test_squares_that_touch_leave_no_gap_however_they_are_turned(turn_deg):
    corner_to_corner = [box(0, 0, 2, 2), box(2, 2, 4, 4)]
    edge_to_edge = [box(0, 0, 2, 2), box(2, 0.5, 4, 3)]
    for pair in (corner_to_corner, edge_to_edge):
        turned = [affinity.rotate(s, turn_deg, origin=(0, 0)) for s in pair]
        a, b = (
            affinity.rotate(Point(p), turn_deg, origin=(0, 0)).coords[0]
            for p in ((1.9, 2.6), (2.6, 0.2))
        )
        straight = np.hypot(a[0] - b[0], a[1] - b[1])
        assert length_m(FreeGround(YARD, turned), a, b) > straight + 1.5


def test_an_obstacle_flush_with_the_boundary_cuts_it_in_two_however_turned():
    for turn_deg in (0, 37, 123):
        yard = affinity.rotate(box(0, 0, 20, 10), turn_deg, origin=(0, 0))
        wall = affinity.rotate(box(9, 0, 11, 10), turn_deg, origin=(0, 0))
        a, b = (
            affinity.rotate(Point(p), turn_deg, origin=(0, 0)).coords[0] for p in ((5, 5), (15, 5))
        )
        ground = FreeGround(yard, [wall], names=["shed"])
        assert length_m(ground, a, b) == np.inf
        found = ground.path(a, b)
        assert isinstance(found, NoPath)
        assert found.where == "shed"
        assert found.reason.startswith("shed closes every way from (")


def test_points_on_an_edge_are_free_and_edges_may_be_walked_along():
    ground = FreeGround(YARD, [box(0, 0, 10, 2)])
    assert ground.is_free([(5, 0), (0, 0), (5, 1)]).tolist() == [True, True, False]
    assert length_m(ground, (2, 0), (8, 0)) == 6.0
    # over both right-hand corners: 5 + 2 + 5
    assert length_m(ground, (5, 0), (5, 2)) == pytest.approx(12.0, rel=1e-14)


def test_a_point_that_is_not_free_names_what_it_is_in():
    ground = FreeGround(YARD, [box(0, 0, 4, 4)], 0.5, names=["stockpile A"])
    inside = ground.path((2, 2), (10, 10))
    assert inside == NoPath(
        reason="the start (2.00 2.00) is inside stockpile A", where="stockpile A",
        helps="move the point off stockpile A",
    )  # fmt: skip
    near = ground.path((10, 10), (4.3, 2))
    assert near.reason == "the goal (4.30 2.00) is nearer than 0.5 m to stockpile A"
    out = ground.path((60, 0), (10, 10))
    assert (out.where, out.reason) == ("boundary", "the start (60.00 0.00) is outside the boundary")
    table = ground.distances_m([(2, 2), (10, 10)])
    assert table.tolist() == [[np.inf, np.inf], [np.inf, 0.0]]


def test_a_yard_in_a_ring_of_two_walls_is_cut_off_by_both():
    left = Polygon([(0, 0), (5, 0), (5, 1), (1, 1), (1, 9), (5, 9), (5, 10), (0, 10)])
    right = affinity.scale(left, -1, 1, origin=(5, 5))
    ground = FreeGround(YARD, [left, right, box(20, 20, 22, 22)], names=["west", "east", "shed"])
    found = ground.path((3, 5), (-5, 5))
    # opening either wall alone is enough, so the one nearer to the straight line is named
    assert found.where == "west"
    double = FreeGround(
        YARD, [box(-1, -1, 11, 11).difference(box(0, 0, 10, 10)), left, right],
        names=["outer", "west", "east"],
    )  # fmt: skip
    nested = double.path((3, 5), (-5, 5))
    assert nested.reason.endswith("cut off by west, east")


def test_holes_in_obstacles_are_ground_of_their_own():
    ring = box(0, 0, 10, 10).difference(box(2, 2, 8, 8))
    ground = FreeGround(YARD, [ring], names=["ring wall"])
    assert length_m(ground, (3, 3), (7, 7)) == pytest.approx(32**0.5, rel=1e-15)
    assert length_m(ground, (3, 3), (20, 20)) == np.inf
    assert ground.path((3, 3), (20, 20)).where == "ring wall"


def test_a_bow_tie_closes_both_halves_and_is_told():
    bow_tie = Polygon([(0, 0), (4, 4), (4, 0), (0, 4)])
    ground = FreeGround(YARD, [bow_tie], names=["heap 3"])
    assert ground.is_free([(0.5, 2), (3.5, 2), (2, 3)]).tolist() == [False, False, True]
    assert ground.mended == (
        "heap 3: Self-intersection at (2 2); all ground it winds round is closed",
    )


def test_doubled_vertices_change_nothing():
    plain = FreeGround(YARD, [box(0, 0, 4, 4)])
    doubled = FreeGround(YARD, [Polygon([(0, 0), (4, 0), (4, 0), (4, 4), (4, 4), (0, 4), (0, 0)])])
    pair = [(-1, 2), (5, 2)]
    assert doubled.distances_m(pair)[0, 1] == plain.distances_m(pair)[0, 1]
    assert doubled.mended == ()


@pytest.mark.parametrize(
    ("shape", "text"),
    [
        (Polygon([(0, 0), (4, 4), (2, 2)]), "pond: has no area near (0 0); allowed: a shape with"),
        (Polygon(), "pond: is empty; allowed: a shape with an area, finite coordinates; draw its"),
        (LineString([(0, 0), (np.inf, 4)]), "pond: has a coordinate that is not a number"),
        (LineString([(1, 1), (1, 1)]), "pond: is a line without length"),
    ],
)
def test_what_has_no_area_is_refused_by_name(shape, text):
    with pytest.raises(UnfitProblem) as caught:
        FreeGround(YARD, [shape], names=["pond"])
    assert text in str(caught.value)


def test_misuse_is_refused():
    with pytest.raises(UnfitProblem, match="names: 2 names for 1 obstacles; allowed: one name"):
        FreeGround(YARD, [box(0, 0, 1, 1)], names=["a", "b"])
    with pytest.raises(UnfitProblem, match=r"clearance_m: -1; allowed: 0 or more metres"):
        FreeGround(YARD, [], -1)
    with pytest.raises(UnfitProblem, match=r"array of shape \(1, 3\); allowed: \(n, 2\) finite"):
        FreeGround(YARD, []).distances_m([(1, 2, 3)])
    with pytest.raises(UnfitProblem, match=r"speed_m_s: 0; allowed: above 0 m/s"):
        FreeGround(YARD, []).travel([(0, 0)], speed_m_s=0)


def test_no_points_no_distances():
    assert FreeGround(YARD, []).distances_m([]).shape == (0, 0)


def test_ground_that_is_closed_altogether():
    ground = FreeGround(box(0, 0, 4, 4), [box(-1, -1, 5, 5)], names=["hall"])
    assert ground.distances_m([(1, 1), (2, 2)]).tolist() == [[np.inf] * 2] * 2
    assert ground.path((1, 1), (2, 2)).where == "hall"


def test_the_clearance_is_kept_and_costs_at_most_its_tolerance():
    corner = Polygon([(0, 0), (6, 1), (7, 5), (3, 8), (-1, 4)])
    ground = FreeGround(YARD, [corner], 0.5)
    path = ground.path((-3, -1), (9, 7))
    kept_m = path.distance(corner)
    # Corners are passed on a chord that touches the true arc in its middle.
    assert 0.5 <= kept_m <= 0.5 * 1.001 + 1e-9


def test_offsets_keep_straight_sides_exact_and_corners_within_the_stated_share():
    # At a square corner the two chords meet the sides at 1 / cos(22.5 deg) = 1.0824 clearances.
    ground = FreeGround(YARD, [box(0, 0, 4, 2)], 0.5)
    assert ground.distances_m([(0, -0.5), (4, -0.5)])[0, 1] == pytest.approx(4.0, abs=1e-12)
    hole = ground.free.interiors[0]
    far = max(box(0, 0, 4, 2).distance(Point(corner)) for corner in hole.coords)
    assert far == pytest.approx(0.5 / np.cos(np.pi / 8), rel=2e-3)
    assert box(0, 0, 4, 2).distance(hole) == pytest.approx(0.5, abs=1e-9)


def test_a_barrier_line_is_not_walked_through_at_any_clearance():
    fence = LineString([(0, -50), (0, 10), (5, 20)])
    for clearance_m in (0.0, 0.3):
        ground = FreeGround(YARD, [fence], clearance_m, names=["fence"])
        path = ground.path((-1, 0), (1, 0))
        assert not path.crosses(fence)
        # up to the end at (5, 20) and back: within 2 mm where there is no clearance
        least_m = np.hypot(6, 20) + LineString([(1, 0), (5, 20)]).length
        assert path.length > least_m - 1.0
        assert path.length >= 40


def test_far_from_the_origin_as_well_as_near():
    # the same scene moved by 500 km and 5,000 km, as in a national grid: coordinates are good to
    # 1e-9 m there, lengths to the same
    shapes = [box(0, 0, 4, 3), box(5, -2, 7, 6), Polygon([(-3, 1), (-1, 5), (-4, 6)])]
    points = np.array([(-5, 0), (9, 2), (4.5, 1), (-2, 7)])
    near = FreeGround(YARD, shapes).distances_m(points)
    move = np.array([500_000.0, 5_000_000.0])
    moved = [affinity.translate(s, *move) for s in [YARD, *shapes]]
    far = FreeGround(moved[0], moved[1:]).distances_m(points + move)
    assert np.abs(near - far).max() < 1e-7


def test_a_multipolygon_boundary_has_no_way_between_its_parts():
    two = shapely.MultiPolygon([box(0, 0, 5, 5), box(10, 0, 15, 5)])
    found = FreeGround(two, []).path((1, 1), (12, 1))
    assert found.reason == "no way from (1.00 1.00) to (12.00 1.00): cut off by the boundary"


def test_a_hole_no_larger_than_rounding_is_none():
    """Shapes that touch in a point leave such holes; GEOS refuses to thin a ring of two corners."""
    speck = [(5, 5), (5 + 4e-10, 5), (5, 5 + 4e-10)]
    ground = Polygon(box(0, 0, 10, 10).exterior, [speck, box(2, 2, 3, 3).exterior])
    cleaned = clean(ground)
    assert len(cleaned.interiors) == 1
    assert cleaned.area == pytest.approx(99.0)
