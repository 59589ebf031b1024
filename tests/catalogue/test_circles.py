"""Two circles meeting: on both circles, on the side asked for, or a miss told in millimetres."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from greaseroute.catalogue.kinematics.circles import (
    CirclesApartError,
    circles_meet,
    direction_deg,
    turned,
    wrapped_deg,
)

coordinate = st.floats(-10, 10)
radius = st.floats(0.01, 10)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(coordinate, coordinate, coordinate, coordinate, radius, radius)
def test_meeting_lies_on_both_circles_and_on_its_side(x1, y1, x2, y2, r1, r2):
    apart = math.dist((x1, y1), (x2, y2))
    assume(abs(r1 - r2) + 1e-3 < apart < r1 + r2 - 1e-3)
    left = circles_meet(((x1, y1), r1), ((x2, y2), r2), side="left")
    right = circles_meet(((x1, y1), r1), ((x2, y2), r2), side="right")
    for point in (left, right):
        assert math.dist(point, (x1, y1)) == pytest.approx(r1, abs=1e-9)
        assert math.dist(point, (x2, y2)) == pytest.approx(r2, abs=1e-9)
    for point, sign in ((left, 1), (right, -1)):
        cross = (x2 - x1) * (point[1] - y1) - (y2 - y1) * (point[0] - x1)
        assert sign * cross > 0


def test_three_four_five():
    # Centres 5 apart, radii 3 and 4: a right angle at the meeting, 9/5 along, 12/5 aside.
    found = circles_meet(((0, 0), 3), ((5, 0), 4), side="left")
    assert found == pytest.approx((1.8, 2.4))


@pytest.mark.parametrize(
    ("centres_apart", "words"),
    [
        (8.0, "too far apart by 1000 mm"),
        (0.5, "too close by 500 mm"),
        (0.0, "too close by 1000 mm"),
    ],
)
def test_a_miss_is_told_in_millimetres(centres_apart, words):
    with pytest.raises(CirclesApartError, match=words):
        circles_meet(((0, 0), 3), ((centres_apart, 0), 4), side="left")


def test_angles_are_wrapped_to_a_half_turn_either_way():
    assert [wrapped_deg(a) for a in (190, -190, 180, -180, 360, 725)] == [-170, 170, 180, 180, 0, 5]


def test_turning_a_point_turns_its_direction():
    assert direction_deg((0, 0), turned((1, 1), 30)) == pytest.approx(75)
