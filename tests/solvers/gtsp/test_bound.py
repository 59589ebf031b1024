import numpy as np
import pytest

from greaseroute.solvers.gtsp.bound import bound as bound_module
from greaseroute.solvers.gtsp.bound.bound import BoundSearch, stop_for
from greaseroute.solvers.gtsp.bound.relaxation import Point, TourMaster
from greaseroute.solvers.gtsp.bound.safe_bound import (
    Duals,
    arcs_within,
    integer_duals,
    reduced_matrix,
    safe_bound_all,
    safe_bound_listed,
)
from greaseroute.solvers.gtsp.bound.sparse_arcs import cheapest_exits, first_arcs, same_both_ways
from greaseroute.solvers.gtsp.bound.subgradient import ArcList, Subgradient
from greaseroute.solvers.gtsp.bound.subtour_cuts import SubtourCut, find_cuts
from greaseroute.solvers.gtsp.problem import check_problem
from greaseroute.solvers.stop import StopRule
from tests.bench.clusters_made import plane
from tests.solvers.gtsp.cluster_cases import exact_tour, made


def _every_arc(problem):
    """All arcs between clusters; each edge once where costs are symmetric."""
    owner, symmetric = problem.cluster_of, same_both_ways(problem)
    allowed = owner[:, None] != owner[None, :]
    return np.nonzero(np.triu(allowed) if symmetric else allowed)


def _whole_program(problem, upper):
    program = TourMaster(problem, symmetric=same_both_ways(problem), relief=2 * upper + 1)
    program.add_arcs(*_every_arc(problem))
    return program


def _random_cuts(problem, rng, count=6):
    """Cuts of every kind, on random sets with cluster 0 inside and a cluster or a node outside."""
    owner, cuts = problem.cluster_of, []
    for _ in range(count):
        inside = (owner == 0) | (rng.random(len(owner)) < 0.5)
        outside = np.flatnonzero(~inside)
        whole_out = [c for c in range(1, problem.size) if not inside[owner == c].any()]
        if whole_out and rng.random() < 0.5:
            cuts.append(SubtourCut(inside, -1))
        elif len(outside):
            cuts.append(SubtourCut(inside, int(rng.choice(outside))))
    return [cut.by_members() for cut in cuts]


def _random_duals(problem, rng):
    nodes, size = len(problem.nodes), problem.size
    owner = problem.cluster_of
    pair_node = rng.integers(0, nodes, 8)
    pair_cluster = rng.integers(0, size, 8)
    apart = (owner[pair_node] != pair_cluster) & (size > 2)
    pair_node, pair_cluster = pair_node[apart], pair_cluster[apart]
    keys, first = np.unique(pair_node * size + pair_cluster, return_index=True)
    cuts = _random_cuts(problem, rng)
    return Duals(
        rng.normal(0, 40, size),
        rng.normal(0, 40, nodes) * (0 if same_both_ways(problem) else 1),
        rng.normal(5, 20, len(keys)).clip(0),
        pair_node[first],
        pair_cluster[first],
        rng.normal(5, 20, len(cuts)).clip(0),
        cuts,
    )


@pytest.mark.parametrize("seed", range(200))
def test_bound_after_any_number_of_rounds_is_at_most_the_optimum(seed):
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    best = exact_tour(problem)
    optimum = problem.tour_cost(best)
    first_nodes = problem.first[:-1]  # a poor tour to start from: clusters as they come
    search = BoundSearch(problem, first_nodes)
    for rounds in (0, 1, 3, 8):
        search.improve(StopRule.after(rounds))
        assert search.value <= optimum <= search.upper


@pytest.mark.parametrize("seed", range(60))
def test_bound_reaches_the_optimum_and_finds_its_tour(seed):
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    optimum = problem.tour_cost(exact_tour(problem))
    search = BoundSearch(problem, problem.first[:-1])
    search.improve(stop_for(problem, None))
    assert search.value == search.upper == optimum == problem.tour_cost(search.tour)


@pytest.mark.parametrize("seed", range(60))
def test_branching_alone_reaches_the_optimum(seed, monkeypatch):
    # hardly any subgradient: the linear program and its branches have all the work to do
    monkeypatch.setattr(bound_module, "FIRST_STEPS", 3)
    monkeypatch.setattr(bound_module, "STEPS", 1)
    monkeypatch.setattr(BoundSearch, "_may_branch", lambda self: self._rounds >= 1)
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    optimum = problem.tour_cost(exact_tour(problem))
    search = BoundSearch(problem, problem.first[:-1])
    search.improve(StopRule.after(2000))
    assert search.value == search.upper == optimum == problem.tour_cost(search.tour)


@pytest.mark.parametrize("seed", range(150))
def test_any_multipliers_whatever_give_a_valid_bound(seed):
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    best = exact_tour(problem)
    optimum = problem.tour_cost(best)
    symmetric = same_both_ways(problem)
    told = integer_duals(
        problem, _random_duals(problem, np.random.default_rng(seed)), upper=optimum
    )
    proof = safe_bound_all(problem, told, upper=optimum, symmetric=symmetric)
    assert proof.units <= optimum * proof.scale
    listed, slack = safe_bound_listed(problem, told, _every_arc(problem), upper=optimum)
    if (problem.cost <= optimum).all():  # else the first leaves dear arcs out
        assert (listed.units, listed.bottleneck.tolist()) == (
            proof.units,
            proof.bottleneck.tolist(),
        )
    # what a tour through an arc costs at least: holds for every arc of the best tour
    tail, head = _every_arc(problem)
    along = list(zip(best.tolist(), np.roll(best, -1).tolist(), strict=True))
    along += [(b, a) for a, b in along] if symmetric else []
    on = [k for k, arc in enumerate(zip(tail.tolist(), head.tolist(), strict=True)) if arc in along]
    assert len(on) >= min(problem.size, 3)
    assert (listed.units + slack[on] <= optimum * listed.scale).all()
    # and so for all arcs of the tour together: a forced arc adds what it costs above the tree
    assert listed.units + slack[on].sum() <= optimum * listed.scale or problem.size == 2


@pytest.mark.parametrize("seed", range(40))
def test_arcs_of_a_better_tour_are_listed(seed):
    # judged by a tour one dearer than the best, the best tour's arcs must all be kept
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    best = exact_tour(problem)
    upper, symmetric = problem.tour_cost(best) + 1, same_both_ways(problem)
    told = integer_duals(problem, _random_duals(problem, np.random.default_rng(seed)), upper=upper)
    proof = safe_bound_all(problem, told, upper=upper, symmetric=symmetric)
    tail, head, within = arcs_within(
        problem, told, proof, upper=upper, symmetric=symmetric, most=10_000
    )
    assert within == len(tail)
    listed = set(zip(tail.tolist(), head.tolist(), strict=True))
    listed |= {(b, a) for a, b in listed} if symmetric else set()
    assert set(zip(best.tolist(), np.roll(best, -1).tolist(), strict=True)) <= listed


def test_of_too_many_arcs_those_of_least_slack_are_listed():
    cost, clusters = plane(60, seed=2)
    problem = check_problem(cost, clusters)
    upper = problem.tour_cost(problem.first[:-1])
    none = np.zeros(0, np.int64)
    values = Duals(np.zeros(problem.size), np.zeros(60), none * 1.0, none, none, none, [])
    told = integer_duals(problem, values, upper=upper)
    proof = safe_bound_all(problem, told, upper=upper, symmetric=True)
    every = arcs_within(problem, told, proof, upper=upper, symmetric=True, most=10_000)
    few = arcs_within(problem, told, proof, upper=upper, symmetric=True, most=100)
    assert every[2] == few[2] == len(every[0])
    assert 0 < len(few[0]) <= 100
    _, slack = safe_bound_listed(problem, told, every[:2], upper=upper)
    _, short = safe_bound_listed(problem, told, few[:2], upper=upper)
    assert (np.sort(short) == np.sort(slack)[: len(short)]).all()


@pytest.mark.parametrize("seed", range(60))
def test_random_cuts_and_pairs_hold_for_the_best_tour(seed):
    cost, clusters = made(seed, clusters=(4, 10))
    problem = check_problem(cost, clusters)
    best = exact_tour(problem)
    visited = np.isin(np.arange(len(problem.nodes)), best)
    cuts = _random_cuts(problem, np.random.default_rng(seed))
    assert cuts
    for cut in cuts:
        within = np.isin(best, cut.members) & np.isin(np.roll(best, -1), cut.members)
        assert within.sum() - visited[cut.paid].sum() <= -cut.right


def test_numbers_too_large_to_be_exact_are_not_used():
    cost, clusters = made(1)
    problem = check_problem(cost, clusters)
    none = np.zeros(0, np.int64)
    for wild in (1e16, np.inf, np.nan):
        values = Duals(
            np.full(problem.size, wild), np.zeros(len(problem.nodes)), np.zeros(0), none, none,
            np.zeros(0), [],
        )  # fmt: skip
        assert integer_duals(problem, values, upper=1000) is None


def test_tree_plus_its_dearest_join_by_hand():
    # four clusters in a square of side 10, diagonals 14: tree 30, dearest join 10, bound 40
    side, across = 10, 14
    cost = np.array(
        [
            [0, side, across, side],
            [side, 0, side, across],
            [across, side, 0, side],
            [side, across, side, 0],
        ]
    )
    problem = check_problem(cost, [[0], [1], [2], [3]])
    none = np.zeros(0, np.int64)
    values = Duals(np.zeros(4), np.zeros(4), none * 1.0, none, none, none, [])
    told = integer_duals(problem, values, upper=100)
    proof = safe_bound_all(problem, told, upper=100, symmetric=True)
    assert proof.bound(100) == 40
    # an arc across costs 4 more than the dearest join between its ends
    _, slack = safe_bound_listed(
        problem, told, (np.array([0, 1, 2, 0]), np.array([1, 2, 3, 2])), upper=100
    )
    assert (slack / proof.scale).tolist() == [0, 0, 0, 4]


def test_costs_beyond_32_bits_are_proved_exactly():
    cost, clusters = made(1, clusters=(6, 9))
    problem = check_problem(np.asarray(cost) * 10**12, clusters)
    best = exact_tour(problem)
    search = BoundSearch(problem, best)
    search.improve(stop_for(problem, None))
    assert search.value == problem.tour_cost(best)


@pytest.mark.parametrize("kind", ["even", "uneven ways"])
def test_subgradient_proves_what_it_tells(kind):
    # over the arcs it has, the proof equals the subgradient's own value but for rounding
    cost, clusters = plane(150, seed=5, kind=kind)
    problem = check_problem(cost, clusters)
    tour, symmetric = problem.first[:-1], same_both_ways(problem)
    assert symmetric == (kind == "even")
    upper = problem.tour_cost(tour)
    arcs = first_arcs(problem, tour, upper=upper, symmetric=symmetric)
    subgradient = Subgradient(problem, ArcList.of(problem, *arcs), symmetric=symmetric)
    subgradient.climb(200, upper=upper)
    told = subgradient.add_cuts(find_cuts(problem, subgradient.point()))
    assert told > 0
    value = subgradient.climb(100, upper=upper)
    ends = (subgradient.arcs.ends[0], subgradient.arcs.ends[1])
    rounded = integer_duals(problem, subgradient.duals(), upper=upper)
    proof, _ = safe_bound_listed(problem, rounded, ends, upper=upper)
    assert proof.units / proof.scale == pytest.approx(value, rel=1e-6)


def test_a_shorter_tour_is_taken_up():
    cost, clusters = plane(100, seed=5)
    problem = check_problem(cost, clusters)
    search = BoundSearch(problem, problem.first[:-1])
    search.improve(StopRule.after(5))
    better = search.tour[np.argsort(problem.cost[search.tour[0], search.tour], kind="stable")]
    if problem.tour_cost(better) >= search.upper:
        better = better[::-1]
    before = search.upper
    search.take_tour(better)
    assert search.upper == min(before, problem.tour_cost(better))
    assert search.value <= search.upper


def test_cheapest_exits_by_hand():
    # out of the clusters 2, 3 and 4, in all 9; into them 3, 2 and 5: 10 is the greater
    cost = [[0, 2, 5], [3, 0, 8], [6, 4, 0]]
    assert cheapest_exits(check_problem(cost, [[0], [1], [2]])) == 10


def test_two_rings_break_a_cut_that_parts_them():
    # four clusters of one node; 0-1-0 and 2-3-2 are two rings: {2, 3} is left by nothing
    problem = check_problem(np.ones((4, 4), int), [[0], [1], [2], [3]])
    tail, head = np.array([0, 1, 2, 3]), np.array([1, 0, 3, 2])
    cuts = find_cuts(problem, Point(tail, head, np.ones(4)))
    parted = {tuple(cut.inside.tolist()) for cut in cuts}
    assert (False, False, True, True) in parted


def test_a_tour_breaks_no_cut():
    problem = check_problem(np.ones((5, 5), int), [[0, 4], [1], [2], [3]])
    tail, head = np.array([0, 2, 3, 4]), np.array([2, 3, 4, 0])  # node 1 is the other of cluster 0
    assert find_cuts(problem, Point(tail, head, np.ones(4))) == []


@pytest.mark.parametrize("seed", range(20))
def test_every_cut_found_holds_for_the_best_tour(seed):
    cost, clusters = made(seed)
    problem = check_problem(cost, clusters)
    best = exact_tour(problem)
    program = _whole_program(problem, problem.tour_cost(best))
    for _ in range(4):
        cuts = [cut.by_members() for cut in find_cuts(problem, program.solve().point)]
        for cut in cuts:
            within = np.isin(best, cut.members) & np.isin(np.roll(best, -1), cut.members)
            assert within.sum() - np.isin(cut.paid, best).sum() <= -cut.right
        if not cuts:
            break
        program.add_cuts(cuts)


@pytest.mark.parametrize("seed", range(20))
def test_duals_prove_no_less_than_the_program_says(seed):
    cost, clusters = made(seed, clusters=(5, 10))
    problem = check_problem(cost, clusters)
    optimum = problem.tour_cost(exact_tour(problem))
    program = _whole_program(problem, optimum)
    for _ in range(3):
        solution = program.solve()
        told = integer_duals(problem, program.duals(solution), upper=optimum)
        proof, _ = safe_bound_listed(problem, told, _every_arc(problem), upper=optimum)
        assert min(optimum, solution.objective) - 1e-3 <= proof.units / proof.scale <= optimum
        program.add_cuts([cut.by_members() for cut in find_cuts(problem, solution.point)][:20])


def test_edges_and_arcs_prove_the_same():
    # the same symmetric problem, once as edges and once with arcs both ways
    cost, clusters = made(7, clusters=(8, 9))
    problem = check_problem(cost, clusters)
    upper = problem.tour_cost(exact_tour(problem))
    assert same_both_ways(problem)
    arcs = TourMaster(problem, symmetric=False, relief=2 * upper + 1)
    owner = problem.cluster_of
    arcs.add_arcs(*np.nonzero(owner[:, None] != owner[None, :]))
    edges = _whole_program(problem, upper)
    assert edges.solve().objective == pytest.approx(arcs.solve().objective, abs=1e-6)


def test_cuts_dropped_no_longer_count():
    cost, clusters = plane(60, seed=4)
    problem = check_problem(cost, clusters)
    program = _whole_program(problem, 10**6)
    before = program.solve()
    program.add_cuts([cut.by_members() for cut in find_cuts(problem, before.point)])
    assert program.solve().objective > before.objective + 1
    program.drop_cuts(np.arange(len(program.cuts)))
    assert program.cuts == []
    assert program.solve().objective == pytest.approx(before.objective)


def test_first_arcs_hold_the_tour():
    cost, clusters = made(4)
    problem = check_problem(cost, clusters)
    tour, symmetric = problem.first[:-1], same_both_ways(problem)
    upper = problem.tour_cost(tour)
    tail, head = first_arcs(problem, tour, upper=upper, symmetric=symmetric)
    held = set(zip(tail.tolist(), head.tolist(), strict=True))
    held |= {(b, a) for a, b in held} if symmetric else set()
    assert set(zip(tour.tolist(), np.roll(tour, -1).tolist(), strict=True)) <= held


def test_by_members_keeps_the_smaller_side():
    inside = np.array([True, True, True, False, False])
    cut = SubtourCut(inside, -1).by_members()
    assert (cut.members.tolist(), cut.paid.tolist(), cut.right) == ([3, 4], [3, 4], 1)
    cut = SubtourCut(inside, 3).by_members()
    assert (cut.members.tolist(), cut.paid.tolist(), cut.right) == ([3, 4], [4], 0)


def test_result_says_how_it_was_proved():
    cost, clusters = made(5)
    problem = check_problem(cost, clusters)
    best = exact_tour(problem)
    search = BoundSearch(problem, best)
    search.improve(stop_for(problem, None))
    proved = search.result()
    assert proved.value == proved.lower_bound == problem.tour_cost(best)
    assert proved.status == "optimal"
    assert "sub-tour cuts" in proved.what


@pytest.mark.parametrize("seed", range(6))
def test_reduced_costs_of_all_arcs_are_those_of_listed_ones(seed):
    rng = np.random.default_rng(seed)
    problem = check_problem(rng.integers(0, 90, (24, 24)), np.array_split(np.arange(24), 8))
    told = integer_duals(problem, _random_duals(problem, rng), upper=500)
    tail, head = _every_arc(problem)
    proof, slack = safe_bound_listed(problem, told, (tail, head), upper=500)
    owner = problem.cluster_of
    matrix = reduced_matrix(problem, told)
    assert (matrix[tail, head] == slack + proof.bottleneck[owner[tail], owner[head]]).all()
