from types import SimpleNamespace

import numpy as np

from greaseroute.rounds.schedule import Clockwork, Halt, Route, timed
from greaseroute.walk.legs import Legs
from tests.rounds.yards import unit, yard


def clock(*spans):
    site = yard([unit(0, "grader-18t", 20, 20)])
    return Clockwork(
        site, SimpleNamespace(ways=()), Legs(tuple((b, np.asarray(t)) for b, t in spans)), None
    )


DIRECT = [[0, 60_000], [60_000, 0]]


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
