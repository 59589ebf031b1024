"""The search for rounds in which nobody is late, alone and before the main search."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from greaseroute.solvers.vrp.layout import layout_of
from greaseroute.solvers.vrp.on_time import order_on_time
from greaseroute.solvers.vrp.solve import crew_plans
from tests.bench.tsptw_file import TICKS, in_ticks, parse_tsptw
from tests.solvers.vrp.crew_cases import ints, line_problem, random_problem

# Instance rbg010a of Ascheuer, Fischetti and Groetschel, Solving the asymmetric travelling salesman
# problem with time windows by branch-and-cut, Mathematical Programming 90 (2001), in the layout of
# the collection of Lopez-Ibanez and Blum. Its best known time of return, from memory of their
# tables: 3840; here it is checked to be the least by going through all orders.
RBG010A = """11
0 0 0 0 0 0 0 0 0 0 0
71 0 85 85 85 96 85 85 97 85 77
50 65 0 77 77 62 77 77 62 77 74
64 74 88 0 88 80 88 88 82 88 87
44 54 68 68 0 60 68 68 62 68 67
51 75 51 51 51 0 51 51 80 51 65
53 64 78 78 78 68 0 78 69 78 76
51 67 69 69 69 75 69 0 75 69 63
43 61 71 71 71 43 71 71 0 71 68
53 64 78 78 78 68 78 78 69 0 80
42 66 52 52 52 70 52 52 70 52 0
0 9396
0 865
399 1299
550 1450
685 1585
819 1719
1208 2108
1412 2312
1701 2330
2413 3313
3798 4698
"""


def lateness(problem, rounds):
    """Sum of lateness in plain Python, of rounds by the only way of each unit."""
    late = 0
    for t, units in enumerate(rounds):
        now, here = int(problem.start_ms[t]), problem.start_point[t]
        for u in units:
            begin = max(
                now + int(problem.travel_ms[t, here, problem.way_enter[u]]),
                int(problem.window_ms[u, 0]),
            )
            now, here = begin + int(problem.way_ms[t, u]), problem.way_leave[u]
            late += max(0, now - int(problem.window_ms[u, 1]))
        end = now + int(problem.travel_ms[t, here, problem.finish_point[t]])
        late += max(0, end - int(problem.end_ms[t]))
    return late


def windowed(seed, units, *, technicians=1):
    """One way a unit on a line; windows narrow and in no order that the places tell."""
    rng = np.random.default_rng(seed)
    problem = line_problem(
        rng.integers(0, 400, units).tolist(), work_s=[30] * units, technicians=technicians
    )
    opens = rng.integers(0, 1_500_000, units)
    window = np.stack([opens, opens + 300_000], axis=1).astype(np.int64)
    return replace(problem, window_ms=window)


@pytest.mark.parametrize("seed", range(12))
def test_lateness_told_is_that_of_the_order(seed):
    problem = windowed(seed, 12, technicians=1 + seed % 3)
    found = order_on_time(layout_of(problem), seed=seed)
    assert sorted(u for row in found.units for u in row) == list(range(12))
    assert found.late_ms == lateness(problem, found.units)


@pytest.mark.parametrize("seed", range(12))
def test_no_order_of_one_round_is_less_late(seed):
    problem = windowed(seed, 6)
    least = min(lateness(problem, [order]) for order in permutations(range(6)))
    assert order_on_time(layout_of(problem), seed=1).late_ms == least


def test_some_are_late_and_some_are_not():
    least = [order_on_time(layout_of(windowed(s, 6)), seed=1).late_ms for s in range(12)]
    assert 0 < sum(late == 0 for late in least) < 12


def test_a_unit_that_nobody_can_serve_is_not_in_the_order():
    problem = windowed(3, 5)
    work = problem.way_ms.copy()
    work[0, 2] = -1
    found = order_on_time(layout_of(replace(problem, way_ms=work)), seed=1)
    assert sorted(found.units[0]) == [0, 1, 3, 4]


def test_units_go_to_who_can_serve_them():
    problem = windowed(4, 8, technicians=2)
    work = problem.way_ms.copy()
    work[0, ::2], work[1, 1::2] = -1, -1
    found = order_on_time(layout_of(replace(problem, way_ms=work)), seed=1)
    assert [sorted(row) for row in found.units] == [[1, 3, 5, 7], [0, 2, 4, 6]]


def test_hours_of_the_ground_count():
    problem = random_problem(np.random.default_rng(2), units=6, technicians=2, hours=True)
    found = order_on_time(layout_of(problem), seed=1)
    assert sorted(u for row in found.units for u in row) == list(range(6))


def test_published_instance_is_served_in_full_and_returns_at_the_least_time():
    problem = parse_tsptw(RBG010A)
    found = order_on_time(layout_of(problem), seed=1)
    assert found.late_ms == 0
    (plan, *_) = crew_plans(problem, exact=False, iterations=4000)
    assert plan.skipped == ()
    assert plan.last_finish_ms == 3840 * TICKS
    (proved,) = crew_plans(problem)  # a dynamic program over all orders
    assert (proved.status, proved.last_finish_ms) == ("optimal", plan.last_finish_ms)


def test_more_digits_than_a_tick_tells_are_refused():
    assert in_ticks("30.8058") == 30_805_800
    with pytest.raises(ValueError, match=r"9\.21954445: more than 6 digits"):
        in_ticks("9.21954445")


def test_a_window_that_is_over_before_it_can_be_reached_is_late_whatever_is_done():
    problem = replace(line_problem([100], work_s=[10]), window_ms=ints([[0, 50_000]]))
    late = order_on_time(layout_of(problem), seed=1).late_ms
    assert late == lateness(problem, [[0]]) > 0
