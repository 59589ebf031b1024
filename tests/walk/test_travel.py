"""Least time: speed, waits, slow ground, slope."""

import numpy as np
import pytest
from scipy.optimize import minimize, minimize_scalar
from shapely.geometry import LineString, Polygon, box

from greaseroute.errors import UnfitProblem
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.no_path import NoPath
from greaseroute.walk.slow import SlowArea
from greaseroute.walk.waits import WaitLine, wait_seconds
from tests.walk.scenes import slope_factor

YARD = box(0, 0, 100, 100)
ROAD = [box(0, 48, 40, 52), box(43, 48, 90, 52), box(93, 48, 100, 52)]  # crossings at 40 and 90 m


def test_time_is_length_over_speed():
    ground = FreeGround(YARD, [box(40, 0, 60, 90)])
    points = [(30, 10), (70, 10)]
    slow, fast = ground.travel(points, speed_m_s=0.8), ground.travel(points, speed_m_s=1.6)
    metres = ground.distances_m(points)
    assert np.allclose(slow.length_m, metres, rtol=1e-15)
    assert np.allclose(slow.time_s, metres / 0.8, rtol=1e-15)
    assert np.allclose(slow.time_s, 2 * fast.time_s, rtol=1e-15)
    # the ground's own speed where none is given: 1.2 m/s
    assert np.allclose(ground.travel(points).time_s, metres / 1.2, rtol=1e-15)


def crossing_ground(wait_s):
    waits = [WaitLine(LineString([(39.9, 50), (43.1, 50)]), wait_s, "west crossing")]
    return FreeGround(YARD, ROAD, waits=waits)


def test_a_wait_is_added_once_per_passage():
    ground = crossing_ground(30.0)
    walks = ground.travel([(41, 40), (41, 60), (42, 45)], speed_m_s=1.0)
    # 20 m straight through the 3 m wide crossing and 30 s; 5.099 m on the same side, no wait
    assert walks.time_s[0, 1] == pytest.approx(50.0)
    assert walks.length_m[0, 1] == pytest.approx(20.0)
    assert walks.time_s[0, 2] == pytest.approx(np.hypot(1, 5))
    assert np.allclose(walks.time_s, walks.time_s.T)


def test_a_long_wait_is_walked_round_by_the_other_crossing():
    # through the crossing at 90 m: (41, 40) to its corner (90, 48), 4 m along it, and back
    detour_s = 2 * np.hypot(49, 8) + 4
    short = crossing_ground(detour_s - 20 - 1).travel([(41, 40), (41, 60)], speed_m_s=1.0)
    assert short.time_s[0, 1] == pytest.approx(detour_s - 1)
    assert short.length_m[0, 1] == pytest.approx(20.0)
    long = crossing_ground(detour_s - 20 + 1).travel([(41, 40), (41, 60)], speed_m_s=1.0)
    assert long.time_s[0, 1] == pytest.approx(detour_s)
    assert long.leg(0, 1).coords[1] == (90.0, 48.0)
    # at 2 m/s walking costs half, the wait the same: now the detour pays
    quick = crossing_ground(detour_s - 20 - 1).travel([(41, 40), (41, 60)], speed_m_s=2.0)
    assert quick.time_s[0, 1] == pytest.approx(detour_s / 2)


def test_a_point_on_the_wait_line_is_passed_once():
    wait = WaitLine(LineString([(39.9, 50), (43.1, 50)]), 10.0)
    below, on, above = np.array([[41.0, 40]]), np.array([[41.0, 50]]), np.array([[41.0, 60]])
    two = wait_seconds(below, on, [wait]) + wait_seconds(on, above, [wait])
    assert two.tolist() == [10.0]
    with pytest.raises(UnfitProblem, match=r"wait line bend: 3 points, 5 s; allowed: two points"):
        WaitLine(LineString([(0, 0), (1, 0), (1, 1)]), 5, "bend")


def test_no_way_is_a_reason_in_a_leg_as_well():
    ground = FreeGround(YARD, [box(0, 48, 100, 52)], names=["haul road north"])
    leg = ground.travel([(5, 5), (5, 95)]).leg(0, 1)
    assert isinstance(leg, NoPath)
    assert leg.where == "haul road north"


@pytest.mark.parametrize("factor", [1.24, 2.0, 5.0])
@pytest.mark.parametrize(
    "ends", [((20, 20), (70, 80)), ((10, 49), (90, 50.5)), ((5, 10), (95, 51))]
)
def test_snell_at_a_straight_border(factor, ends):
    # slow below y = 50: sin(slow angle) / sin(fast angle) = 1 / factor, and the time is the least
    # over the one unknown, where the border is passed
    ground = FreeGround(YARD, [], slow=[SlowArea(box(0, 0, 100, 50), factor)], speed_m_s=1.0)
    walks = ground.travel(ends)
    a, b = ends

    def time_s(x):
        return factor * np.hypot(x - a[0], 50 - a[1]) + np.hypot(b[0] - x, b[1] - 50)

    best = minimize_scalar(time_s, bounds=(0, 100), method="bounded", options={"xatol": 1e-9})
    assert walks.time_s[0, 1] == pytest.approx(best.fun, rel=1e-9)
    x, y = walks.leg(0, 1).coords[1]
    assert y == pytest.approx(50.0, abs=1e-12)
    sine_slow = (x - a[0]) / np.hypot(x - a[0], 50 - a[1])
    sine_fast = (b[0] - x) / np.hypot(b[0] - x, b[1] - 50)
    assert sine_slow / sine_fast == pytest.approx(1 / factor, rel=1e-5)
    assert walks.length_m[0, 1] == pytest.approx(walks.leg(0, 1).length, rel=1e-12)
    assert walks.time_s[1, 0] == pytest.approx(walks.time_s[0, 1], rel=1e-9)


def test_through_a_slow_strip_and_round_it():
    # a strip 10 m wide at factor 3 from wall to wall must be passed: two equal angles outside.
    # minimise over both passages
    strip = box(0, 45, 100, 55)
    ground = FreeGround(YARD, [], slow=[SlowArea(strip, 3.0)], speed_m_s=1.0)

    def time_s(x):
        return np.hypot(x[0] - 10, 25) + 3 * np.hypot(x[1] - x[0], 10) + np.hypot(80 - x[1], 25)

    exact = {"xatol": 1e-10, "fatol": 1e-13}
    best = minimize(time_s, [40, 50], method="Nelder-Mead", options=exact)
    assert ground.travel([(10, 20), (80, 80)]).time_s[0, 1] == pytest.approx(best.fun, rel=1e-8)
    # a strip that ends is walked round where that is quicker: over the corners (60, 45), (60, 55)
    part = FreeGround(YARD, [], slow=[SlowArea(box(0, 45, 60, 55), 5.0)], speed_m_s=1.0)
    around = part.travel([(55, 40), (55, 60)])
    assert around.time_s[0, 1] == pytest.approx(2 * 50**0.5 + 10, rel=1e-9)
    assert around.length_m[0, 1] == pytest.approx(around.time_s[0, 1])


def test_where_slow_areas_overlap_the_slowest_counts():
    areas = [SlowArea(box(0, 40, 100, 60), 2.0), SlowArea(box(0, 45, 100, 50), 4.0)]
    ground = FreeGround(YARD, [], slow=areas, speed_m_s=1.0)
    # straight up: 40 + 2 x 5 + 4 x 5 + 2 x 10 + 40
    assert ground.travel([(50, 0), (50, 100)]).time_s[0, 1] == pytest.approx(130.0, rel=1e-9)
    with pytest.raises(UnfitProblem, match=r"mud: time factor 0.5; allowed: 1 or more"):
        SlowArea(box(0, 0, 1, 1), 0.5, "mud")


def test_times_are_within_one_percent_of_a_refined_answer(monkeypatch):
    # the same with border points four times as dense
    slow = [
        SlowArea(Polygon([(20, 20), (60, 20), (70, 60), (50, 90), (25, 55)]), 3.0),
        SlowArea(box(55, 10, 90, 40), 1.5),
    ]
    sheds = [box(30, 30, 40, 70), box(60, 50, 64, 80)]
    points = np.random.default_rng(5).uniform(0, 100, (14, 2))
    coarse = FreeGround(YARD, sheds, slow=slow).travel(points)
    monkeypatch.setattr("greaseroute.walk.slow.STEP_M", 0.5)
    monkeypatch.setattr("greaseroute.walk.slow.LEAST_STEPS", 24)
    fine = FreeGround(YARD, sheds, slow=slow).travel(points)
    known = np.isfinite(fine.time_s) & (fine.time_s > 0)
    ratio = coarse.time_s[known] / fine.time_s[known]
    assert known.sum() > 100
    assert ratio.max() < 1.01
    assert ratio.min() > 1 - 1e-9


def test_slow_walks_stay_off_obstacles():
    shed = box(30, 30, 40, 70)
    slow = [SlowArea(box(20, 20, 60, 80), 2.0)]
    walks = FreeGround(YARD, [shed], slow=slow).travel([(10, 50), (90, 50), (35, 25), (35, 75)])
    for i in range(4):
        for j in range(i):
            leg = walks.leg(i, j)
            assert not leg.relate_pattern(shed, "T********")
            assert leg.length == pytest.approx(walks.length_m[i, j], rel=1e-9)


RAMP = [(0, 0, 0), (100, 0, 10), (0, 100, 0), (100, 100, 10)]  # 1 in 10 rising to the east


def test_slope_takes_toblers_time_up_and_down():
    ground = FreeGround(YARD, [], heights=RAMP, speed_m_s=1.0)
    times = ground.travel([(10, 50), (60, 50), (10, 80)]).time_s
    assert times[0, 1] == pytest.approx(50 * slope_factor(0.1), rel=1e-12)
    assert times[1, 0] == pytest.approx(50 * slope_factor(-0.1), rel=1e-12)
    assert times[0, 2] == pytest.approx(30.0, rel=1e-12)  # along the contour


def test_slope_changes_where_the_surface_does():
    # level to x = 50, then 1 in 5: each piece with its own time, 40 m and 30 m
    bend = [(0, 0, 0), (50, 0, 0), (100, 0, 10), (0, 100, 0), (50, 100, 0), (100, 100, 10)]
    ground = FreeGround(YARD, [], heights=bend, speed_m_s=1.0)
    time_s = ground.travel([(10, 50), (80, 50)]).time_s[0, 1]
    assert time_s == pytest.approx(40 + 30 * slope_factor(0.2), rel=1e-12)


def test_beyond_the_spot_heights_the_ground_is_level():
    inner = [(40, 40, 0), (60, 40, 2), (40, 60, 0), (60, 60, 2)]
    ground = FreeGround(YARD, [], heights=inner, speed_m_s=1.0)
    time_s = ground.travel([(10, 50), (90, 50)]).time_s[0, 1]
    assert time_s == pytest.approx(30 + 20 * slope_factor(0.1) + 30, rel=1e-9)


def test_one_height_makes_level_ground():
    ground = FreeGround(YARD, [], heights=[(5, 5, 3)], speed_m_s=1.0)
    assert ground.travel([(10, 50), (60, 50)]).time_s[0, 1] == pytest.approx(50.0)
    with pytest.raises(UnfitProblem, match=r"spot heights: array of shape \(1, 2\); allowed"):
        FreeGround(YARD, [], heights=[(1, 2)])


def test_each_link_waits_at_the_lines_that_it_passes_itself():
    # one line near the first link, one near the second, one beyond both
    waits = [WaitLine(LineString([(x, 50), (x + 2, 50)]), 10.0 * x) for x in (1, 21, 81)]
    start, end = np.array([(2.0, 40.0), (22.0, 40.0)]), np.array([(2.0, 60.0), (22.0, 60.0)])
    assert wait_seconds(start, end, waits).tolist() == [10.0, 210.0]
    assert wait_seconds(start[:0], end[:0], waits).tolist() == []
