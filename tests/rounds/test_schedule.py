from types import SimpleNamespace

import numpy as np

from greaseroute.rounds.schedule import Clockwork, Halt, Route, timed
from tests.rounds.yards import unit, yard

NO = -1


def clock(*spans):
    site = yard([unit(0, "grader-18t", 20, 20)])
    return Clockwork(site, SimpleNamespace(ways=()), tuple((b, np.asarray(t)) for b, t in spans))


DIRECT = [[0, 60_000], [60_000, 0]]
ROUNDABOUT = [[0, 90_000], [90_000, 0]]
SHUT = [[0, NO], [NO, 0]]


def test_a_leg_takes_the_time_of_its_span():
    assert clock((0, DIRECT)).leg(0, 1, from_ms=5_000) == (5_000, 65_000, 0)


def test_a_leg_through_a_change_takes_the_longer_time():
    # set off at 10 s, would arrive at 70 s, at 50 s the short way closes: 90 s instead
    assert clock((0, DIRECT), (50_000, ROUNDABOUT)).leg(0, 1, from_ms=10_000) == (
        10_000,
        100_000,
        1,
    )


def test_a_leg_that_ends_before_the_change_is_not_touched_by_it():
    assert clock((0, DIRECT), (70_000, SHUT)).leg(0, 1, from_ms=10_000) == (10_000, 70_000, 0)


def test_where_the_way_closes_on_the_way_one_waits_until_it_opens():
    spans = ((0, DIRECT), (50_000, SHUT), (200_000, DIRECT))
    assert clock(*spans).leg(0, 1, from_ms=10_000) == (200_000, 260_000, 2)


def test_a_store_visit_takes_the_reload_time():
    route = Route(0, 0, 0, 1_000, (Halt(-1, point=1),))
    found = timed(route, clock((0, DIRECT)))
    # there 60 s, reload 60 s, back 60 s, from 1 s on
    (halt,) = found.halts
    assert (halt.arrive_ms, halt.leave_ms, found.finish_ms) == (61_000, 121_000, 181_000)


def test_work_does_not_begin_before_its_window():
    route = Route(0, 0, 0, 0, (Halt(-1, point=1, not_before_ms=100_000),))
    (halt,) = timed(route, clock((0, DIRECT))).halts
    assert (halt.arrive_ms, halt.begin_ms, halt.leave_ms) == (60_000, 100_000, 160_000)
