"""Orders read from weighted arcs."""

import numpy as np

from greaseroute.solvers.gtsp.patching import order_from_arcs
from greaseroute.solvers.gtsp.problem import check_problem
from greaseroute.solvers.gtsp.solve import solve_clusters
from tests.bench.clusters_families import planted


def test_heavy_arcs_are_followed_and_pieces_joined_cheaply():
    # arcs 0-1 and 2-3 are told; 1-0 would shut a ring too early; of the joins left, 1-2 and 3-4
    # cost 1 and all others 9
    cost = np.full((5, 5), 9)
    cost[[1, 3, 4], [2, 4, 0]] = 1
    problem = check_problem(cost, [[i] for i in range(5)])
    arcs = (np.array([0, 1, 2]), np.array([1, 0, 3]))
    assert order_from_arcs(problem, arcs, np.array([0.9, 0.8, 0.5])).tolist() == [0, 1, 2, 3, 4]


def test_of_two_arcs_that_clash_the_heavier_is_followed():
    problem = check_problem(np.ones((3, 3), int), [[0], [1], [2]])
    arcs = (np.array([0, 0]), np.array([1, 2]))
    order = order_from_arcs(problem, arcs, np.array([0.4, 0.6])).tolist()
    assert order[(order.index(0) + 1) % 3] == 2


def test_every_cluster_comes_once_where_nothing_is_told():
    rng = np.random.default_rng(3)
    problem = check_problem(rng.integers(0, 99, (30, 30)), np.array_split(np.arange(30), 10))
    none = np.zeros(0, np.int64)
    assert sorted(order_from_arcs(problem, (none, none), np.zeros(0))) == list(range(10))


def test_a_planted_tour_of_60_clusters_is_found_and_proved():
    for kind in ("tailed", "tied", "even"):
        cost, clusters, least = planted(60, np.random.default_rng(60), kind)
        tour = solve_clusters(cost, clusters, iterations=5000)
        assert (tour.cost, tour.lower_bound) == (least, least)
