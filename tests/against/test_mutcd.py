"""Walking speeds against the US MUTCD (Manual on Uniform Traffic Control Devices).

Sources: 2003 and 2009 editions as discussed with their worked example (a 130 ft crossing with the
push-button 60 ft back), and BYU thesis 7130, abstract.
"""

import pytest
from shapely.geometry import box

from greaseroute.units import M_PER_FT
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.terrain import (
    MUTCD_2003_M_S,
    MUTCD_2009_M_S,
    MUTCD_2009_WHOLE_M_S,
    crossing_clearance_s,
)


def test_design_speeds():
    # 3.5, 4.0 and 3.0 ft/s
    assert pytest.approx(1.0668, abs=5e-5) == MUTCD_2009_M_S
    assert pytest.approx(1.2192, abs=5e-5) == MUTCD_2003_M_S
    assert pytest.approx(0.9144, abs=5e-5) == MUTCD_2009_WHOLE_M_S


@pytest.mark.parametrize(
    ("length_ft", "speed_m_s", "seconds"),
    [(130, MUTCD_2003_M_S, 33), (130, MUTCD_2009_M_S, 38), (190, MUTCD_2009_WHOLE_M_S, 64)],
)
def test_published_crossing(length_ft, speed_m_s, seconds):
    assert crossing_clearance_s(length_ft * M_PER_FT, speed_m_s=speed_m_s) == seconds


def test_published_crossing_in_all():
    # 2003: walk 7 + clear 33 = 40 s; 2009: clear 38, the whole 64, so walk 26
    clear_s = crossing_clearance_s(130 * M_PER_FT)
    whole_s = crossing_clearance_s(190 * M_PER_FT, speed_m_s=MUTCD_2009_WHOLE_M_S)
    assert (clear_s, whole_s - clear_s) == (38, 26)
    assert 7 + crossing_clearance_s(130 * M_PER_FT, speed_m_s=MUTCD_2003_M_S) == 40


def test_a_hundred_metres_over_the_ground():
    ground = FreeGround(box(0, 0, 200, 10), [])
    points = [(10, 5), (110, 5)]
    for speed_m_s, seconds in ((MUTCD_2009_M_S, 93.74), (MUTCD_2003_M_S, 82.02)):
        found = ground.travel(points, speed_m_s=speed_m_s).time_s[0, 1]
        assert found == pytest.approx(seconds, abs=0.005)
