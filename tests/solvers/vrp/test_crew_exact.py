"""Plans of few units against an enumeration that shares no code with the solver, to the ms."""

import numpy as np
import pytest

from greaseroute.solvers.vrp.solve import solve_crew
from tests.solvers.vrp.crew_cases import best_by_enumeration, random_problem

SMALL = [
    # name, instances, units, technicians, rules
    ("plain", 12, 4, 1, {}),
    ("windows", 12, 4, 1, {"windows": True}),
    ("hours", 6, 4, 1, {"hours": True}),
    ("bag", 4, 4, 1, {"bag": True}),
    ("levels", 4, 4, 1, {"levels": True, "windows": True}),
    ("two", 8, 3, 2, {"windows": True}),
    ("all", 3, 3, 2, {"windows": True, "bag": True, "levels": True, "hours": True}),
]


@pytest.mark.parametrize(("name", "instances", "units", "technicians", "rules"), SMALL)
def test_plan_of_few_units_equals_enumeration(name, instances, units, technicians, rules):
    rng = np.random.default_rng(sum(map(ord, name)))
    for _ in range(instances):
        problem = random_problem(rng, units=units, technicians=technicians, **rules)
        plan = solve_crew(problem)
        assert plan.status == "optimal"
        assert (plan.lost, plan.last_finish_ms) == best_by_enumeration(problem)
