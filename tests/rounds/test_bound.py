import numpy as np
import pytest

from greaseroute.rounds.bound import BoundSearch, Stop, lower_bound, stop_after
from greaseroute.rounds.bound_cuts import find_cuts
from greaseroute.rounds.bound_lp import ArcProgram, Cut, Point, first_arcs
from greaseroute.rounds.bound_price import price
from greaseroute.rounds.clusters_exact import exact_tour
from greaseroute.rounds.clusters_problem import check_problem
from tests.rounds.cluster_cases import made


def _whole_program(problem, upper):
    owner = problem.cluster_of
    allowed = owner[:, None] != owner[None, :]
    program = ArcProgram(problem, allowed, relief=2 * upper + 1)
    program.add_arcs(*np.nonzero(allowed))
    return program, allowed


@pytest.mark.parametrize("seed", range(200))
def test_bound_after_any_number_of_rounds_is_at_most_the_optimum(seed):
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    best = exact_tour(problem)
    optimum = problem.tour_cost(best)
    first_nodes = problem.first[:-1]  # a poor tour to start from: clusters as they come
    search = BoundSearch(problem, first_nodes)
    for rounds in (0, 1, 3, 8):
        search.improve(Stop(None, rounds))
        assert search.value <= optimum <= search.upper


@pytest.mark.parametrize("seed", range(60))
def test_bound_reaches_the_optimum_and_finds_its_tour(seed):
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    optimum = problem.tour_cost(exact_tour(problem))
    search = BoundSearch(problem, problem.first[:-1])
    search.improve(stop_after(problem, None))
    assert search.value == search.upper == optimum == problem.tour_cost(search.tour)


@pytest.mark.parametrize("seed", range(60))
def test_any_multipliers_whatever_give_a_valid_bound(seed):
    rng = np.random.default_rng(seed)
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    optimum = problem.tour_cost(exact_tour(problem))
    program, allowed = _whole_program(problem, optimum)
    owner = problem.cluster_of
    cuts = []
    for _ in range(6):
        inside = np.isin(owner, rng.choice(problem.size, problem.size // 2 + 1, replace=False))
        outside = np.flatnonzero(~inside)
        credit = -1 if rng.random() < 0.5 else int(rng.choice(outside)) if len(outside) else -1
        if len(outside):
            cuts.append(Cut(inside, credit))
    program.cuts.extend(cuts)
    nodes = len(problem.nodes)
    duals = [rng.normal(0, 40, k) for k in (problem.size, 0 if program.symmetric else nodes)]
    point = Point(
        np.zeros(0, int), np.zeros(0, int), np.zeros(0), 0.0,
        duals[0], duals[1], rng.normal(5, 20, len(cuts)),
    )  # fmt: skip
    priced = price(program, allowed, point=point, upper=optimum)
    assert priced is not None
    assert priced.bound <= optimum
    along = exact_tour(problem)
    # what a tour through an arc costs at least: holds for every arc of the best tour
    slack = priced.slack[along, np.roll(along, -1)]
    assert (priced.bound_units + slack <= optimum * priced.scale).all()


def test_numbers_too_large_to_be_exact_are_not_used():
    cost, clusters = made(1)
    problem = check_problem(cost, clusters)
    program, allowed = _whole_program(problem, 1000)
    wild = np.full(problem.size, 1e15)
    point = Point(
        np.zeros(0, int), np.zeros(0, int), np.zeros(0), 0.0,
        wild, np.zeros(0 if program.symmetric else len(problem.nodes)), np.zeros(0),
    )  # fmt: skip
    assert price(program, allowed, point=point, upper=1000) is None


def test_two_rings_break_a_cut_that_parts_them():
    # four clusters of one node; 0-1-0 and 2-3-2 are two rings: {2, 3} is left by nothing
    problem = check_problem(np.ones((4, 4), int), [[0], [1], [2], [3]])
    tail, head = np.array([0, 1, 2, 3]), np.array([1, 0, 3, 2])
    empty = np.zeros(0)
    cuts = find_cuts(problem, Point(tail, head, np.ones(4), 4.0, empty, empty, empty))
    parted = {tuple(cut.inside.tolist()) for cut in cuts}
    assert (False, False, True, True) in parted


def test_a_tour_breaks_no_cut():
    problem = check_problem(np.ones((5, 5), int), [[0, 4], [1], [2], [3]])
    tail, head = np.array([0, 2, 3, 4]), np.array([2, 3, 4, 0])  # node 1 is the other of cluster 0
    empty = np.zeros(0)
    assert find_cuts(problem, Point(tail, head, np.ones(4), 4.0, empty, empty, empty)) == []


@pytest.mark.parametrize("seed", range(20))
def test_every_cut_found_holds_for_the_best_tour(seed):
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    best = exact_tour(problem)
    upper = problem.tour_cost(best)
    program, _ = _whole_program(problem, upper)
    for _ in range(4):
        point = program.solve()
        cuts = find_cuts(problem, point)
        for cut in cuts:
            weight = program.cut_weights([cut], best, np.roll(best, -1))[0].sum()
            assert weight >= (1 if cut.credit < 0 else 0)
        if not cuts:
            break
        program.add_cuts(cuts)


def test_edges_and_arcs_prove_the_same():
    # the same symmetric problem, once told so and once with arcs both ways
    cost, clusters = made(7, clusters=(8, 9))
    problem = check_problem(cost, clusters)
    upper = problem.tour_cost(exact_tour(problem))
    program, allowed = _whole_program(problem, upper)
    assert program.symmetric
    uneven = allowed.copy()
    uneven[0, np.flatnonzero(allowed[0])[0]] = False  # one arc less makes it asymmetric
    arcs = ArcProgram(problem, uneven, relief=2 * upper + 1)
    assert not arcs.symmetric
    arcs.add_arcs(*np.nonzero(allowed))
    assert program.solve().objective == pytest.approx(arcs.solve().objective, abs=1e-6)


def test_first_arcs_hold_the_tour():
    cost, clusters = made(4)
    problem = check_problem(cost, clusters)
    owner = problem.cluster_of
    tour = problem.first[:-1]
    tail, head = first_arcs(problem, owner[:, None] != owner[None, :], tour)
    held = set(zip(tail.tolist(), head.tolist(), strict=True))
    assert set(zip(tour.tolist(), np.roll(tour, -1).tolist(), strict=True)) <= held


def test_result_says_how_it_was_proved():
    cost, clusters = made(5)
    problem = check_problem(cost, clusters)
    best = exact_tour(problem)
    proved = lower_bound(cost, clusters, tour=problem.nodes[best])
    assert proved.value == problem.tour_cost(best)
    assert proved.status == "optimal"
    assert "sub-tour cuts" in proved.what
