"""The search where ways are long and work is short: nobody idle while others are late."""

from dataclasses import replace

import numpy as np
import pytest

from greaseroute.solvers.vrp.problem import NO_LIMIT_MS
from greaseroute.solvers.vrp.solve import crew_plans
from tests.bench.crew_minmax import MS, minmax_problem
from tests.solvers.vrp.crew_cases import line_problem

# Instance eil51 of TSPLIB (Reinelt 1991; places of Christofides and Eilon 1969).
EIL51 = """37 52 49 49 52 64 20 26 40 30 21 47 17 63 31 62 52 33 51 21 42 41 31 32 5 25 12 42 36 16
52 41 27 23 17 33 13 13 57 58 62 42 42 57 16 57 8 52 7 38 27 68 30 48 43 67 58 48 58 27 37 69 38 46
46 10 61 33 62 63 63 69 32 22 45 35 59 15 5 6 10 17 21 10 5 64 30 15 39 10 32 39 25 32 25 55 48 28
56 37 30 40"""


def eil51(technicians):
    xy = np.array(EIL51.split(), dtype=float).reshape(51, 2)
    apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    return minmax_problem(np.floor(apart + 0.5).astype(np.int64), technicians)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(("technicians", "best"), [(3, 159), (5, 118)])
def test_longest_round_of_a_published_instance(technicians, best, seed):
    # Best values seen by a general travelling-salesman code; longer published ones for lengths not
    # rounded are 159.57 and 118.13 (from memory of the tables of min-max salesmen).
    plan = crew_plans(eil51(technicians), seed=seed)[0]
    assert plan.last_finish_ms <= best * MS
    assert all(r.visits for r in plan.rounds)


def test_no_plan_is_better_than_there_and_back():
    problem = eil51(7)
    there_and_back = 2 * int(problem.travel_ms[0, 0].max())
    assert there_and_back == 112 * MS
    assert crew_plans(problem)[0].last_finish_ms == there_and_back  # so it is the best there is


def test_last_finish_follows_the_scale_of_the_site():
    # The same site with ways 1,024 times as long, a power of two: the same random numbers are
    # compared with the same quotients, so that the plan must be the same.
    problem = eil51(4)
    longer = replace(
        problem, travel_ms=problem.travel_ms * 1024, length_mm=problem.length_mm * 1024
    )
    plan, far = [crew_plans(p, iterations=8000)[0] for p in (problem, longer)]
    assert far.last_finish_ms == 1024 * plan.last_finish_ms
    assert [r.visits[0].unit for r in far.rounds] == [r.visits[0].unit for r in plan.rounds]


def test_long_ways_with_little_work_are_shared_by_all():
    # Machines along a road on both sides of the depot, 1 km apart, ten seconds of work at each:
    # whoever goes farthest cannot be helped, so the last finish is there and back and what lies on
    # the way of one who does nothing else.
    at = [1000 * k for k in range(-12, 13) if k]
    problem = line_problem(at, work_s=[10] * len(at), technicians=4)
    plan = crew_plans(problem, iterations=24_000)[0]
    least_s = 2 * 12_000 + 10
    assert least_s * 1000 <= plan.last_finish_ms <= (least_s + 10 * 2) * 1000
    assert sum(bool(r.visits) for r in plan.rounds) == 4


def test_a_technician_without_a_way_home_in_time_stays_out_and_the_rest_share():
    at = [100, 200, 300, 400, 500, 600, 700, 800, 900, -100, -200, -300]
    problem = line_problem(at, work_s=[60] * 12, technicians=3)
    ends = np.array([NO_LIMIT_MS, NO_LIMIT_MS, 0], dtype=np.int64)
    starts = np.array([0, 0, 1], dtype=np.int64)
    plan = crew_plans(replace(problem, end_ms=ends, start_ms=starts), iterations=4000)[0]
    assert [bool(r.reason) for r in plan.rounds] == [False, False, True]
    assert plan.skipped == ()
    assert all(len(r.visits) > 1 for r in plan.rounds[:2])
