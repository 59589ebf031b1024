"""Labels touch neither each other nor the edge; leaders never cross."""

import itertools
import math
import random

import pytest
from shapely.geometry import LineString, Point, box

from greaseroute.drawings.labels import GAP, Label, LabelField, crowded_first
from greaseroute.drawings.ring_labels import PITCH, ring_places

SIZE = (600.0, 400.0)


def crowd(seed, n):
    rng = random.Random(seed)
    return [(rng.uniform(150, 450), rng.uniform(100, 300)) for _ in range(n)]


@pytest.mark.parametrize("seed", range(5))
def test_many_labels_keep_clear_of_each_other_and_of_the_edge(seed):
    points = crowd(seed, 40)
    field = LabelField(SIZE, avoid_lines=[Point(at).buffer(5) for at in points])
    order = crowded_first(points)
    spots = [field.place(Label(points[k], 60, 17, 5)) for k in order]
    placed = [spot for spot in spots if spot is not None]
    # 40 boxes of 60 x 17 are two thirds of the 300 x 200 their points lie in; eight in ten must
    # still find a place.
    assert len(placed) >= 32
    page = box(0, 0, *SIZE)
    for spot in placed:
        assert page.contains(box(*spot.box).buffer(-0.01))
    for one, other in itertools.combinations(placed, 2):
        assert box(*one.box).distance(box(*other.box)) >= GAP - 1e-9
        if one.leader and other.leader:
            assert not LineString(one.leader).crosses(LineString(other.leader))


def test_a_lone_label_sits_beside_its_point():
    spot = LabelField(SIZE).place(Label((300, 200), 60, 17, 5))
    # Its nearest edge is the 5 kept clear, in the direction tried first, to the right.
    assert spot.box == pytest.approx((305, 191.5, 365, 208.5))
    assert spot.leader_length == pytest.approx(5)


def test_a_name_of_an_area_sits_on_it():
    spot = LabelField(SIZE).place(Label((300, 200), 60, 17, centred=True))
    assert spot.middle == (300, 200)
    assert spot.leader is None


def test_a_blocked_box_stays_free():
    field = LabelField(SIZE)
    field.block((300, 0, 600, 400))
    spot = field.place(Label((310, 200), 60, 17, 5))
    assert spot is None or spot.box[2] <= 300 - GAP


def test_where_there_is_no_room_there_is_no_label():
    assert LabelField((50.0, 50.0)).place(Label((25, 25), 60, 17)) is None


def test_a_walking_line_is_not_hidden_while_there_is_room():
    line = LineString([(300, 200), (600, 200)])  # to the right, where a label would go first
    spot = LabelField(SIZE, avoid_lines=[line]).place(Label((300, 200), 60, 17, 5))
    assert not box(*spot.box).intersects(line)


@pytest.mark.parametrize("seed", range(8))
def test_leaders_round_a_drawing_never_cross(seed):
    rng = random.Random(seed)
    shape = box(0, 0, 300, 120).union(box(250, 100, 400, 180))
    points = [(rng.uniform(0, 400), rng.uniform(0, 120)) for _ in range(35)]
    points += points[:3]  # left and right fittings lie on one point when seen from the side
    places = ring_places(shape, points)
    leaders = [LineString(pair) for pair in zip(points, places, strict=True)]
    crossing = [(a, b) for a, b in itertools.combinations(leaders, 2) if a.crosses(b)]
    assert crossing == []
    apart = min(math.dist(a, b) for a, b in itertools.combinations(places, 2))
    assert apart >= PITCH - 1e-6
    assert all(not shape.contains(Point(place)) for place in places)


def test_numbers_keep_out_of_taken_places():
    shape = box(0, 0, 200, 100)
    free = ring_places(shape, [(100, 100)])[0]
    other = ring_places(shape, [(100, 100)], keep_out=[free])[0]
    assert math.dist(free, other) >= PITCH - 1e-6


def test_no_points_need_no_places():
    assert ring_places(box(0, 0, 1, 1), []) == []


def test_the_most_crowded_point_comes_first():
    points = [(0, 0), (500, 0), (510, 0), (515, 0), (300, 300)]
    # Three lie within 70 of each other, two alone; ties keep their order.
    assert crowded_first(points) == [1, 2, 3, 0, 4]


def test_a_label_that_must_be_may_cross_a_leader():
    # A corridor one label high. The first label goes right and leads back along the corridor;
    # the second can go neither through it nor, without crossing its leader, to the left.
    field = LabelField((300.0, 100.0))
    field.block((0, 0, 300, 40))
    field.block((0, 60, 300, 100))
    first = field.place(Label((100, 50), 30, 14, 50))
    assert first.box == pytest.approx((150, 43, 180, 57))
    second = Label((120, 50), 30, 14, 70)
    assert field.place(second) is None
    assert field.place(second, crossing=True).box == pytest.approx((20, 43, 50, 57))
