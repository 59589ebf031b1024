"""The lower bound never passes the optimum, and is worth having."""

from dataclasses import replace

import numpy as np
import pytest

from greaseroute.solvers.vrp import bound as crew_bound
from greaseroute.solvers.vrp.problem import CANNOT
from greaseroute.solvers.vrp.solve import solve_crew, with_bound
from tests.solvers.vrp.crew_cases import ints, line_problem, random_problem

KINDS = [
    # name, instances, units, technicians, rules
    ("one", 8, 5, 1, {}),
    ("two", 5, 5, 2, {}),
    ("two windows", 8, 5, 2, {"windows": True}),
    ("three", 4, 6, 3, {}),
    ("all", 5, 4, 2, {"windows": True, "bag": True, "levels": True, "hours": True}),
]


@pytest.fixture(params=["shares", "tree"])
def proof(request, monkeypatch):
    """Crews of a few by their shares, or like larger ones by one program and branching."""
    if request.param == "tree":
        monkeypatch.setattr(crew_bound, "few_enough", lambda question: False)
    return request.param


@pytest.mark.parametrize(("name", "instances", "units", "technicians", "rules"), KINDS)
@pytest.mark.usefixtures("proof")
def test_bound_is_never_above_the_optimum(name, instances, units, technicians, rules):
    rng = np.random.default_rng(sum(map(ord, name)))
    for _ in range(instances):
        problem = random_problem(rng, units=units, technicians=technicians, **rules)
        best = solve_crew(problem)
        judged = with_bound(problem, best, rounds=12)
        assert best.status == "optimal"
        assert judged.bound.lower_ms <= best.last_finish_ms


@pytest.mark.usefixtures("proof")
def test_bound_of_one_technician_on_a_line_is_tight():
    # out to 30 m and back at 1 m/s and 3 x 10 s of work: 90 s, and no plan can be shorter
    problem = line_problem([10, 20, 30], work_s=[10, 10, 10])
    judged = with_bound(problem, solve_crew(problem), rounds=12)
    assert judged.bound.lower_ms == judged.bound.value_ms == 90_000
    assert judged.bound.gap_pct == 0.0


@pytest.mark.usefixtures("proof")
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


def unlike(rng, problem):
    """The same site for technicians of different pace; some units only one of them can visit."""
    crew = problem.technicians
    work = (problem.way_ms * rng.uniform(0.6, 1.5, (crew, 1))).astype(np.int64)
    if crew > 1:
        work[int(rng.integers(crew)), problem.way_unit == 0] = CANNOT
    return replace(problem, way_ms=work, start_ms=rng.integers(0, 100_000, crew))


def with_small_bags(rng, problem):
    """Bags, guns and cartridges of each technician's own, and a second store."""
    crew, points = problem.technicians, problem.length_mm.shape[0]
    bag = rng.integers(1, 4, crew)
    return replace(
        problem,
        bag_cartridges=bag,
        bag_at_start=np.minimum(bag, rng.integers(0, 3, crew)),
        gun_left_strokes=rng.integers(0, 60, (crew, 2)),
        cartridge_strokes=rng.integers(40, 100, (crew, 2)),
        store_points=ints([problem.store_points[0], rng.integers(0, points)]),
    )


MIXED = [
    # seed, units, technicians, rules
    (1, 4, 2, {"bag": True}),
    (2, 4, 2, {"bag": True, "windows": True}),
    (3, 4, 2, {"bag": True, "hours": True, "levels": True}),
    (4, 3, 3, {"bag": True}),
    (5, 5, 2, {"hours": True}),
    (6, 4, 3, {"levels": True, "windows": True}),
]


@pytest.mark.parametrize(("seed", "units", "technicians", "rules"), MIXED)
@pytest.mark.usefixtures("proof")
def test_bound_told_for_a_later_plan_is_not_above_the_optimum(seed, units, technicians, rules):
    # a plan said to end later than it does leaves the bound room to be wrong in
    rng = np.random.default_rng(seed)
    for _ in range(6):
        problem = unlike(rng, random_problem(rng, units=units, technicians=technicians, **rules))
        problem = with_small_bags(rng, problem) if "bag" in rules else problem
        best = solve_crew(problem)
        if not any(v.kind == "unit" for r in best.rounds for v in r.visits):
            continue
        later = replace(best, last_finish_ms=round(1.2 * best.last_finish_ms) + 1000)
        for rounds in (5, 40, 200):
            assert with_bound(problem, later, rounds=rounds).bound.lower_ms <= best.last_finish_ms


@pytest.mark.usefixtures("proof")
def test_store_visit_that_the_bag_asks_for_is_in_the_bound():
    # one cartridge for each of two units and one in the bag: to 10 m, back to the store at -30 m,
    # to 20 m and home: 10 + 40 + 50 + 20 = 120 s, 2 x 10 s of work, 5 s at the store
    problem = line_problem(
        [10, 20],
        work_s=[10, 10],
        store_m=-30,
        bag_cartridges=ints([1]),
        way_strokes=ints([[50], [50]]),
        cartridge_strokes=ints([[50]]),
        reload_ms=5_000,
    )
    bound = with_bound(problem, solve_crew(problem), rounds=40).bound
    assert (bound.lower_ms, bound.value_ms) == (145_000, 145_000)


@pytest.mark.usefixtures("proof")
def test_store_may_lie_nearer_than_the_way_that_is_told():
    # straight on from 10 m to 20 m is told as 100 s, by the store at 15 m it is 10 s; nobody needs
    # a cartridge, so a plan may pass by there only at the price of reloading, and 10 s is the least
    problem = line_problem([10, 20], work_s=[10, 10], finish_m=30, store_m=15, reload_ms=0)
    travel = problem.travel_ms.copy()
    travel[0, 0, 1] = travel[0, 1, 0] = 100_000
    problem = replace(problem, travel_ms=travel)
    bound = with_bound(problem, solve_crew(problem), rounds=40).bound
    assert bound.lower_ms <= 30_000 + 20_000


def test_branching_proves_what_the_root_cannot(monkeypatch):
    monkeypatch.setattr(crew_bound, "few_enough", lambda question: False)
    rng = np.random.default_rng(9)
    proved = {12: 0, 400: 0}
    for _ in range(8):
        problem = unlike(rng, random_problem(rng, units=6, technicians=2))
        best = solve_crew(problem)
        for rounds in proved:
            bound = with_bound(problem, best, rounds=rounds).bound
            proved[rounds] += bound.lower_ms == best.last_finish_ms
    assert proved[400] > proved[12]


def test_shares_prove_more_than_one_program(monkeypatch):
    proved = {}
    for way in ("shares", "tree"):
        if way == "tree":
            monkeypatch.setattr(crew_bound, "few_enough", lambda question: False)
        rng = np.random.default_rng(4)
        proved[way] = 0
        for _ in range(6):
            problem = unlike(rng, random_problem(rng, units=10, technicians=2, bag=True))
            plan = solve_crew(problem, iterations=1000, bound_rounds=0, exact=False)
            proved[way] += with_bound(problem, plan, rounds=30).bound.lower_ms
    assert proved["shares"] > proved["tree"]


@pytest.mark.usefixtures("proof")
def test_bound_is_the_same_every_time():
    rng = np.random.default_rng(9)
    problem = unlike(rng, random_problem(rng, units=9, technicians=2, bag=True))
    plan = solve_crew(problem, iterations=300, bound_rounds=0, exact=False)
    first = with_bound(problem, plan, rounds=60)
    assert first.bound.gap_pct > 0
    assert repr(first) == repr(with_bound(problem, plan, rounds=60))
