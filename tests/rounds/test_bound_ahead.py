"""A bound told by a first plan, for the better one that the search comes to."""

from dataclasses import replace

import numpy as np
import pytest

from greaseroute.rounds.proof import BoundAhead, is_large
from greaseroute.solvers.vrp import bound as crew_bound
from greaseroute.solvers.vrp.solution import SkippedUnit
from greaseroute.solvers.vrp.solve import solve_crew
from tests.solvers.vrp.crew_cases import ints, line_problem, random_problem


@pytest.fixture(autouse=True)
def _as_for_large_crews(monkeypatch):
    monkeypatch.setattr(crew_bound, "few_enough", lambda question: False)


def test_large_is_more_than_a_hundred_units():
    assert not is_large(line_problem([0] * 100, work_s=[1] * 100, technicians=4))
    assert is_large(line_problem([0] * 101, work_s=[1] * 101))


@pytest.mark.parametrize("seed", range(6))
def test_bound_ahead_is_not_above_the_optimum(seed):
    rng = np.random.default_rng(seed)
    problem = random_problem(rng, units=5, technicians=3)
    best = solve_crew(problem)
    ahead = BoundAhead(problem, problem, seed=1, limit_s=None)
    judged = ahead.judged(replace(best, status="no bound yet"))
    assert 0 < judged.bound.lower_ms <= best.last_finish_ms
    assert judged.bound.value_ms == best.last_finish_ms
    assert judged.rounds == best.rounds


def test_gap_is_that_of_the_plan_it_is_handed():
    # 50 m to either side at 1 m/s and 10 s of work each: both end at 110 s, proved by the loads
    problem = line_problem([-50, 50], work_s=[10, 10], technicians=2)
    plan = replace(solve_crew(problem), status="no bound yet")
    judged = BoundAhead(problem, problem, seed=1, limit_s=None).judged(plan)
    assert (judged.bound.lower_ms, judged.bound.gap_pct) == (110_000, 0.0)
    assert judged.status == "optimal"


def test_bound_of_other_visits_is_not_taken():
    problem = line_problem([10, 20], work_s=[10, 10])
    fewer = solve_crew(replace(problem, end_ms=ints([40_000])))
    assert [s.unit for s in fewer.skipped] == [1]
    assert isinstance(fewer.skipped[0], SkippedUnit)
    plan = replace(fewer, status="no bound yet")
    assert BoundAhead(problem, problem, seed=1, limit_s=None).judged(plan) == plan


def test_a_bound_given_up_leaves_nothing_behind():
    problem = line_problem([10, 20], work_s=[10, 10])
    ahead = BoundAhead(problem, problem, seed=1, limit_s=None)
    ahead.end()
    plan = replace(solve_crew(problem), status="no bound yet")
    assert ahead.judged(plan).bound.lower_ms == 60_000  # asked for after all: sought here
