import numpy as np
import pytest

from greaseroute.solvers.gtsp.dominance import without_dominated
from greaseroute.solvers.gtsp.problem import check_problem
from tests.solvers.gtsp.cluster_cases import exact_tour, made


def _problem(into, out):
    """Nodes 0 and 1 in one cluster, 2 and 3 alone; costs of 0 and 1 from and to both others."""
    cost = np.full((4, 4), 50)
    cost[2, :2], cost[3, :2] = into[0], into[1]
    cost[:2, 2], cost[:2, 3] = out[0], out[1]
    return check_problem(cost, [[0, 1], [2], [3]])


def test_a_node_dearer_every_way_goes():
    # node 1 costs 1 more from 2, 0 more from 3, nothing more on the way out
    left = without_dominated(_problem([(5, 6), (7, 7)], [(4, 4), (3, 3)]))
    assert left.nodes.tolist() == [0, 2, 3]


def test_dearer_in_may_be_made_up_for_on_the_way_out():
    # node 0 costs at most 2 more on the way in and at least 2 less on the way out: 1 is needless
    left = without_dominated(_problem([(7, 5), (8, 7)], [(1, 3), (1, 4)]))
    assert left.nodes.tolist() == [0, 2, 3]


def test_a_node_better_one_way_stays():
    # 2 more in, but only 1 less out to node 3: no node replaces the other
    left = without_dominated(_problem([(7, 5), (8, 7)], [(1, 3), (3, 4)]))
    assert left.nodes.tolist() == [0, 1, 2, 3]


def test_of_equals_one_stays():
    left = without_dominated(_problem([(5, 5), (5, 5)], [(5, 5), (5, 5)]))
    assert left.nodes.tolist() == [0, 2, 3]


@pytest.mark.parametrize("seed", range(60))
def test_the_answer_stays_the_same(seed):
    cost, clusters = made(seed, clusters=(2, 8), nodes=5)
    whole = check_problem(cost, clusters)
    left = without_dominated(whole)
    assert left.tour_cost(exact_tour(left)) == whole.tour_cost(exact_tour(whole))
