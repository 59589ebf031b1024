"""Legs by the clock on a strip of ground 10 m wide and 200 m long, at 1 m/s."""

import math

import numpy as np
import pytest
from shapely.geometry import LineString, box

from greaseroute.walk.ground import FreeGround
from greaseroute.walk.legs import NEVER, Legs, Wait
from greaseroute.walk.slow import SlowArea
from greaseroute.walk.tables import walks_between
from greaseroute.walk.waits import WaitLine

STRIP = box(0, 0, 200, 10)
WALL = box(100, -1, 110, 11)  # shuts the strip in the middle
LOW, HIGH = box(100, -1, 110, 5), box(100, 5, 110, 11)
A, B = (10.0, 5.0), (190.0, 5.0)


def legs(*spans, points=(A, B), waits=()):
    """``spans`` of (begin s, obstacles)."""
    made = {}
    grounds = tuple(
        (1000 * begin, made.setdefault(k, FreeGround(STRIP, shut, waits=waits)))
        for begin, shut in spans
        for k in [repr([s.wkt for s in shut])]
    )
    walks = walks_between(np.asarray(points), grounds, speed_m_s=1.0)
    return Legs(walks.spans, walks, grounds, 1.0)


def on_open_ground(leg, found, a=0, b=1):
    """Whether the leg is on open ground at every second of it, walked along its line."""
    line = LineString(found.walks.line(a, b, span=leg.span, over=leg.over))
    for at_ms in range(leg.depart_ms, leg.arrive_ms, 250):
        waited = sum(max(0, min(at_ms, w.until_ms) - w.from_ms) for w in leg.waits)
        spot = line.interpolate((at_ms - leg.depart_ms - waited) / 1000)
        free = found.grounds[found.span_at(at_ms)][1].free
        if free.distance(spot) > 0.01:
            return False
    return True


def test_a_leg_within_its_span_is_the_quickest_walk():
    leg = legs((0, []), (300, [WALL])).leg(0, 1, from_ms=5_000)
    assert (leg.depart_ms, leg.arrive_ms, leg.waits) == (5_000, 185_000, ())


def test_one_waits_in_front_of_what_opens_and_not_at_the_start():
    """The wall at 90 m opens at 600 s: arrival 600 + 90 s, not 600 + 180 s."""
    found = legs((0, [WALL]), (600, []))
    leg = found.leg(0, 1, from_ms=0)
    assert leg.arrive_ms == pytest.approx(690_000, abs=2)
    (wait,) = leg.waits
    assert wait.at_m == pytest.approx((100.0, 5.0), abs=0.01)
    assert (wait.from_ms, wait.until_ms) == (pytest.approx(90_000, abs=2), 600_000)
    assert leg.walk_ms == 180_000
    assert on_open_ground(leg, found)


def test_what_opens_before_one_is_there_costs_nothing():
    leg = legs((0, [WALL]), (60, [])).leg(0, 1, from_ms=0)
    assert (leg.depart_ms, leg.arrive_ms, leg.waits) == (0, 180_000, ())


def test_two_zones_that_change_places_are_never_walked_while_shut():
    """Low is shut until 60 s, high from then on: from 30 m away one can wait for low alone."""
    found = legs((0, [LOW]), (60, [HIGH]))
    for start_s in range(0, 70, 5):
        leg = found.leg(0, 1, from_ms=1000 * start_s)
        assert leg.arrive_ms < NEVER
        assert on_open_ground(leg, found)


def test_who_would_be_caught_inside_waits_before_it_until_it_opens_again():
    """Shut from 95 s to 300 s: the wall's ground is entered at 90 s and left at 100 s."""
    found = legs((0, []), (95, [WALL]), (300, []))
    leg = found.leg(0, 1, from_ms=0)
    assert leg.arrive_ms == pytest.approx(390_000, abs=2)
    assert on_open_ground(leg, found)
    early = legs((0, []), (101, [WALL]), (300, [])).leg(0, 1, from_ms=0)
    assert (early.arrive_ms, early.waits) == (180_000, ())


def test_who_starts_on_ground_that_shuts_later_walks_the_line_of_a_span_that_is_over():
    """The start's own ground shuts at 300 s, the wall at 2 s, and opens at 600 s: no span that is
    still to come has a line from there. One is out of it in 5 s and waits at the wall.
    """
    own = box(5, -1, 15, 11)
    found = legs((0, []), (2, [WALL]), (300, [WALL, own]), (600, [own]))
    assert all(table[0, 1] < 0 for _, table in found.spans[1:])
    leg = found.leg(0, 1, from_ms=3_000)
    assert leg.arrive_ms == pytest.approx(690_000, abs=2)
    assert [w.at_m for w in leg.waits] == [pytest.approx((100.0, 5.0), abs=0.01)]
    assert on_open_ground(leg, found)
    assert found.leg(0, 1, from_ms=300_001).arrive_ms >= NEVER


def test_who_must_off_ground_that_shuts_goes_over_a_point_beside_it():
    """A lane of 95 m with the start in it shuts at 20 s: along it one would be caught. The point
    north of the start is 4 m away, and from there the rest of the strip is free. Without that
    point, or with less than the second that one takes out of the lane, there is no leg.
    """
    lane, beside = box(5, 4, 100, 6), (10.0, 9.0)
    found = legs((0, []), (20, [lane]), points=(A, B, beside))
    leg = found.leg(0, 1, from_ms=0)
    assert leg.over == (2, 1)
    assert leg.arrive_ms == pytest.approx(1000 * (4 + math.hypot(180, 4)), abs=3)
    assert leg.waits == ()
    assert on_open_ground(leg, found)
    assert found.arrive_ms(0, 1, from_ms=19_100) >= NEVER
    assert found.leg(0, 1, from_ms=18_900).over == (2, 1)
    assert legs((0, []), (20, [lane])).leg(0, 1, from_ms=0).arrive_ms >= NEVER


def test_the_time_of_arrival_alone_is_that_of_the_leg():
    """Set off at 0, 5, ... s: the wall shuts at 95 s, so that the first are caught by it, and opens
    at 300 s.
    """
    found = legs((0, []), (95, [WALL]), (300, []))
    waited = 0
    for from_ms in range(0, 310_000, 5_000):
        leg = found.leg(0, 1, from_ms=from_ms)
        assert found.arrive_ms(0, 1, from_ms=from_ms) == leg.arrive_ms
        waited += bool(leg.waits)
    assert 0 < waited < 62
    assert found.arrive_ms(1, 1, from_ms=7) == 7


def test_the_wait_of_a_crossing_lies_where_the_crossing_is():
    """20 s of waiting at 105 m: begun at 90 s the crossing is left at 120 s, shut from 115 s on."""
    gate = WaitLine(LineString([(105, -1), (105, 11)]), 20.0)
    shut = legs((0, []), (115, [WALL]), (300, []), waits=(gate,)).leg(0, 1, from_ms=0)
    assert shut.arrive_ms == pytest.approx(300_000 + 110_000, abs=2)
    open_ = legs((0, []), (121, [WALL]), (300, []), waits=(gate,)).leg(0, 1, from_ms=0)
    assert open_.arrive_ms == 200_000


def test_a_way_round_is_taken_where_it_is_sooner_than_waiting():
    found = legs((0, [LOW]), (900, []), points=((10.0, 2.0), (190.0, 2.0)))
    leg = found.leg(0, 1, from_ms=0)
    assert leg.waits == ()
    assert 180_000 < leg.arrive_ms < 190_000


def test_one_leaves_ground_that_shuts_and_waits_where_it_opens_later():
    """No hour has all of the line open but one that is over: 20 s on, the wall opens at 300 s."""
    here = box(-1, -1, 20, 11)
    found = legs((0, []), (10, [WALL]), (300, [here]))
    leg = found.leg(0, 1, from_ms=20_000)
    assert leg.arrive_ms == pytest.approx(390_000, abs=2)
    assert on_open_ground(leg, found)


def test_where_it_never_opens_there_is_no_leg():
    found = legs((0, []), (50, [WALL]))
    assert found.leg(0, 1, from_ms=0).arrive_ms == NEVER


def test_one_does_not_wait_on_ground_that_shuts():
    """The start itself is shut from 50 s on, the wall opens at 600 s: wait beyond."""
    start = box(-1, -1, 20, 11)
    found = legs((0, [WALL]), (50, [WALL, start]), (600, []))
    leg = found.leg(0, 1, from_ms=0)
    assert leg.waits
    assert leg.waits[0] == Wait(
        pytest.approx((100.0, 5.0), abs=0.01), pytest.approx(90_000, abs=2), 600_000
    )
    assert on_open_ground(leg, found)


def test_a_wait_before_slow_and_steep_ground_counts_what_comes_after_it_in_full():
    """The wall opens at 600 s. After it 40 m are slow by two areas, of which the slower counts
    (x 3), and 20 m of the level rest rise: the walk on takes 30 + 3 x 40 + 20 m x Tobler's factor.
    """
    slow = (SlowArea(box(120, -1, 160, 11), 3.0), SlowArea(box(130, -1, 150, 11), 2.0))
    heights = [(x, y, z) for x, z in ((0, 0), (160, 0), (180, 4), (200, 4)) for y in (-1, 11)]

    def ground(shut):
        return FreeGround(STRIP, shut, slow=slow, heights=heights)

    grounds = ((0, ground([WALL])), (600_000, ground([])))
    walks = walks_between(np.asarray([A, B]), grounds, speed_m_s=1.0)
    leg = Legs(walks.spans, walks, grounds, 1.0).leg(0, 1, from_ms=0)
    uphill = 20 * math.exp(3.5 * 0.2)  # level e^-0.175 over e^-3.5 x (0.2 + 0.05)
    assert leg.arrive_ms == pytest.approx(1000 * (600 + 30 + 3 * 40 + uphill), abs=5)
