import numpy as np
import pytest

from greaseroute.site.reach import Reach
from greaseroute.stands.reach import (
    BANDS,
    band_numbers,
    first_cut,
    sees,
    serves,
    shoulder_heights_m,
    stack_hulls,
)
from tests.stands.boxes import solid

REACH = Reach()  # arm 0.60, shoulder 1.40, bands to 0.30, 0.60, 1.50, 1.80
HOSE = np.array([0.25])
NOTHING = stack_hulls([])


def reached(feet, at, *, hulls=NOTHING, reach=REACH, hose=HOSE):
    table = serves(np.array([feet]), np.array([at]), hulls=hulls, reach=reach, hose_m=hose)
    return bool(table[0, 0])


@pytest.mark.parametrize(
    ("height_m", "band"),
    [
        (0.0, "kneel"),
        (0.30, "kneel"),
        (0.31, "stoop"),
        (0.60, "stoop"),
        (0.61, "stand"),
        (1.50, "stand"),
        (1.51, "overhead"),
        (1.80, "overhead"),
    ],
)
def test_bands_end_where_the_settings_say(height_m, band):
    assert BANDS[band_numbers(np.array([height_m]), REACH)[0]] == band


def test_above_overhead_and_below_the_feet_no_band_fits():
    # 1.81 > 1.80; 0.06 m under the feet is lower than the 0.05 m allowed for a deck's edge
    assert band_numbers(np.array([1.81, -0.06, -0.05]), REACH).tolist() == [-1, -1, 0]


def test_reach_ends_at_arm_plus_hose():
    # 0.60 + 0.25 = 0.85 m
    assert reached((0.0, 0.0, 0.0), (0.85, 0.0, 1.0))
    assert not reached((0.0, 0.0, 0.0), (0.851, 0.0, 1.0))


def test_a_longer_hose_alone_brings_it_into_reach():
    assert not reached((0.0, 0.0, 0.0), (0.95, 0.0, 1.0))
    assert reached((0.0, 0.0, 0.0), (0.95, 0.0, 1.0), hose=np.array([0.35]))


def test_height_counts_from_the_deck_one_stands_on():
    # 2.60 m is 0.80 m too high from the ground and 1.40 m above a deck at 1.20 m: standing
    assert not reached((0.0, 0.0, 0.0), (0.5, 0.0, 2.6))
    assert reached((0.0, 0.0, 1.2), (0.5, 0.0, 2.6))
    assert not reached((0.0, 0.0, 1.2), (0.5, 0.0, 1.0))  # 0.2 m below the deck


def test_shoulder_sinks_when_stooping_and_kneeling():
    # 1.40 x 0.65 = 0.91, 1.40 x 0.75 = 1.05, upright 1.40
    assert shoulder_heights_m(REACH) == pytest.approx((0.91, 1.05, 1.40, 1.40))


def test_a_wall_between_hides_the_fitting_and_a_low_one_does_not():
    # shoulder at (0, 0, 1.4), fitting at (0.8, 0, 1.0): at x = 0.3 the line is 1.25 m high
    high = stack_hulls([solid((0.3, -1.0, 0.0), (0.35, 1.0, 1.30), link="boom")])
    low = stack_hulls([solid((0.3, -1.0, 0.0), (0.35, 1.0, 1.20), link="boom")])
    assert not reached((0.0, 0.0, 0.0), (0.8, 0.0, 1.0), hulls=high)
    assert reached((0.0, 0.0, 0.0), (0.8, 0.0, 1.0), hulls=low)


def test_the_kneeling_shoulder_decides_what_a_body_hides():
    # fitting 0.2 m high: kneeling, shoulder 0.91; at x = 0.4 of 0.8 m the line is 0.555 m high.
    # A plate hanging down to 0.5 m there cuts it, one down to 0.6 m does not; a shoulder at 1.40
    # (line 0.8 m high at x = 0.4) would have been cut by both.
    cut = stack_hulls([solid((0.38, -1.0, 0.5), (0.42, 1.0, 1.5))])
    free = stack_hulls([solid((0.38, -1.0, 0.6), (0.42, 1.0, 1.5))])
    assert not reached((0.0, 0.0, 0.0), (0.8, 0.0, 0.2), hulls=cut)
    assert reached((0.0, 0.0, 0.0), (0.8, 0.0, 0.2), hulls=free)


def test_a_fitting_a_hand_deep_in_its_own_solid_is_reached_and_deeper_is_not():
    # level line (shoulder 1.40, fitting 1.40) along x; the body begins at x = 0.5
    body = stack_hulls([solid((0.5, -1.0, 0.0), (2.0, 1.0, 2.0))])
    assert reached((0.0, 0.0, 0.0), (0.64, 0.0, 1.4), hulls=body)  # 0.14 m in
    assert not reached((0.0, 0.0, 0.0), (0.66, 0.0, 1.4), hulls=body)  # 0.16 m in


def test_the_first_solid_cut_is_named():
    hulls = stack_hulls(
        [
            solid((0.6, -1, 0), (0.7, 1, 2), link="far"),
            solid((0.3, -1, 0), (0.4, 1, 2), link="near"),
        ]
    )
    start, end = (
        np.array([[0.0, 0.0, 1.4], [0.0, 5.0, 1.4]]),
        np.array([[2.0, 0, 1.4], [2.0, 5.0, 1.4]]),
    )
    cut = first_cut(start, end, hulls=hulls).astype(int)
    assert hulls.links[cut[0]] == "near"
    assert cut[1] == -1


def test_a_line_along_a_face_is_free():
    hulls = stack_hulls([solid((0.3, 0.0, 0.0), (0.6, 1.0, 2.0))])
    assert first_cut(np.array([[0.0, 0.0, 1.4]]), np.array([[2.0, 0.0, 1.4]]), hulls=hulls)[0] == -1


def test_cutting_agrees_with_points_sampled_on_the_lines():
    # 400 random lines against two boxes; a line is cut if any of 2,000 points on its looked-at
    # part lies inside a box shrunk by the 1 mm that grazing allows
    rng = np.random.default_rng(3)
    boxes = [((-0.5, -0.4, 0.2), (0.3, 0.5, 1.1)), ((0.4, -1.0, 0.8), (0.9, 0.2, 1.6))]
    hulls = stack_hulls([solid(*b) for b in boxes])
    start, end = rng.uniform(-2, 2, (400, 3)), rng.uniform(-2, 2, (400, 3))
    stop = 1 - 0.15 / np.linalg.norm(end - start, axis=1)
    share = np.linspace(0, 1, 2001)[None, :, None] * stop[:, None, None]
    points = start[:, None, :] + share * (end - start)[:, None, :]
    inside = np.zeros(points.shape[:2], dtype=bool)
    for low, high in boxes:
        inside |= ((points > np.array(low) + 0.001) & (points < np.array(high) - 0.001)).all(axis=2)
    ours = first_cut(start, end, hulls=hulls) >= 0
    grazing = (inside.sum(axis=1) <= 1) & (ours != inside.any(axis=1))
    assert 60 < inside.any(axis=1).sum() < 340  # both answers occur often
    assert (ours == inside.any(axis=1))[~grazing].all()
    assert grazing.sum() <= 2


def test_a_look_point_is_read_from_farther_than_an_arm():
    spots = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
    points = np.array([[1.9, 0.0, 1.0], [2.1, 0.0, 1.0], [1.0, 0.0, 2.5]])
    table = sees(spots, points, hulls=NOTHING, reach=REACH)
    assert table[0].tolist() == [True, False, False]  # 2 m away, 2.4 m up at most
