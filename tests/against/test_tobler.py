"""Slope and ground factors against Tobler 1993 and the table after Herzog 2020.

Tobler, Three presentations on geographical analysis and modeling, 1993: W = 6 exp(-3.5 |S + 0.05|)
km/h, x 0.6 off the path. Herzog in Gillings et al., Archaeological Spatial Analysis, 2020, p. 340:
time factors, as repeated in the help text of the R package movecost.
"""

import numpy as np
import pytest
from shapely.geometry import box

from greaseroute.walk.ground import FreeGround
from greaseroute.walk.slow import SlowArea
from greaseroute.walk.terrain import PREFERRED_M_S, TIME_FACTOR, is_too_steep, tobler_m_s

SLOPES = [-0.30, -0.20, -0.10, -0.05, 0.0, 0.05, 0.10, 0.20, 0.30]
KM_H = [2.5012, 3.5493, 5.0367, 6.0000, 5.0367, 4.2281, 3.5493, 2.5012, 1.7625]
M_S = [0.6948, 0.9859, 1.3991, 1.6667, 1.3991, 1.1745, 0.9859, 0.6948, 0.4896]
OFF_PATH_KM_H = [1.5007, 2.1296, 3.0220, 3.6000, 3.0220, 2.5369, 2.1296, 1.5007, 1.0575]


def test_the_table():
    assert [tobler_m_s(s) for s in SLOPES] == pytest.approx(M_S, abs=6e-5)
    assert [3.6 * tobler_m_s(s) for s in SLOPES] == pytest.approx(KM_H, abs=6e-5)
    off = [3.6 * tobler_m_s(s, off_path=True) for s in SLOPES]
    assert off == pytest.approx(OFF_PATH_KM_H, abs=6e-5)


def test_a_tenth_down_is_as_fast_as_level_and_one_in_two_is_flagged():
    assert tobler_m_s(-0.10) == pytest.approx(tobler_m_s(0.0), rel=1e-12)
    assert (is_too_steep(0.49), is_too_steep(-0.51)) == (False, True)


def test_level_speed_is_the_preferred_walking_speed():
    assert tobler_m_s(0.0) == pytest.approx(PREFERRED_M_S, abs=0.005)


@pytest.mark.parametrize(("slope", "speed"), list(zip(SLOPES, M_S, strict=True)))
def test_walks_over_a_ramp_take_the_tables_time(slope, speed):
    # at a level speed equal to Tobler's own, 100 m up or down a ramp
    heights = [(0, 0, 0), (200, 0, 200 * slope), (0, 50, 0), (200, 50, 200 * slope)]
    ground = FreeGround(box(0, 0, 200, 50), [], heights=heights, speed_m_s=tobler_m_s(0.0))
    time_s = ground.travel([(50, 25), (150, 25)]).time_s[0, 1]
    assert 100 / time_s == pytest.approx(speed, abs=6e-5)


def test_time_factors_equal_the_table():
    table = [1.00, 1.03, 1.19, 1.24, 1.25, 1.35, 1.50, 1.67, 1.79, 2.00, 2.50, 5.00]
    assert list(TIME_FACTOR.values()) == table
    # Tobler's own off-path factor is the table's 1.67
    off_path = TIME_FACTOR["bad trails, stony outcrop, river bed; off-path"]
    assert off_path == pytest.approx(1 / 0.6, abs=0.005)
    # loose sand: the time factor, not the energy factor 2.1 of Soule & Goldman 1972
    assert TIME_FACTOR["loose beach sand"] == 1.19


def test_a_dug_over_site():
    # 120 m of disturbed ground at 1.2 m/s: 120 / 1.2 x 1.24 = 124 s
    factor = TIME_FACTOR["disturbed ground (former stone quarry)"]
    yard = box(0, 0, 200, 20)
    ground = FreeGround(yard, [], slow=[SlowArea(yard, factor)])
    times = ground.travel([(10, 10), (130, 10)], speed_m_s=1.2).time_s
    assert np.allclose(times[0, 1], 124.0)
