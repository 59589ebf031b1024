import _thread
import threading
import time

import numpy as np
import pytest

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.gtsp import search
from greaseroute.solvers.gtsp.kernels import annealing as kernel_anneal
from greaseroute.solvers.gtsp.problem import check_problem
from greaseroute.solvers.gtsp.solve import solve_clusters
from greaseroute.solvers.stop import StopRule
from tests.bench.clusters_made import plane, site
from tests.solvers.gtsp.cluster_cases import by_enumeration, exact_tour, is_tour, made


@pytest.mark.parametrize("seed", range(30))
def test_small_problems_equal_enumeration(seed):
    cost, clusters = made(seed, clusters=(1, 6), nodes=3)
    tour = solve_clusters(cost, clusters, iterations=2000)
    assert tour.cost == by_enumeration(cost, clusters)
    assert (tour.status, tour.lower_bound) == ("optimal", tour.cost)
    assert is_tour(tour, cost, clusters)


@pytest.mark.parametrize("seed", range(40))
def test_search_and_bound_meet_at_the_answer_of_a_table_over_subsets(seed):
    cost, clusters = made(seed)
    found = solve_clusters(cost, clusters, seed=seed, iterations=2000)
    problem = check_problem(cost, clusters)
    assert found.cost == found.lower_bound == problem.tour_cost(exact_tour(problem))
    assert found.status == "optimal"
    assert is_tour(found, cost, clusters)


def test_one_cluster_costs_nothing():
    tour = solve_clusters([[7, 3], [3, 7]], [[0, 1]])  # what stands on the diagonal means nothing
    assert (tour.order, tour.cost, tour.lower_bound) == ([0], 0, 0)


def test_one_node_is_a_tour():
    assert solve_clusters([[5]], [[0]]).order == [0]


def test_two_clusters_take_the_best_there_and_back():
    # there and back: 0-2 9+9, 0-3 1+8, 1-2 2+5, 1-3 4+4; the least is 7 through nodes 1 and 2
    cost = [[0, 0, 9, 1], [0, 0, 2, 4], [9, 5, 0, 0], [8, 4, 0, 0]]
    tour = solve_clusters(cost, [[0, 1], [2, 3]])
    assert (sorted(tour.order), tour.cost) == ([1, 2], 7)


def test_direction_counts():
    # clockwise 0-1-2 costs 1 + 1 + 1, the other way round 9 + 9 + 9
    tour = solve_clusters([[0, 1, 9], [9, 0, 1], [1, 9, 0]], [[0], [1], [2]])
    assert (tour.order, tour.cost) == ([0, 1, 2], 3)


def test_same_seed_and_count_give_the_same_tour():
    cost, clusters = plane(130, seed=3)
    first, again = (solve_clusters(cost, clusters, seed=5, iterations=3000) for _ in range(2))
    assert first == again


def test_two_workers_repeat_as_well():
    cost, clusters = plane(130, seed=4)
    first, again = (
        solve_clusters(cost, clusters, seed=5, workers=2, iterations=3000, bound_s=0)
        for _ in range(2)
    )
    assert first == again
    assert (
        first.iterations == 4000 + 2 * 3000
    )  # the first short search, then one run for each worker


def test_a_yard_of_20_units_is_proved():
    cost, clusters = site(20, seed=1)
    tour = solve_clusters(cost, clusters, iterations=2000)
    assert tour.status == "optimal"
    assert is_tour(tour, cost, clusters)


def test_start_tour_is_never_made_worse():
    cost, clusters = plane(200, seed=2)
    good = solve_clusters(cost, clusters, iterations=20000, bound_s=0)
    again = solve_clusters(cost, clusters, iterations=1000, bound_s=0, start=good.order)
    assert again.cost <= good.cost


def test_progress_tells_cost_and_bound():
    cost, clusters = plane(300, seed=1)
    told = []
    tour = solve_clusters(
        cost, clusters, iterations=5000, bound_s=0, on_progress=lambda *pair: told.append(pair)
    )
    assert len(told) == 5  # one look per 1000 passes
    assert [c for c, _ in told] == sorted((c for c, _ in told), reverse=True)
    assert told[-1] == (tour.cost, tour.lower_bound)


def test_time_limit_covers_search_and_bound():
    cost, clusters = plane(300, seed=1)
    begin = time.perf_counter()
    tour = solve_clusters(cost, clusters, 2.0)
    assert time.perf_counter() - begin < 4.0  # one step over the limit, on a busy machine
    assert 0 < tour.lower_bound <= tour.cost


def test_interrupt_returns_the_best_so_far():
    cost, clusters = plane(300, seed=1)
    timer = threading.Timer(1.5, _thread.interrupt_main)
    timer.start()
    tour = solve_clusters(cost, clusters, 60.0, bound_s=0)
    assert tour.status == "interrupted"
    assert is_tour(tour, cost, clusters)


def test_costs_beyond_32_bits():
    cost, clusters = plane(60, seed=1)
    small = solve_clusters(cost, clusters, iterations=2000)
    large = solve_clusters(cost * 10**8, clusters, iterations=2000, bound_s=0)
    assert large.cost == small.cost * 10**8


SQUARE = [[0, 1], [1, 0]]


@pytest.mark.parametrize(
    ("cost", "clusters", "text"),
    [
        ([[0, 1], [1]], [[0], [1]], "allowed: rows of equal length"),
        ([[0, 1, 2], [1, 0, 2]], [[0], [1]], "shape (2, 3); allowed: (n, n), n at least 1"),
        ([[0.0, 1.5], [1.5, 0.0]], [[0], [1]], "numbers of type float64; allowed: integers"),
        ([[0, -4], [1, 0]], [[0], [1]], "-4; allowed: costs of 0 or more"),
        ([[0, 2**52], [1, 0]], [[0], [1]], "4503599627370496 times 2 clusters; allowed: a sum bel"),
        (SQUARE, [[0], []], "cluster 1: empty; allowed: at least one node"),
        (SQUARE, [], "clusters: none; allowed: at least one cluster"),
        (SQUARE, [[0], [0, 1]], "node 0 named 2 times; allowed: once each"),
        (SQUARE, [[0]], "node 1 in no cluster; allowed: every node in one"),
        (SQUARE, [[0], [2]], "node 2; allowed: 0 to 1"),
        (SQUARE, [[0], [-1]], "node -1; allowed: 0 to 1"),
        (SQUARE, [[0], [0.5]], "node numbers of type float64; allowed: integers"),
    ],
)
def test_unfit_numbers_are_refused_with_the_numbers(cost, clusters, text):
    with pytest.raises(UnfitProblem) as refused:
        solve_clusters(cost, clusters)
    assert text in str(refused.value)


@pytest.mark.parametrize(
    ("start", "text"),
    [([0, 1], "2 nodes in 1; allowed: one node of each of 3"), ([0, 2, 9], "node 9")],
)
def test_unfit_start_is_refused(start, text):
    cost = np.ones((4, 4), int)
    with pytest.raises(UnfitProblem) as refused:
        solve_clusters(cost, [[0, 1], [2], [3]], start=start)
    assert text in str(refused.value)


def _suited(cost, clusters):
    problem = check_problem(cost, clusters)
    tables = search.build_tables(problem)
    state = search.first_state(problem, tables, seed=1)
    search.anneal(tables, state, stop=StopRule.after(4000))
    return search.with_suited_lists(problem, tables, state).near_to.shape[1]


def test_lists_are_short_in_the_plane_and_long_where_nearness_tells_little():
    rng = np.random.default_rng(4)
    cost, clusters = plane(300, seed=4)
    assert _suited(cost, clusters) == 7
    scattered = np.array_split(rng.permutation(300), 60)  # the same points, clusters everywhere
    assert _suited(cost, scattered) >= 15
    assert _suited(rng.integers(0, 1000, (300, 300)), clusters) >= 15


def _mended(moves: int) -> int:
    """A ring 0 to 89 whose last two thirds stand in the wrong order, annealed cold and briefly."""
    cost = np.full((90, 90), 100)
    cost[np.arange(90), np.roll(np.arange(90), -1)] = 1
    problem = check_problem(cost, [[i] for i in range(90)])
    tables = search.build_tables(problem)
    order = np.r_[0:30, 60:90, 30:60]
    state = search.state_of(tables, order, seed=1)
    return kernel_anneal.anneal(
        tables.cost, tables.cost_back, tables.first, tables.owner, tables.near, tables.near_from,
        tables.near_to, tables.near_out, tables.near_in, state.tours, state.word,
        np.array([200, 2, 2, 1, moves]), np.array([0.1, 0.1]),
    )  # fmt: skip


def test_a_stretch_is_moved_whole():
    # three joins of 100 in the wrong order: 87 + 300; the right order costs 90; taking out two
    # clusters at a time mends nothing in so few passes
    assert (_mended(moves=0), _mended(moves=20)) == (387, 90)


def test_near_nodes_are_the_nearest_of_other_clusters():
    cost, clusters = plane(150, seed=2, kind="uneven ways")
    problem = check_problem(cost, clusters)
    near = search.build_tables(problem).near_in[17]
    other = np.flatnonzero(problem.cluster_of != problem.cluster_of[17])
    assert sorted(problem.cost[other, 17])[: len(near)] == problem.cost[near, 17].tolist()


@pytest.mark.parametrize("lawless", [True, False])
def test_lists_go_by_reduced_costs_and_those_of_clusters_where_nearness_tells_little(lawless):
    rng = np.random.default_rng(5)
    cost, clusters = plane(150, seed=5, kind="uneven ways")
    if lawless:
        cost = rng.integers(0, 1000, cost.shape)
    problem = check_problem(cost, clusters)
    tables = search.build_tables(problem)
    state = search.first_state(problem, tables, seed=1)
    search.anneal(tables, state, stop=StopRule.after(4000))
    tables = search.with_suited_lists(problem, tables, state)
    price = rng.integers(0, 1000, len(problem.nodes))
    reduced = problem.cost + price[:, None] - price[None, :]
    told = search.with_reduced_cost_lists(problem, tables, state, reduced=reduced)
    other = np.flatnonzero(problem.cluster_of != problem.cluster_of[17])
    assert sorted(reduced[17, other])[:20] == reduced[17, told.near_out[17]].tolist()
    same = told.near_to.shape == tables.near_to.shape and (told.near_to == tables.near_to).all()
    assert same != lawless
