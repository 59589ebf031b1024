"""The lower bound never passes the optimum, and is worth having."""

from dataclasses import replace

import numpy as np
import pytest

from greaseroute.rounds.crew import solve_crew, with_bound
from tests.rounds.crew_cases import line_problem, random_problem

KINDS = [
    # name, instances, units, technicians, rules
    ("one", 8, 5, 1, {}),
    ("two", 5, 5, 2, {}),
    ("two windows", 8, 5, 2, {"windows": True}),
    ("three", 4, 6, 3, {}),
    ("all", 5, 4, 2, {"windows": True, "bag": True, "levels": True, "hours": True}),
]


@pytest.mark.parametrize(("name", "instances", "units", "technicians", "rules"), KINDS)
def test_bound_is_never_above_the_optimum(name, instances, units, technicians, rules):
    rng = np.random.default_rng(sum(map(ord, name)))
    for _ in range(instances):
        problem = random_problem(rng, units=units, technicians=technicians, **rules)
        best = solve_crew(problem)
        judged = with_bound(problem, best, rounds=12)
        assert best.status == "optimal"
        assert judged.bound.lower_ms <= best.last_finish_ms


def test_bound_of_one_technician_on_a_line_is_tight():
    # out to 30 m and back at 1 m/s and 3 x 10 s of work: 90 s, and no plan can be shorter
    problem = line_problem([10, 20, 30], work_s=[10, 10, 10])
    judged = with_bound(problem, solve_crew(problem), rounds=12)
    assert judged.bound.lower_ms == judged.bound.value_ms == 90_000
    assert judged.bound.gap_pct == 0.0


def test_bound_of_two_technicians_knows_that_the_far_side_needs_one_of_them():
    # 50 m to either side of the start: 100 s of walking and 10 s of work each; together 220 s
    problem = line_problem([-50, 50], work_s=[10, 10], technicians=2)
    judged = with_bound(problem, solve_crew(problem), rounds=12)
    assert judged.bound.lower_ms == 110_000


def test_bound_by_one_units_window_says_so():
    # the window opens at 500 s: 500 + 10 work + 20 home, whatever else is walked
    window = np.array([[0, 2**50], [500_000, 2**50]])
    problem = line_problem([10, 20], work_s=[10, 10], window_ms=window)
    bound = with_bound(problem, solve_crew(problem), rounds=12).bound
    assert (bound.lower_ms, bound.value_ms) == (530_000, 530_000)
    assert bound.what.startswith("last finish, for the same visits: one unit's window")


def test_gap_is_taken_over_the_part_that_the_route_decides():
    # two units to be visited by one of two technicians each (fixed to the same one): that one
    # takes 40 + 2 x 100 = 240 s, the other none; together at least 240, so the mean is 120 s;
    # crew time 480 less 200 fixed is 280 s, of which 240 are not proved
    fixed = np.full((2, 2), 100_000)
    problem = line_problem(
        [10, 20],
        work_s=[100, 100],
        technicians=2,
        way_fixed_ms=fixed,
        unit_technician=np.array([0, 0]),
    )
    plan = solve_crew(problem)
    bound = with_bound(replace(problem, unit_technician=None), plan, rounds=0).bound
    assert plan.last_finish_ms == 240_000
    assert bound.gap_pct == pytest.approx(100 * 2 * (240_000 - bound.lower_ms) / 280_000)
